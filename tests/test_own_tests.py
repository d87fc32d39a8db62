"""Own reversal tests: the file, the calibration, and whether its intervals hold what they say.

Sources: simulated plants whose level and slope are known (simulation-based calibration, Talts et
al. 2018, arXiv:1804.06788, value from memory); closed form of a normal prior with normal data.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from evidence_rows import COMPUTED, READINGS, About

from domemargin.profiles import InputError, load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.readings.calibration import LEVEL_KNOWN, SLOPE_KNOWN
from domemargin.studies.verdict.answer import answer_of
from domemargin.studies.verdict.budget import IN_DOUBT, verdict_of
from domemargin.studies.verdict.calibration import (
    Calibration,
    calibration_of,
    dumped,
    load_calibration,
)
from domemargin.studies.verdict.own_tests import Test, read_tests
from domemargin.studies.verdict.posterior import (
    LOT,
    NOISE,
    NOISE_KNOWN,
    WIDE,
    WRONG,
    Posterior,
    posterior,
)

ABOUT = About(READINGS, "simulated plants of known level and slope", COMPUTED)


def simulated(
    rng: np.random.Generator, n: int, lots: int, censored: bool
) -> tuple[Posterior, dict]:
    """A plant by the priors, and what its tests say of it."""
    level, slope = rng.normal(0.0, LEVEL_KNOWN), rng.normal(1.0, SLOPE_KNOWN)
    noise = NOISE * math.exp(NOISE_KNOWN * rng.standard_normal())
    x = rng.uniform(-0.06, 0.06, n)
    x -= x.mean()
    lot = np.arange(n) % lots
    y = level + slope * x + rng.normal(0.0, LOT, lots)[lot] + noise * rng.standard_normal(n)
    y = y + WIDE * rng.standard_normal(n) * (rng.random(n) < WRONG)
    stopped = (y > level + 0.01) & censored
    y = np.where(stopped, level + 0.01, y)
    return posterior(x, y, stopped, lot, np.zeros(n)), {"level": level, "slope": slope}


def held(plants: int, n: int, lots: int, censored: bool) -> dict[str, float]:
    """Share of plants whose 95 % intervals hold level, slope and pressure 5 % above the tests."""
    rng = np.random.default_rng(11 * n + lots)
    inside = {"level": 0, "slope": 0, "pressure": 0}
    for _ in range(plants):
        found, true = simulated(rng, n, lots, censored)
        inside["level"] += abs(found.level - true["level"]) < 1.96 * found.level_sd
        inside["slope"] += abs(found.slope - true["slope"]) < 1.96 * found.slope_sd
        at = 0.05
        variance = found.level_sd**2 + (at * found.slope_sd) ** 2 + 2 * at * found.covariance
        off = found.level + found.slope * at - true["level"] - true["slope"] * at
        inside["pressure"] += abs(off) < 1.96 * math.sqrt(variance)
    return {name: count / plants for name, count in inside.items()}


def test_intervals_hold_what_they_say() -> None:
    """Of 60 plants 95 % +- 4 standard errors of a share."""
    for share in held(60, 5, 2, censored=True).values():
        assert share > 0.95 - 4.0 * math.sqrt(0.95 * 0.05 / 60)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "lots", "censored"), [(1, 1, False), (5, 1, False), (5, 2, True)])
def test_a_thousand_plants(n: int, lots: int, censored: bool, evidence) -> None:
    cans = "1 can" if n == 1 else f"{n} cans"
    for name, share in held(1000, n, lots, censored).items():
        evidence(
            f"95 % interval of the {name} by {cans}{' some stopped' * censored}, 1,000 plants",
            computed=share, least=0.93, most=0.97,
        )  # fmt: skip


def test_one_can_is_the_closed_form_but_for_the_wide_part() -> None:
    """Normal prior, normal observation: weights by 1 / variance (any text)."""
    zero = np.zeros(1)
    found = posterior(zero, np.array([0.02]), zero.astype(bool), zero.astype(int), zero)
    variance = NOISE**2 * math.exp(2.0 * NOISE_KNOWN**2) + LOT**2
    weight = LEVEL_KNOWN**2 / (LEVEL_KNOWN**2 + variance)
    assert found.level == pytest.approx(weight * 0.02, rel=0.1)
    assert found.level_sd == pytest.approx(LEVEL_KNOWN * math.sqrt(1.0 - weight), rel=0.15)
    assert found.slope_sd == pytest.approx(SLOPE_KNOWN)


def cans(*psi: float, stopped: tuple[int, ...] = (), lots: str = "") -> list[Test]:
    north = load_profile("north")
    return [
        Test(i + 2, north, lots[i : i + 1], p * PSI, i in stopped, 0.0) for i, p in enumerate(psi)
    ]


MODEL = 91.06 * PSI


def made(tests: list[Test]) -> Calibration:
    return calibration_of(tests, [MODEL] * len(tests))


def test_five_cans_turn_a_doubt_into_an_answer() -> None:
    bottom = load_profile("north")
    before = answer_of(bottom, MODEL)
    done = made(cans(93.1, 94.0, 92.2, 95.1, 93.0))
    after = answer_of(bottom, MODEL, calibration=done)
    assert verdict_of(before, 90.0 * PSI).word == IN_DOUBT
    assert verdict_of(after, 90.0 * PSI).word == "SAFE"
    assert after is not None
    assert before is not None
    assert after.standard < 0.3 * before.standard
    assert done.undone(done.applied(MODEL)[0]) == pytest.approx(MODEL)


def test_a_can_that_was_stopped_counts_as_at_least() -> None:
    reversed_there = made(cans(91.0, 91.5, 90.5, 91.0))
    held_there = made(cans(91.0, 91.5, 90.5, 91.0, stopped=(0, 1, 2, 3)))
    assert held_there.level > reversed_there.level + 0.01
    assert held_there.level_sd > 2.0 * reversed_there.level_sd
    assert any("no can was tested to reversal" in text for text in held_there.said)


def test_outliers_and_contradictions_are_named() -> None:
    clean = made(cans(93.1, 94.0, 92.2, 95.1, 93.0))
    odd = made(cans(93.1, 94.0, 92.2, 95.1, 93.0, 70.0))
    assert clean.said == ()
    (said,) = odd.said
    assert "line 7" in said
    assert "70.0 psi" in said
    assert odd.level == pytest.approx(clean.level, abs=0.006)
    low = made(cans(66.0, 66.5, 65.8, 66.2))
    assert any("below the model" in text for text in low.said)


def test_cans_of_one_lot_say_less_than_cans_of_many() -> None:
    one = made(cans(93.1, 94.0, 92.2, 95.1, lots="AAAA"))
    many = made(cans(93.1, 94.0, 92.2, 95.1, lots="ABCD"))
    assert many.lots == 4
    assert one.level_sd > 1.05 * many.level_sd


def test_the_family_of_bottoms() -> None:
    done = made(cans(93.1, 94.0, 92.2))
    north = load_profile("north")
    assert done.outside(north.replaced(bottom_gauge=0.27)) == ""
    assert "bottom gauge is 0.32 mm" in done.outside(north.replaced(bottom_gauge=0.32))
    assert "its metal is" in done.outside(load_profile("harbour"))
    answer = answer_of(load_profile("harbour"), 0.6, calibration=done)
    assert answer is not None
    assert answer.pressure == 0.6
    assert "does not hold for this bottom" in answer.notes[0]


def test_a_calibration_file_reads_back(tmp_path: Path) -> None:
    done = made(cans(93.1, 94.0, 92.2))
    path = tmp_path / "calibration.json"
    path.write_text(dumped(done), encoding="utf-8")
    assert load_calibration(path) == done
    text_sd = f'"level_sd": {done.level_sd}'
    renamed = dumped(done).replace('"level"', '"lvl"')
    word = dumped(done).replace(text_sd, '"level_sd": "x"')
    for text in ("", "{}", "[1]", '{"kind": 1}', renamed, word):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match="--calibration"):
            load_calibration(path)
    with pytest.raises(InputError, match="cannot be read"):
        load_calibration(tmp_path / "none.json")


PLAIN = "lot,pressure (psi),stopped\nA,93.1,\nA,94,no\nB,95.1,yes\n"
READ = {
    "plain": PLAIN,
    "bar": "pressure (bar)\n6.42\n6.48\n6.557\n",
    "semicolons and decimal commas": "Lot;Reversal pressure [psi];Held\nA;93,1;\nA;94;\nB;95,1;x\n",
    "UTF-16 with tabs": PLAIN.replace(",", "\t"),
    "a byte order mark and blank lines": "\ufeff" + PLAIN.replace("\nA,94", "\n\nA,94") + ",,\n",
    "ties and a mark for more than": "pressure (psi)\n93.1\n93.1\n> 95.1\n",
    "quotes and Windows line ends": PLAIN.replace("A,93.1", '"A","93.1"').replace("\n", "\r\n"),
}


@pytest.mark.parametrize("name", READ)
def test_files_that_are_read(tmp_path: Path, name: str) -> None:
    path = tmp_path / "tests.csv"
    path.write_bytes(READ[name].encode("utf-16" if "UTF-16" in name else "utf-8"))
    read = read_tests(path, load_profile("north"))
    assert len(read.tests) == 3
    assert read.aside == ()
    assert read.tests[0].pressure / PSI == pytest.approx(93.1, abs=0.05)
    if name != "bar":
        assert read.tests[2].stopped
    assert not read.tests[0].stopped


ASIDE = {
    "a word": ("many", "it must be a number"),
    "another unit in the cell": ("93 bar", "it must be a number"),
    "out of range": ("9310", "must lie in"),
    "empty": ("", "it must be a number"),
}


@pytest.mark.parametrize("name", ASIDE)
def test_rows_that_are_set_aside(tmp_path: Path, name: str) -> None:
    cell, why = ASIDE[name]
    path = tmp_path / "tests.csv"
    path.write_text(f"lot,pressure (psi)\nA,93.1\nA,{cell}\n", encoding="utf-8")
    read = read_tests(path, load_profile("north"))
    assert len(read.tests) == 1
    ((line, reason),) = read.aside
    assert line == 3
    assert why in reason


def test_a_wrong_bottom_and_dimensions_of_a_row(tmp_path: Path) -> None:
    path = tmp_path / "tests.csv"
    path.write_text(
        "bottom,pressure (psi),gauge (mm),depth (in)\nnorth,93.1,0.262,0.41\nnarth,93,0.262,\n"
        "north,93,2.62,\n", encoding="utf-8",
    )  # fmt: skip
    read = read_tests(path)
    assert read.tests[0].profile.sheet.bottom_gauge == pytest.approx(0.262)
    assert read.tests[0].profile.shape.dome_depth == pytest.approx(0.41 * 25.4)
    assert [line for line, _ in read.aside] == [3, 4]
    assert "narth" in read.aside[0][1]
    assert "bottom_gauge is 2.62 mm" in read.aside[1][1]


REJECTED = {
    "no unit": ("pressure\n93\n", "has no unit"),
    "no pressure": ("lot,psi\nA,93\n", "is not known"),
    "empty": ("", "no table"),
    "no bottom": ("pressure (psi)\n93\n", "no bottom"),
    "two pressures": ("pressure (psi),reversal (psi)\n93,93\n", "two columns"),
    "a record": ('{"pressure": 93}', "no table"),
}


@pytest.mark.parametrize("name", REJECTED)
def test_files_that_are_rejected(tmp_path: Path, name: str) -> None:
    text, why = REJECTED[name]
    path = tmp_path / "tests.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as rejected:
        read_tests(path)
    assert why in str(rejected.value)
    assert len(str(rejected.value)) < 240
