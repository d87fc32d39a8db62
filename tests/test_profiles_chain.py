"""The tangent chain: worked cases, tangency, surfaces, and what does not close."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from random_bottoms import RANGES, bottom, random_profiles
from scipy.optimize import fsolve

from domemargin.profiles import (
    Material,
    Profile,
    Shape,
    ShapeError,
    Sheet,
    load_profile,
    ready_profiles,
)
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.closing import closing_range

DATA = Path(__file__).parent / "data"
ELASTIC = Material(69000.0, 0.33)
# All rational, from the triangles 7-24-25 and 3-4-5: a worked case computed independently.
# With R_d - R_s = 50 and a vertical inner leg the shoulder centre is 17.5 - 3.5 = 14 from the
# axis, so sin = 14/50 and cos = 48/50 at the dome edge; the outer leg has sin 4/5, cos 3/5.
WORKED = Shape("mid", 35.0, 10.0, 52.0, 2.0, 0.0, 1.5, math.asin(0.8), 5.0, 66.0, 20.0)


def worked(gauge: float = 0.3) -> Profile:
    return Profile("worked", WORKED, Sheet(gauge, gauge, 5.0), ELASTIC)


def gaps(profile: Profile) -> float:
    """Largest misfit of position (mm) and tangent (rad) at the junctions of a chain."""
    worst = 0.0
    for one, two in pairwise(profile.meridian.segments):
        end = one.at(one.length)
        worst = max(worst, abs(end.r - two.r), abs(end.z - two.z), abs(end.phi - two.phi))
    return worst


def test_worked_case():
    profile, half = worked(), 0.15
    chain, line = profile.chain, profile.meridian
    assert_allclose(chain.inner_leg_length, 4.5, rtol=0, atol=1e-12)
    assert_allclose(chain.outer_leg_length, 15.75, rtol=0, atol=1e-12)
    assert_allclose(chain.dome_edge_diameter, 2 * 52 * 14 / 50, rtol=0, atol=1e-12)
    assert_allclose(chain.dome_edge_angle, math.asin(0.28), rtol=0, atol=1e-14)
    assert_allclose(chain.heel_height, 13.75 + half, rtol=0, atol=1e-12)
    ends = {part: line.at(line.span(part)[0]) for part in ("shoulder", "inner_leg", "nose")}
    assert_allclose(ends["shoulder"].z, 10 - 2.08 + half, rtol=0, atol=1e-12)
    assert_allclose(ends["inner_leg"].r, 16.0, rtol=0, atol=1e-12)
    assert_allclose(ends["inner_leg"].z, 6.0 + half, rtol=0, atol=1e-12)
    assert_allclose((ends["nose"].r, ends["nose"].z), (16.0, 1.5 + half), rtol=0, atol=1e-12)
    assert_allclose(line.at(line.length), (33.0, 33.75 + half, math.pi / 2, 0.0), atol=1e-12)


@pytest.mark.parametrize("name", [*ready_profiles(), "g", "h"])
def test_chain_of_files_closes_and_stands_on_the_plane(name):
    profile = load_profile(DATA / f"open_case_{name}.toml" if len(name) == 1 else name)
    assert gaps(profile) < 1e-12
    half = 0.5 * profile.sheet.bottom_gauge
    apex = profile.meridian.at(0.0)
    assert (apex.r, apex.phi) == (0.0, 0.0)
    assert_allclose(apex.z - half, profile.shape.dome_depth, rtol=0, atol=1e-12)
    lowest = profile.meridian.segments[-4].next("nose", 0.0, 0.0)  # where the nose ends
    assert lowest.z > half
    s = np.linspace(*profile.meridian.span("nose"), 20001)
    nose = profile.meridian.at(s)
    at = int(np.argmin(nose.z))
    # sampled every 0.15 micrometres: the lowest point is found to 1e-8
    assert_allclose(nose.z[at], half, rtol=0, atol=1e-7)
    assert_allclose(2 * nose.r[at], profile.shape.stand_diameter, rtol=0, atol=1e-3)


@pytest.mark.parametrize("name", ["g", "h"])
def test_leg_length_found_by_shooting(name):
    """Computed independently: march the arcs from the axis and shoot for the nose centre."""
    profile = load_profile(DATA / f"open_case_{name}.toml")
    x = profile.shape

    def miss(unknown):
        edge, leg = unknown
        r, z = x.dome_radius * math.sin(edge), -x.dome_radius * (1 - math.cos(edge))
        z += x.dome_depth + 0.5 * profile.sheet.bottom_gauge
        a = x.inner_leg_angle
        r += x.shoulder_radius * (math.cos(a) - math.sin(edge))
        z += x.shoulder_radius * (math.sin(a) - math.cos(edge))
        r, z = r + leg * math.sin(a), z - leg * math.cos(a)
        r, z = r + x.nose_radius * math.cos(a), z + x.nose_radius * math.sin(a)
        return (
            r - x.stand_diameter / 2,
            z - x.nose_radius - 0.5 * profile.sheet.bottom_gauge,
        )

    edge, leg = fsolve(miss, (0.4, 2.0), xtol=1e-13)
    assert_allclose(profile.chain.dome_edge_angle, edge, rtol=1e-10)
    assert_allclose(profile.chain.inner_leg_length, leg, rtol=1e-10)


def circle_radius(r, z):
    """Radius of the circle through the first, middle and last of some points."""
    p = np.stack((r, z), axis=1)[[0, len(r) // 2, -1]]
    a, b, c = (np.linalg.norm(p[i] - p[j]) for i, j in ((0, 1), (1, 2), (0, 2)))
    (x1, y1), (x2, y2) = p[1] - p[0], p[2] - p[0]
    return a * b * c / (2 * abs(x1 * y2 - x2 * y1))


@pytest.mark.parametrize(("surface", "side"), [("inside", 1.0), ("mid", 0.0), ("outside", -1.0)])
def test_radii_are_those_of_the_named_surface(surface, side):
    shape = Shape(surface, 47.0, 10.3, 46.0, 1.7, 0.05, 1.6, 1.05, 5.5, 66.0, 30.0)
    profile = Profile("p", shape, Sheet(0.26, 0.1, 3.0, 4.0), ELASTIC)

    def on_surface(s):
        p = profile.meridian.at(s)
        offset = side * 0.5 * profile.thickness(s)
        return p.r - offset * np.sin(p.phi), p.z + offset * np.cos(p.phi)

    for part in ("dome", "shoulder", "nose", "heel"):
        first, last = profile.meridian.span(part)
        r, z = on_surface(np.linspace(first + 1e-9, last - 1e-9, 11))
        wanted = getattr(shape, f"{part}_radius")
        assert_allclose(circle_radius(r, z), wanted, rtol=1e-7, err_msg=part)
    assert_allclose(2 * on_surface(profile.meridian.length)[0], 66.0, rtol=1e-14)


def test_two_zone_dome_is_tangent_and_breaks_where_stated():
    shape = replace(
        WORKED, radii_on="inside", dome_radius=(60.0, 40.0), dome_break_diameter=(16.0,)
    )
    profile = Profile("p", shape, Sheet(0.3, 0.3, 5.0), ELASTIC)
    assert gaps(profile) < 1e-12
    first, second = profile.meridian.segments[:2]
    assert (first.part, second.part) == ("dome", "dome")
    assert_allclose((1 / first.curvature, 1 / second.curvature), (-59.85, -39.85), rtol=1e-14)
    # on the inside surface, half a gauge beyond the mid surface along the normal
    assert_allclose(second.r - 0.15 * math.sin(second.phi), 8.0, rtol=1e-14)


def test_zones_of_one_radius_make_the_plain_dome():
    plain = worked()
    split = plain.replaced(dome_radius=(52.0, 52.0, 52.0), dome_break_diameter=(10.0, 20.0))
    s = np.linspace(0.0, plain.meridian.length, 500)
    assert_allclose(split.meridian.at(s), plain.meridian.at(s), rtol=0, atol=1e-12)


lengths = {name: st.floats(*ends) for name, ends in RANGES.items()}


@given(st.fixed_dictionaries(lengths), st.sampled_from(["inside", "mid", "outside"]))
@settings(max_examples=200, deadline=None)
def test_random_chains_close(drawn, surface):
    profile = bottom(**drawn, radii_on=surface)
    if profile is None:
        return
    assert gaps(profile) < 1e-9
    assert min(segment.length for segment in profile.meridian.segments) >= 0.0


def test_most_random_bottoms_are_valid():
    profiles = random_profiles(50, seed=1)
    assert len({profile.shape for profile in profiles}) == 50
    assert random_profiles(3, seed=1) == profiles[:3]


@given(st.fixed_dictionaries(lengths), st.floats(0.6, 1.9))
@settings(max_examples=60, deadline=None)
def test_scaling_all_lengths_scales_the_chain(drawn, factor):
    profile = bottom(**drawn)
    if profile is None:
        return
    scaled = {
        name: getattr(profile.shape, name) * factor
        for name in vars(profile.shape)
        if name.endswith(("radius", "diameter", "depth", "height")) and name[:10] != "dome_break"
    }
    sheet = Sheet(*(factor * value for value in vars(profile.sheet).values()))
    big = Profile("big", replace(profile.shape, **scaled), sheet, ELASTIC)
    s = np.linspace(0.0, profile.meridian.length, 50)
    r, z, phi, curvature = profile.meridian.at(s)
    there = big.meridian.at(s * factor)
    assert_allclose(there.r, factor * r, rtol=0, atol=1e-9)
    assert_allclose(there.z, factor * z, rtol=0, atol=1e-9)
    # on a junction rounding may pick either neighbour, so curvature is compared off junctions
    off = np.min(np.abs(s[:, None] - profile.meridian.breaks), axis=1) > 1e-6
    assert_allclose(there.phi[off], phi[off], rtol=0, atol=1e-9)
    assert_allclose(there.curvature[off] * factor, curvature[off], rtol=0, atol=1e-9)


NOT_CLOSING = [
    ({"dome_depth": 3.0}, "inner leg -"),
    ({"heel_radius": 20.0}, "outer leg -"),
    ({"dome_radius": 15.0}, "out of the dome's reach"),
    ({"shoulder_radius": 19.0}, "inner leg -"),
    ({"nose_radius": 0.12}, "leaves a radius of"),
    ({"stand_diameter": 12.0, "dome_depth": 20.0, "shoulder_radius": 6.0}, "overrun the dome"),
    ({"stand_diameter": 57.0, "heel_radius": 12.0}, "outer leg -"),
    ({"body_diameter": 50.0}, "outer leg -"),
    ({"dome_radius": (48.0, 40.0), "dome_break_diameter": (46.0,)}, "beyond the dome edge"),
    ({"dome_radius": (48.0, 40.0), "dome_break_diameter": (120.0,)}, "cannot lie on zone 1"),
    ({"shoulder_radius": 5.0, "dome_radius": 5.0}, "no tighter than the dome"),
    ({"inner_leg_angle": -0.45, "outer_leg_angle": 0.3, "dome_depth": 33.0}, "touch the outer leg"),
    (
        {"stand_diameter": 15.0, "nose_radius": 8.0, "dome_depth": 45.0, "inner_leg_angle": -0.45}
        | {"dome_radius": 190.0, "outer_leg_angle": 0.5, "shoulder_radius": 1.0},
        "cross the axis",
    ),
]


@pytest.mark.parametrize(("changes", "consequence"), NOT_CLOSING)
def test_a_chain_that_does_not_close_names_the_range_that_would(changes, consequence):
    base = load_profile(DATA / "open_case_g.toml")
    with pytest.raises(ShapeError, match=consequence) as caught:
        base.replaced(**changes)
    error = caught.value
    assert "\n" not in str(error)
    name = error.field.split(".")[1]
    assert str(error).startswith(f"{error.field} {error.value} ")
    if not error.allowed:
        assert "alone would close" in str(error)
        return
    # both ends of the range it names must close the chain, and the value given must not
    low, _, high, unit = error.allowed.split(" ")
    for end in (float(low), float(high)):
        value = math.radians(end) if unit == "deg" else end
        if name == "dome_radius" and isinstance(changes.get("dome_radius"), tuple):
            value = (*changes["dome_radius"][:-1], value)
        if name == "dome_break_diameter":
            value = (value,)
        assert base.replaced(**{**changes, name: value}).chain.inner_leg_length >= 0.0
    assert not float(low) <= float(error.value.split(" ")[0]) <= float(high)


def test_range_ends_where_the_inner_leg_vanishes():
    """Computed independently: in the worked case the leg is depth - 5.5 mm long."""
    with pytest.raises(ShapeError) as caught:
        worked().replaced(dome_depth=4.0)
    found = closing_range(replace(WORKED, dome_depth=4.0), worked().sheet, "dome_depth")
    assert found is not None
    assert_allclose(found[0], 5.5, rtol=0, atol=1e-6)
    # the message rounds inward to hundredths, so that both numbers in it are good
    assert caught.value.allowed.startswith("5.51 to ")
    assert "leaves the inner leg -1.5 mm long" in str(caught.value)


def test_errors_survive_the_way_from_a_worker_process():
    with pytest.raises(ShapeError) as caught:
        worked().replaced(dome_depth=4.0)
    copy = pickle.loads(pickle.dumps(caught.value))
    assert (str(copy), copy.field, copy.allowed) == (
        str(caught.value),
        "shape.dome_depth",
        caught.value.allowed,
    )


def test_solve_reports_without_searching():
    assert not isinstance(solve(replace(WORKED, dome_depth=4.0), Sheet(0.3, 0.3, 5.0)), Chain)
