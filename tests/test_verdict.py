"""One interval and one verdict: the rule, the budget, the same from every command.

Sources: variances of independent errors add (JCGM 100:2008, 5.1.2, value from memory); the
uncertainty of a difference by drawing the errors at random; the rule by hand.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from evidence_rows import COMPUTED, READINGS, About
from random_bottoms import random_profiles

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import moved, of_pressure, with_slopes
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.bases import EACH, bases
from domemargin.studies.readings.calibration import LEVEL_KNOWN, SLOPE_KNOWN
from domemargin.studies.study.study import Study, Varied
from domemargin.studies.study.study_file import load_study
from domemargin.studies.verdict.answer import (
    answer_of,
    answer_of_record,
    known_of,
    verdict_of_record,
)
from domemargin.studies.verdict.budget import (
    FLOOR,
    IN_DOUBT,
    MODEL,
    NOT_KNOWN,
    NOT_SAFE,
    SAFE,
    Part,
    combined,
    verdict_of,
)
from domemargin.studies.verdict.growth import growth_verdicts, parse_limit
from domemargin.studies.verdict.table import counts, with_verdicts

ABOUT = About(READINGS, "drawing of errors at random", COMPUTED)


@pytest.fixture(scope="module")
def north() -> Record:
    return reversal(load_profile("north"), required=90.0 * PSI)


def test_parts_add_as_variances_and_the_rule_is_the_interval() -> None:
    answer = combined(100.0, (Part("a", MODEL, 3.0, ""), Part("b", MODEL, 4.0, "")))
    assert (answer.standard, answer.low, answer.high) == (5.0, 90.0, 110.0)
    assert [part.name for part in answer.parts] == ["b", "a"]
    assert answer.shares() == pytest.approx((0.64, 0.36))
    words = {p: verdict_of(answer, p).word for p in (89.9, 90.0, 90.1, 109.9, 110.0, 110.1)}
    assert list(words.values()) == [SAFE, SAFE, IN_DOUBT, IN_DOUBT, IN_DOUBT, NOT_SAFE]
    assert verdict_of(answer, 80.0).margin == pytest.approx(0.25)
    assert verdict_of(None, 80.0, "no pressure").word == NOT_KNOWN


def test_no_answer_is_surer_than_the_floor() -> None:
    answer = combined(100.0, (Part("a", MODEL, 0.01, ""),))
    assert answer.standard == pytest.approx(100.0 * FLOOR)
    assert sum(part.standard**2 for part in answer.parts) == pytest.approx(answer.standard**2)
    # two theories that agree to the digit leave an interval all the same
    assert answer.high - answer.low == pytest.approx(4.0 * FLOOR * 100.0)


def test_a_bottom_that_takes_more_than_the_ceiling() -> None:
    answer = answer_of(load_profile("north"), None, ceiling=1.0)
    assert answer is not None
    assert answer.least
    assert verdict_of(answer, 0.5).word == SAFE
    assert verdict_of(answer, 1.5).word == NOT_KNOWN
    assert verdict_of(answer, 1.5).reason == "the ceiling lies below it"
    # 1 MPa at least, known to 10 %: it may be 0.9
    assert verdict_of(answer, 0.95).reason == "the ceiling lies too close above it"


def test_inputs_enter_by_their_slopes(north: Record) -> None:
    profile = north.profile
    known = known_of(["bottom_gauge 0.003 mm", "inner_leg_angle 0.5 deg"], profile)
    assert known == pytest.approx({"bottom_gauge": 0.003, "inner_leg_angle": math.radians(0.5)})
    record = with_slopes(north, Settings(growth_at=()), known)
    slopes = of_pressure(record.slopes or ())
    answer = answer_of_record(record, None, known)
    assert answer is not None
    parts = {part.name: part.standard for part in answer.parts}
    assert parts["bottom gauge"] == pytest.approx(abs(slopes["bottom_gauge"].slope or 0) * 0.003)
    # by the solver itself, half the change between both ends
    ends = [
        reversal(moved(profile, "bottom_gauge", 0.265 + d), growth_at=()).reversal_pressure_mpa
        for d in (-0.003, 0.003)
    ]
    assert parts["bottom gauge"] == pytest.approx(0.5 * ((ends[1] or 0) - (ends[0] or 0)), rel=0.02)
    for text in ("bottom_gauge 3", "bottom_gage 1 mm", "poisson_ratio x", "dome_depth 0 mm"):
        with pytest.raises(InputError):
            known_of([text], profile)


def test_study_and_reversal_say_the_same() -> None:
    """The ready bottoms and random ones at five requirements: the table against the record."""
    pd = pytest.importorskip("pandas")
    bottoms = [load_profile("north"), load_profile("harbour"), *random_profiles(6, 3)]
    for bottom in bottoms:
        record = reversal(bottom, waves=0, growth_at=())
        found = record.reversal_pressure_mpa
        assert found is not None
        for share in (0.8, 0.93, 1.0, 1.07, 1.2):
            required = share * found
            one = verdict_of_record(replace(record, required_pressure_mpa=required))
            study = _study(bottom, required)
            table = pd.DataFrame(
                {
                    "dome_depth_mm": [bottom.shape.dome_depth], "state": ["limit"],
                    "reversal_pressure_mpa": [found],
                    "step_correction_mpa": [record.step_correction_mpa],
                }
            )  # fmt: skip
            judged = with_verdicts(table, study)
            assert one is not None
            assert judged["verdict"][0] == one.word
            assert judged["pressure_low_mpa"][0] / required - 1.0 == pytest.approx(one.low)
            assert sum(counts(judged).values()) == 1


def _study(bottom: Profile, required: float) -> Study:
    depth = bottom.shape.dome_depth
    base = load_study("depth-gauge")
    varied = (Varied("dome_depth", (depth,), depth, depth),)
    return replace(base, profile=bottom, varied=varied, required=required)


def test_uncertainty_of_a_difference_by_brute_force(evidence) -> None:
    """Level common, slope common, an error of each input's effect: drawn 200,000 times."""
    first = load_profile("north")
    second = first.replaced(bottom_gauge=0.272, dome_depth=10.2, yield_strength=250.0)
    found = bases(first, second, Settings(growth_at=(), waves=0))
    p = np.array([r.reversal_pressure_mpa for r in found.records])
    changes = [*(s.change or 0.0 for s in found.sources), found.rest or 0.0]
    rng = np.random.default_rng(7)
    n = 200_000
    level = rng.normal(0.0, LEVEL_KNOWN, n)
    slope = rng.normal(1.0, SLOPE_KNOWN, n)
    centre = np.log(p).mean()
    real = [np.exp(centre + level + slope * (np.log(x) - centre)) for x in p]
    apart = real[1] - real[0] + sum(c * rng.normal(0.0, EACH, n) for c in changes)
    assert found.standard is not None
    assert found.difference == pytest.approx(float(p[1] - p[0]))
    evidence(
        "standard uncertainty of the difference of two bottoms", expected=float(apart.std()),
        computed=found.standard, rel=0.03, unit="MPa",
    )  # fmt: skip
    # common errors cancel: far less than the two intervals would say
    alone = [answer.standard for answer in found.answers if answer is not None]
    assert found.standard < 0.4 * math.hypot(*alone)
    assert sum(changes) == pytest.approx(float(p[1] - p[0]))
    assert abs(changes[-1]) < 0.1 * max(map(abs, changes))


