"""The diagnosis on plants with the habits of ordinary plants: what is accused, and how sure it is.

The plants are generated with known causes, tool changes that set a new level, heavy tails, readings
that follow each other, operators, rounding, gaps, a swing over the day, slips, and two ailments at
one machine (plant_generator.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, READINGS, About

from domemargin.studies.diagnosis.counts import COUNTS, PLANTS
from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SMALL_DRIFT,
    SMALL_STEP,
    SPREAD,
    VERDICTS,
    diagnose,
)
from domemargin.studies.diagnosis.plant_generator import Cause, Habits, Plant, generate
from domemargin.studies.diagnosis.rates import NOT_MACHINES, RIGHT, chance_right
from domemargin.studies.diagnosis.simulation import Confusion, simulate
from domemargin.studies.readings.readings import Event

ABOUT = About(READINGS, "Plants generated with known causes and ordinary habits", COMPUTED)
SURE = 0.025  # standard error of an observed share that makes it worth comparing


def check(confusion: Confusion, evidence: Callable[..., None], full: bool) -> None:
    plants = f"of {confusion.plants} ordinary plants"
    evidence(f"healthy machines accused {plants}", computed=100 * confusion.false_alarms,
             most=1.0, unit="%")  # fmt: skip
    for cause in ("drive play", "small play"):
        evidence(f"{cause} called offset {plants}",
                 computed=100 * confusion.share(cause, OFFSET, SMALL_STEP), most=2.0,
                 unit="%")  # fmt: skip
    for cause in ("small step", "small drift"):
        evidence(f"{cause} called play {plants}", computed=100 * confusion.share(cause, SPREAD),
                 most=5.0, unit="%")  # fmt: skip
    if not full:
        return
    for cause, row in confusion.counts.items():
        text = ", ".join(f"{count} {name}" for name, count in row.items() if count)
        # a small step or drift may be within how closely machines are set
        open_too = (NOT_ENOUGH, *((IN_CONTROL,) if cause.startswith("small") else ()))
        evidence(f"confusion, cause {cause}: {text}; right or open",
                 computed=100.0 * confusion.share(cause, *RIGHT[cause], *open_too), least=90.0,
                 unit="%")  # fmt: skip


def test_ordinary_plants(evidence: Callable[..., None]) -> None:
    check(simulate(150, seed=11), evidence, full=False)


@pytest.mark.slow
@pytest.mark.parametrize("ailing", [0.1, 0.3])
def test_the_stated_chance_is_the_observed_one(
    ailing: float, evidence: Callable[..., None]
) -> None:
    done = simulate(1500, seed=round(1000 * ailing), ailing=ailing)
    if ailing == 0.3:
        check(done, evidence, full=True)
    for verdict in VERDICTS:
        stated = chance_right(verdict, ailing)
        whole = sum(row[verdict] for row in done.counts.values())
        if stated is None or stated * (1.0 - stated) > whole * SURE**2:
            continue
        good = sum(row[verdict] for cause, row in done.counts.items() if verdict in RIGHT[cause])
        evidence(f"chance that '{verdict}' is right, {100 * ailing:g} % ailing, {whole} machines",
                 computed=100.0 * stated, expected=100.0 * good / whole, abs=5.0,
                 unit="%")  # fmt: skip


def test_chances_by_hand() -> None:
    # Bayes' rule: 2 of 100 healthy and 90 of 100 ailing machines get the verdict; at 10 % ailing
    # 0.1 x 0.9 / (0.1 x 0.9 + 0.9 x 0.02) = 0.8333
    counts = {"none": {IN_CONTROL: 98, SPREAD: 2}, "drive play": {SPREAD: 90, NOT_ENOUGH: 10}}
    assert chance_right(SPREAD, 0.1, counts) == pytest.approx(0.09 / 0.108)
    assert chance_right(IN_CONTROL, 0.1, counts) == 1.0
    assert chance_right(NOT_ENOUGH) is None
    for verdict in set(VERDICTS) - {NOT_ENOUGH, LOT}:  # lots are no machine's
        low, high = (chance_right(verdict, share) for share in (0.02, 0.5))
        assert low is not None
        assert high is not None
        assert (low > high) == (verdict == IN_CONTROL)
    assert set(NOT_MACHINES) <= set(RIGHT) == set(COUNTS)
    assert PLANTS >= 1000


@pytest.mark.parametrize("logged", [0.0, 1.0])
@pytest.mark.parametrize("changes", [1.0, 4.0])
def test_tool_changes_accuse_nobody(
    changes: float, logged: float, evidence: Callable[..., None]
) -> None:
    habits = Habits(changes=changes, reset=0.01, logged=logged)
    rng = np.random.default_rng(3)
    called = 0
    for _ in range(20):
        plant = Plant(lines=1, machines=12, habits=habits)
        found = diagnose(generate(plant, (), rng), plant.explained, plant.target).findings
        called += sum(one.verdict not in (IN_CONTROL, NOT_ENOUGH) for one in found)
    evidence(f"healthy machines accused, {changes:g} tool changes, {100 * logged:g} % logged",
             computed=100.0 * called / 240.0, most=1.0, unit="%")  # fmt: skip


@pytest.mark.parametrize("size", [-0.035, -0.02, 0.02, 0.035])
def test_small_steps_and_drifts_are_not_play(size: float) -> None:
    plant = Plant(lines=1, machines=6)
    rng = np.random.default_rng(9)
    causes = (Cause("small step", 1, size, 0.4, recorded=False), Cause("small drift", 4, size))
    found = diagnose(generate(plant, causes, rng), plant.explained, plant.target).findings
    assert found[4].verdict == SMALL_DRIFT or abs(size) < 0.03
    assert found[1].verdict in (SMALL_STEP, OFFSET) or abs(size) < 0.03
    assert {found[1].verdict, found[4].verdict}.isdisjoint({SPREAD, DRIFT})
    # what is not beyond how machines are set is told of all the same
    step = found[1].shape.last
    assert step is not None
    assert step.size == pytest.approx(size, abs=0.006)
    assert step.day == pytest.approx(0.4 * plant.days, abs=0.7)


def test_two_causes_of_one_machine_are_told_of() -> None:
    plant = Plant(lines=1, machines=6)
    both = (Cause("spring relaxing", 2, -0.12), Cause("tool change", 2, 0.15, 0.5))
    readings = generate(plant, both, np.random.default_rng(4))
    found = diagnose(readings, plant.explained, plant.target).findings
    assert set(found[2].causes) == {DRIFT, OFFSET}
    assert found[2].shape.trend == pytest.approx(-0.12, abs=0.01)
    assert found[2].step is not None
    assert found[2].step.size == pytest.approx(0.15, abs=0.01)
    assert {one.verdict for i, one in enumerate(found) if i != 2} == {IN_CONTROL}


@pytest.mark.parametrize("readings", [2, 3, 8, 15])
@pytest.mark.parametrize("play", [0.0, 0.016, 0.04])
def test_few_readings_blame_nobody(readings: int, play: float) -> None:
    rng = np.random.default_rng(2)
    for _ in range(30):
        plant = Plant(lines=1, machines=1, days=readings, per_day=1)
        causes = (Cause("drive play", 0, play),) if play else (Cause("set offset", 0, -0.05),)
        (one,) = diagnose(generate(plant, causes, rng), plant.explained, 10.2).findings
        assert one.verdict == NOT_ENOUGH
        assert one.more > 0


def test_readings_that_follow_each_other_make_no_steps(evidence: Callable[..., None]) -> None:
    rng = np.random.default_rng(8)
    called = 0
    for _ in range(20):
        plant = Plant(lines=2, machines=6, habits=Habits(memory=0.7, tails=3, swing=0.005))
        found = diagnose(generate(plant, (), rng), plant.explained, plant.target).findings
        called += sum(one.verdict not in (IN_CONTROL, NOT_ENOUGH) for one in found)
    evidence("healthy machines accused, correlation 0.7, Student's t of 3, swing 0.005 mm",
             computed=100.0 * called / 240.0, most=1.0, unit="%")  # fmt: skip


def test_what_is_logged_all_the_time_hides_nothing() -> None:
    plant = Plant(lines=1, machines=6)
    readings = generate(plant, (Cause("tool change", 3, -0.1, 0.5),), np.random.default_rng(4))
    often = tuple(
        Event(machine, float(day), "cleaned")
        for machine in range(6)
        for day in np.arange(0.3, plant.days, 0.33)
    )
    found = diagnose(
        replace(readings, events=readings.events + often), plant.explained, plant.target
    ).findings
    assert [one.verdict for one in found] == [IN_CONTROL] * 3 + [OFFSET] + [IN_CONTROL] * 2
    assert found[3].step is not None
    assert found[3].step.logged


@pytest.mark.parametrize("step", [0.0127, 0.02])
def test_coarse_readings_accuse_nobody_and_hide_no_play(step: float) -> None:
    plant = Plant(lines=1, machines=6)
    readings = generate(plant, (Cause("drive play", 2, 0.04),), np.random.default_rng(6))
    coarse = replace(readings, depth=np.round(readings.depth / step) * step)
    found = diagnose(coarse, plant.explained, plant.target).findings
    assert [one.verdict for one in found] == [IN_CONTROL] * 2 + [SPREAD] + [IN_CONTROL] * 3
