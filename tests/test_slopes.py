"""Slopes of the answers against laws of dimensions, refined runs and formulas.

Sources: dimensional analysis (E. Buckingham, Phys. Rev. 4 (1914) 345, doi 10.1103/PhysRev.4.345):
a pressure is homogeneous of degree 0 in all lengths and of degree 1 in all stresses, growth of
degree 1 in all lengths and 0 in stresses with the pressure among them, so that Euler's theorem
gives sums of slopes exactly.  Refined runs are computed independently of the steps that the
slopes take.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from evidence_rows import BOTTOMS, COMPUTED, PUBLISHED, About
from study_stand_in import psi_of, straight

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import (
    PRESSURE,
    Input,
    chosen,
    inputs_of,
    moved,
    of_pressure,
    ranked,
    slopes,
    with_slopes,
)
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, load_profile
from domemargin.profiles.units import PSI

ABOUT = About(
    BOTTOMS,
    "dimensional analysis (Buckingham 1914, doi 10.1103/PhysRev.4.345), Euler's theorem",
    PUBLISHED,
)
LIMIT_ONLY = Settings(waves=0, growth_at=())
NAMES = ("north", "south")


@pytest.fixture(scope="module")
def found() -> dict[str, tuple[Record, dict[str, float]]]:
    """Of each ready bottom: its record, and change of pressure by the share of each input."""
    out = {}
    for name in NAMES:
        profile = load_profile(name)
        record = reversal(profile, LIMIT_ONLY)
        assert record.reversal_pressure_mpa is not None
        rows = of_pressure(slopes(profile, LIMIT_ONLY, base=record))
        pressure = record.reversal_pressure_mpa
        shares = {k: (s.slope or 0.0) * s.value / pressure for k, s in rows.items()}
        out[name] = record, shares
    return out


@pytest.mark.parametrize("name", NAMES)
def test_slopes_keep_the_laws_of_dimensions(found, name: str, evidence) -> None:
    record, shares = found[name]
    kinds = {one.name: one.kind for one in inputs_of(record.profile)}
    lengths = sum(v for k, v in shares.items() if kinds[k] == "length")
    stresses = sum(v for k, v in shares.items() if kinds[k] == "stress")
    evidence(f"{name}: sum of d ln p / d ln length", expected=0.0, computed=lengths, abs=0.005)
    evidence(f"{name}: sum of d ln p / d ln stress", expected=1.0, computed=stresses, abs=0.005)


@pytest.mark.parametrize("name", ["north", "south"])
def test_slopes_are_those_of_refined_runs(found, name: str, evidence) -> None:
    """Central differences, steps half as long and layers more, over twice the distance."""
    record, shares = found[name]
    profile = record.profile
    refined = replace(LIMIT_ONLY, resolution=0.0005)
    for one in chosen(profile, ("stand_diameter", "dome_depth", "bottom_gauge", "yield_strength")):
        step = 0.008 * one.value
        ends = [
            reversal(moved(profile, one.name, one.value + d), refined).reversal_pressure_mpa
            for d in (-step, step)
        ]
        low, high = ends
        assert low is not None
        assert high is not None
        share = (high - low) / (0.5 * (high + low)) * one.value / (2.0 * step)
        evidence(
            f"{name}: d ln p / d ln {one.name}", expected=share, computed=shares[one.name],
            rel=0.004, source="central differences of refined runs", kind=COMPUTED,
        )  # fmt: skip


def test_slopes_of_a_formula_are_exact() -> None:
    base = load_profile("north")

    def read(record: Record) -> dict[str, float]:
        return {PRESSURE: float(record.reversal_pressure_mpa or 0.0)}

    rows = of_pressure(slopes(base, Settings(), solve=straight, read=read))
    assert rows["dome_depth"].change == pytest.approx(0.08 * PSI, rel=1e-8)
    assert rows["bottom_gauge"].change == pytest.approx(5.0 * PSI, rel=1e-8)
    assert rows["yield_strength"].change == pytest.approx(0.2 * PSI, rel=1e-8)
    assert rows["heel_radius"].change == pytest.approx(0.0, abs=1e-12)
    assert psi_of(base) == pytest.approx(90.0)
    first = ranked(rows.values())[0]
    assert (first.name, first.per_words) == ("bottom_gauge", "0.01 mm")


def test_an_input_at_the_end_of_its_range_is_moved_to_one_side() -> None:
    """The one-sided formula (-3 f0 + 4 f1 - f2) / 2h is exact for a parabola."""
    base = load_profile("north")

    def read(record: Record) -> dict[str, float]:
        return {PRESSURE: float(record.reversal_pressure_mpa or 0.0)}

    def solve(profile: Profile, settings: Settings):
        x = profile.material.kinematic_share
        return replace(straight(profile, settings), reversal_pressure_mpa=1.0 - 0.3 * x + 2 * x * x)

    (row,) = slopes(base, Settings(), chosen(base, ["kinematic_share"]), None, solve, moved, read)
    assert row.slope == pytest.approx(-0.3, rel=1e-9)


def test_what_has_no_slope_says_why() -> None:
    base = load_profile("north")
    with pytest.raises(InputError, match="did you mean dome_depth"):
        chosen(base, ["dome_dept"])
    # a stand so wide that the chain does not close
    one = Input("stand_diameter", "length", 47.0, 10.0, 150.0, step=40.0)
    row = of_pressure(slopes(base, LIMIT_ONLY, [one]))["stand_diameter"]
    assert row.slope is None
    assert row.reason
    elastic = base.replaced(yield_strength=None)
    assert "kinematic_share" not in {one.name for one in inputs_of(elastic)}


def test_growth_and_waves_have_slopes_too() -> None:
    base = load_profile("north")
    settings = Settings(growth_at=(60 * PSI,), waves=6)
    record = with_slopes(reversal(base, settings), settings, ["bottom_gauge"])
    assert record.slopes is not None
    rows = {row.quantity.split(" ")[0]: row for row in record.slopes}
    assert (rows["permanent_stand_growth_mm"].change or 0.0) < 0.0  # thicker grows less
    assert (rows["first_yield_mpa"].change or 0.0) > 0.0
    assert (rows["wave_onset_deformation_mpa"].change or 0.0) > 0.0
    assert record.to_dict()["slopes"][0]["quantity"] == PRESSURE
