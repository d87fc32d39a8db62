"""Values that are allowed but unusual are named; ranges: common practice, no source."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from random_bottoms import random_profiles

from domemargin.profiles import InputError, Profile, load_profile, ready_profiles
from domemargin.profiles.local import Along
from domemargin.profiles.material import Table
from domemargin.profiles.unusual import unusual

NORTH = load_profile("north")


def table(strain: tuple[float, ...], stress: tuple[float, ...]) -> Profile:
    metal = replace(NORTH.material, yield_strength=stress[0], hardening=Table(strain, stress))
    return replace(NORTH, material=metal)


CASES = {
    "yield of 280 psi": (lambda: NORTH.replaced(yield_strength="280 psi"), "1.93053 MPa"),
    "yield of 2,800 MPa": (lambda: NORTH.replaced(yield_strength=2800.0), "80 to 600 MPa"),
    "dome depth 25 mm": (lambda: NORTH.replaced(dome_depth=25.0), "dome_depth is 25 mm"),
    "wall thicker than bottom": (lambda: NORTH.replaced(wall_gauge=0.3), "more than bottom_gauge"),
    "strains in percent": (lambda: table((0.0, 2.0, 5.0), (255.0, 280.0, 290.0)), "written 0.05"),
    "a falling table": (lambda: table((0.0, 0.02, 0.05), (255.0, 280.0, 260.0)), "falls from 280"),
    "an offset of 2 mm": (
        lambda: replace(NORTH, along=Along((0.0, 20.0), offset=(2.0, 2.0))),
        "offset goes up to 2 mm",
    ),
    "28 deg for the outer leg": (
        lambda: NORTH.replaced(outer_leg_angle="28 deg", heel_radius=3.0), "35 to 80 deg"
    ),
    "half a radian for a leg of half a degree": (
        lambda: NORTH.replaced(inner_leg_angle=0.5), "inner_leg_angle is 28.6479 deg"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_slips_are_named(name: str) -> None:
    make, words = CASES[name]
    notes = unusual(make())
    assert len(notes) == 1, notes
    assert words in notes[0]
    assert "usual" in notes[0]
    assert len(notes[0]) < 160


def test_usual_bottoms_have_none() -> None:
    for name in ready_profiles():
        assert unusual(load_profile(name)) == ()
    assert sum(bool(unusual(profile)) for profile in random_profiles(40, 77)) <= 4


def test_replaced_takes_texts_with_units() -> None:
    assert NORTH.replaced(inner_leg_angle="2 deg").shape.inner_leg_angle == math.radians(2.0)
    assert NORTH.replaced(yield_strength="40 ksi").material.yield_strength == pytest.approx(
        275.79, abs=1e-3
    )
    with pytest.raises(InputError, match=r"dome_depth is '10\.2'"):
        NORTH.replaced(dome_depth="10.2")
