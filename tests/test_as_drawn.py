"""Dimensions as drawings give them, and what a study holds.

Source of truth: the same bottom in its plain dimensions; the line of the leg's face itself; an inch
of 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from domemargin.profiles import InputError, dump_profile, load_profile, parse_profile
from domemargin.profiles.files.as_drawn import inner_leg_diameter
from domemargin.profiles.quantities import parse_leg_angle, parse_quantity
from domemargin.studies.study.varied import bottom_at, parse_value

NORTH, SOUTH = load_profile("north"), load_profile("south")
TEXT = dump_profile(NORTH)


def read(**changes: str | None):  # type: ignore[no-untyped-def]
    """North's file with keys of [shape] replaced, or left out (None), or added."""
    lines = []
    for line in TEXT.splitlines():
        name = line.split(" = ")[0]
        if name in changes:
            continue
        lines.append(line)
        if line == "[shape]":
            lines += [f'{k} = "{v}"' for k, v in changes.items() if v is not None]
    return parse_profile("\n".join(lines))


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ('0.060"', "length", 0.060 * 25.4),
        ("1/16 in", "length", 25.4 / 16.0),
        ("1 7/8 in", "length", 1.875 * 25.4),
        ('1-7/8"', "length", 1.875 * 25.4),
        ("4 deg 30 min", "angle", math.radians(4.5)),
        ("4° 30'", "angle", math.radians(4.5)),
        ("-4 deg 30 min", "angle", math.radians(-4.5)),
        ("30 arcmin", "angle", math.radians(0.5)),
        ("90 psig", "pressure", 90 * 6894.757293168e-6),  # NIST SP 811
        ("6.2 barg", "pressure", 0.62),
    ],
)
def test_quantities_as_drawings_write_them(text: str, dimension: str, value: float) -> None:
    assert parse_quantity(text, dimension, "x") == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("text", ["1/0 in", "3/4", "1/2 kg", "1//2 in"])
def test_what_is_no_fraction_is_rejected(text: str) -> None:
    with pytest.raises(InputError, match="unit"):
        parse_quantity(text, "length", "x")
    with pytest.raises(InputError):
        parse_quantity("4 deg 75 min", "angle", "x")


def test_leg_angles_from_horizontal() -> None:
    assert parse_leg_angle("28 deg from horizontal", "x") == pytest.approx(math.radians(62.0))
    assert parse_leg_angle("62 deg from vertical", "x") == pytest.approx(math.radians(62.0))
    assert read(outer_leg_angle="30 deg from horizontal").shape.outer_leg_angle == pytest.approx(
        NORTH.shape.outer_leg_angle
    )
    value = parse_value("inner_leg_angle", "87 deg from horizontal", "x")
    assert value == pytest.approx(math.radians(3.0))


@pytest.mark.parametrize("side", ["die", "punch"])
@pytest.mark.parametrize("profile", [NORTH, SOUTH], ids=["north", "south"])
def test_the_leg_meets_the_stand_plane_where_it_is_said_to(profile, side: str) -> None:  # type: ignore[no-untyped-def]
    line, half = profile.meridian, 0.5 * profile.sheet.bottom_gauge
    first, last = line.span("inner_leg")
    at = line.at(np.array([first + 0.2 * (last - first), last]))
    lift = -half if side == "die" else half
    r, z = at.r - lift * np.sin(at.phi), at.z + lift * np.cos(at.phi)
    foot = r[1] + (r[1] - r[0]) * z[1] / (z[0] - z[1])  # the straight line drawn on to z = 0
    assert inner_leg_diameter(profile.shape, profile.sheet, side) == pytest.approx(2.0 * foot)


def test_the_leg_may_stand_in_for_the_stand_diameter() -> None:
    for side in ("die", "punch"):
        leg = inner_leg_diameter(NORTH.shape, NORTH.sheet, side)
        found = read(stand_diameter=None, inner_leg_diameter=f"{leg!r} mm", inner_leg_side=side)
        assert found.shape.stand_diameter == pytest.approx(47.0, abs=1e-9)
    with pytest.raises(InputError, match="give one of the two"):
        read(inner_leg_diameter="44 mm")
    with pytest.raises(InputError, match="or inner_leg_diameter given"):
        read(stand_diameter=None)
    with pytest.raises(InputError, match="must be die or punch"):
        read(stand_diameter=None, inner_leg_diameter="44 mm", inner_leg_side="left")


def test_radii_and_depth_on_other_surfaces() -> None:
    t = NORTH.sheet.bottom_gauge
    found = read(
        nose_radius_on="outside", nose_radius=f"{1.5 + 0.5 * t} mm",
        dome_radius_on="outside", dome_radius=f"{47.0 - 0.5 * t} mm",
        body_diameter_on="outside", body_diameter=f"{66.0 + NORTH.sheet.wall_gauge} mm",
        dome_depth_on="inside", dome_depth_from="1 mm", dome_depth=f"{10.4 + t - 1.0} mm",
    )  # fmt: skip
    for name in ("nose_radius", "dome_radius", "body_diameter", "dome_depth"):
        assert getattr(found.shape, name) == pytest.approx(getattr(NORTH.shape, name), abs=1e-9)
    assert parse_profile(dump_profile(found)) == found
    with pytest.raises(InputError, match=r"shape.nose_radius_on is 'top'"):
        read(nose_radius_on="top")


@pytest.mark.parametrize("side", ["die", "punch"])
def test_a_study_holds_the_leg(side: str) -> None:
    want = inner_leg_diameter(NORTH.shape, NORTH.sheet, side)
    name = f"nose_radius_{side}_held"
    for point in ({name: 1.2}, {name: 1.8, "bottom_gauge": 0.25}, {name: 1.4, "dome_depth": 10.2}):
        found = bottom_at(NORTH, point)
        assert found.shape.nose_radius == point[name]
        assert inner_leg_diameter(found.shape, found.sheet, side) == pytest.approx(want)
        # the whole leg stays: its line, not one point of it
        assert found.shape.inner_leg_angle == NORTH.shape.inner_leg_angle
    assert bottom_at(NORTH, {name: 1.5}).shape == replace(
        NORTH.shape, stand_diameter=bottom_at(NORTH, {name: 1.5}).shape.stand_diameter
    )
    with pytest.raises(InputError, match="cannot be varied beside"):
        bottom_at(NORTH, {name: 1.4, "stand_diameter": 47.5})


def test_what_is_held_turns_the_sign() -> None:
    """More nose radius: the pressure falls with the leg held where it rises with the stand."""
    from domemargin.fea.bottom.reversal import reversal

    def gain(name: str) -> float:
        low, high = (
            reversal(bottom_at(NORTH, {name: r}), growth_at=(), waves=0).reversal_pressure_mpa
            for r in (1.2, 1.8)
        )
        assert low is not None
        assert high is not None
        return high - low

    assert gain("nose_radius") > 0.0 > gain("nose_radius_die_held")
