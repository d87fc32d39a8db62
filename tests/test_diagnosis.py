"""Diagnosis of generated plants with known causes, and of readings with a known answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SPREAD,
    diagnose,
)
from domemargin.studies.diagnosis.notes import notes_of
from domemargin.studies.diagnosis.plant_generator import Cause, Plant, generate
from domemargin.studies.diagnosis.scatter import KnownScatter, Slopes, explained_spread
from domemargin.studies.diagnosis.spread import enough_readings
from domemargin.studies.diagnosis.words import checks
from domemargin.studies.readings.readings import no_labels

PLANT = Plant(days=28)


def test_what_sheet_and_process_explain() -> None:
    # a first study of doming: depth scatter of the order of 0.01 to 0.02 mm (range, two standard
    # deviations), from slopes 0.003 mm for 1 % of gauge, -0.012 mm for 3 % of yield strength,
    # 0.024 mm for friction 0 to 0.1 (computed independently)
    assert Slopes().gauge * 0.01 == pytest.approx(0.003)
    assert Slopes().yield_strength * 0.03 == pytest.approx(-0.012)
    assert Slopes().friction * 0.1 == pytest.approx(0.024)
    assert 0.01 <= 2.0 * explained_spread(KnownScatter(), Slopes()).sheet <= 0.02


@pytest.mark.parametrize(
    ("cause", "verdict"),
    [
        (Cause("set offset", 3, -0.10), OFFSET),
        (Cause("spring relaxing", 3, -0.12, shape=0.5), DRIFT),
        (Cause("drive play", 3, 0.04), SPREAD),
        (Cause("tool change", 3, 0.09, 0.4), OFFSET),
    ],
)
def test_numbers_behind_a_verdict(cause: Cause, verdict: str) -> None:
    readings = generate(PLANT, (cause,), np.random.default_rng(3))
    done = diagnose(readings, PLANT.explained, PLANT.target)
    assert [one.verdict for one in done.findings].count(IN_CONTROL) == 11
    found = done.findings[3]
    assert found.verdict == verdict
    if verdict == SPREAD:
        assert found.unexplained_low < 0.04 < found.unexplained_high
        assert found.unexplained == pytest.approx(0.04, rel=0.15)
    if cause.kind in ("spring relaxing", "tool change"):
        assert found.shape.change == pytest.approx(cause.size, abs=0.02)
    if cause.kind == "tool change":
        assert found.shape.at_day == pytest.approx(0.4 * PLANT.days, abs=0.5)
    if cause.kind == "set offset":
        assert abs(found.deviation - cause.size) < 0.03  # machines are set to 0.01 mm


def test_spring_age_is_told_with_a_trend() -> None:
    cause = Cause("spring relaxing", 3, -0.14)
    readings = generate(PLANT, (cause,), np.random.default_rng(3))
    aged = replace(readings, spring_age=100.0 + readings.day)
    found = diagnose(aged, PLANT.explained, PLANT.target).findings[3]
    # 0.14 mm in 28 days
    (sentence,) = found.also
    assert "-0.05" in sentence or "-0.04" in sentence


def test_several_logged_changes_are_an_offset_not_play() -> None:
    steps = ((-0.08, 0.2), (0.08, 0.45), (-0.08, 0.7))
    causes = tuple(Cause("tool change", 3, size, at) for size, at in steps)
    readings = generate(PLANT, causes, np.random.default_rng(2))
    found = diagnose(readings, PLANT.explained, PLANT.target).findings[3]
    assert found.verdict == OFFSET
    assert found.shape.at_day == pytest.approx(0.7 * PLANT.days, abs=0.5)
    assert found.shape.change == pytest.approx(-0.08, abs=0.01)


def test_without_lots_times_stand_for_them() -> None:
    cause = Cause("sheet lot", 8, -0.05, at=0.3)
    readings = generate(PLANT, (cause,), np.random.default_rng(8))
    bare = replace(readings, lot=no_labels(len(readings)))
    done = diagnose(bare, PLANT.explained, PLANT.target)
    assert [one.verdict for one in done.findings] == [IN_CONTROL] * 6 + [LOT] * 6
    # the third of eight lots of 3.5 days, days 7 to 10.5
    days = [float(name.split()[-1]) for name, _ in done.findings[6].lots]
    assert min(days) > 6.5
    assert max(days) < 11.0


def test_many_loose_machines_point_at_the_gauge_first() -> None:
    causes = tuple(Cause("drive play", i, 0.03) for i in range(6))
    readings = generate(PLANT, causes, np.random.default_rng(8))
    done = diagnose(readings, PLANT.explained, PLANT.target)
    assert done.loose("Heron")
    assert not done.loose("Plover")
    assert checks(done.findings[0], done)[0].startswith("the gauge")
    assert any("first the gauge" in note for note in notes_of(readings, done))


def test_play_is_called_before_a_low_reading() -> None:
    both = (Cause("drive play", 2, 0.03), Cause("set offset", 2, -0.15))
    readings = generate(PLANT, both, np.random.default_rng(5))
    found = diagnose(readings, PLANT.explained, PLANT.target).findings[2]
    assert found.verdict == SPREAD
    assert found.causes == (SPREAD, OFFSET)
    assert any("find the play first" in sentence for sentence in found.also)
    alone = (Cause("drive play", 2, 0.08),)
    readings = generate(PLANT, alone, np.random.default_rng(4))
    found = diagnose(readings, PLANT.explained, PLANT.target).findings[2]
    assert found.causes == (SPREAD,)
    assert any("do not deepen the set" in sentence for sentence in found.also)


def test_all_low_needs_a_target() -> None:
    low = tuple(Cause("set offset", i, -0.1) for i in range(12))
    readings = generate(PLANT, low, np.random.default_rng(5))
    given = diagnose(readings, PLANT.explained, PLANT.target)
    assert {one.verdict for one in given.findings} == {OFFSET}
    assert sum("reads low" in note for note in notes_of(readings, given)) == 2
    assert {one.verdict for one in diagnose(readings, PLANT.explained).findings} == {IN_CONTROL}


def test_a_lot_and_an_operator_are_named() -> None:
    causes = (Cause("sheet lot", 8, -0.05, at=0.3), Cause("operator", 0, 0.03))
    readings = generate(PLANT, causes, np.random.default_rng(8))
    done = diagnose(readings, PLANT.explained, PLANT.target)
    assert [one.verdict for one in done.findings] == [IN_CONTROL] * 6 + [LOT] * 6
    lots = {one.lots for one in done.findings[6:]}
    assert len(lots) == 1
    assert lots.pop()[0][1] == pytest.approx(-0.05, abs=0.02)
    # over the middle one of three operators, one of whom reads 0.03 mm high
    assert max(done.levels.operator) == pytest.approx(0.03, abs=0.005)
    assert any("Operator" in note for note in notes_of(readings, done))


def test_misreads_are_left_out_and_listed() -> None:
    readings = generate(PLANT, (), np.random.default_rng(4))
    depth = readings.depth.copy()
    depth[[10, 500]] += (1.0, -0.6)  # far off, as when a gauge does not sit
    done = diagnose(replace(readings, depth=depth), PLANT.explained, PLANT.target)
    assert {one.verdict for one in done.findings} == {IN_CONTROL}
    assert [one.misreads for one in done.findings if one.misreads] == [(12,), (502,)]


def test_few_readings_are_not_enough_and_it_says_how_many_more() -> None:
    few = generate(Plant(days=14, per_day=1), (), np.random.default_rng(6))
    done = diagnose(few, PLANT.explained, PLANT.target)
    assert {one.verdict for one in done.findings} == {NOT_ENOUGH}
    assert {one.readings + one.more for one in done.findings} == {enough_readings()}
    one = diagnose(few.at(few.machine.codes == 0).at(np.arange(1)), PLANT.explained)
    assert one.findings[0].verdict == NOT_ENOUGH