def test_growth_has_verdicts_of_its_own(north: Record) -> None:
    """Growth of a bottom weaker by a share is the model's at that much more pressure: solved."""
    settings = Settings(waves=0)
    answer = combined(north.reversal_pressure_mpa or 0.0, (Part("a", MODEL, 0.01, ""),))
    by = 2.0 * answer.standard / answer.pressure
    limits = [
        parse_limit(text, 60.0 * PSI)
        for text in ("permanent-ring 1 mm", "ring 0.71 mm", "ring 0.1 mm at 60 psi",
                     "depth-left 10 mm", "depth-left 10.3 mm", "ring 9 mm at 90 psi",
                     "ring 9 mm at 120 psi")
    ]  # fmt: skip
    found = growth_verdicts(north, settings, limits, answer)
    words = [one.word for one in found]
    assert words == [SAFE, IN_DOUBT, NOT_SAFE, SAFE, NOT_SAFE, IN_DOUBT, NOT_SAFE]
    ends = tuple(60.0 * PSI / (1.0 + sign * by) for sign in (1.0, -1.0))
    direct = reversal(north.profile, settings, growth_at=ends)
    grown = [row.permanent_stand_growth_mm for row in direct.growth]
    assert [found[0].strong, found[0].weak] == pytest.approx(grown, rel=1e-3)
    assert found[5].weak is None
    assert "reverses first" in found[5].reason
    for text in ("ring", "rim 1 mm", "ring 1 psi at 60 psi", "ring 1 mm at 60 mm", "ring 90 mm"):
        with pytest.raises(InputError, match="--growth-limit"):
            parse_limit(text, 0.5)
    with pytest.raises(InputError, match="needs a pressure"):
        parse_limit("ring 1 mm", None)
    assert growth_verdicts(north, settings, limits[:1], None)[0].word == NOT_KNOWN


def test_compare_of_profiles_and_a_batch(tmp_path: Path, monkeypatch, capsys) -> None:
    from typer.testing import CliRunner

    from domemargin.studies.cli.app import app

    monkeypatch.chdir(tmp_path)
    run = CliRunner()
    done = run.invoke(app, ["compare", "north", "south", "--require", "90 psi", "--json"])
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["second"]["reversal_pressure_mpa"] > data["first"]["reversal_pressure_mpa"]
    assert {row["input"] for row in data["sources"]} >= {"stand_diameter", "dome_depth"}
    assert data["first"]["verdict"]["word"] == IN_DOUBT
    done = run.invoke(app, ["reversal", "north", "south", "--require", "90 psi", "--json"])
    both = json.loads(done.stdout)["bottoms"]
    assert [b["verdict"] for b in both] == [data["first"]["verdict"], data["second"]["verdict"]]
    done = run.invoke(app, ["reversal", "north", "south", "--require", "90 psi", "--out", "o"])
    assert "IN DOUBT" in done.stdout
    assert (tmp_path / "o" / "bottoms.csv").read_text().count("\n") == 3
    done = run.invoke(app, ["compare", "north", str(tmp_path)])
    assert isinstance(done.exception, InputError)
    assert "two profiles" in str(done.exception)
