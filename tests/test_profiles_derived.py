"""Volumes and masses against closed forms: sphere, cone, and rings by Pappus's theorem."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from domemargin.profiles import (
    InputError,
    Material,
    Profile,
    Shape,
    Sheet,
    Zone,
    derived,
    enclosed_volume,
    load_profile,
    metal_mass,
    part_masses,
    ready_profiles,
)
from domemargin.profiles.derived import metal_volume

DATA = Path(__file__).parent / "data"
# uniform gauge, so that both surfaces of every part are arcs and lines
T = 0.3
SHAPE = Shape("mid", 35.0, 10.0, 52.0, 2.0, 0.0, 1.5, math.asin(0.8), 5.0, 66.0, 20.0)
PLAIN = Profile("worked", SHAPE, Sheet(T, T, 5.0), Material(69000.0, 0.33))


def ring(centre: float, low: float, high: float, begin: float, end: float) -> float:
    """Volume of a sector of a ring section turned round the axis, by Pappus's theorem.

    centre : distance of the arc's centre from the axis; low, high : radii of the section;
    begin, end : angles from the axis direction, so that r = centre + radius sin(angle).
    """
    area = 0.5 * (high**2 - low**2) * (end - begin)
    first_moment = (high**3 - low**3) / 3.0 * (math.cos(begin) - math.cos(end))
    return 2.0 * math.pi * (centre * area + first_moment)


def test_metal_of_each_part_in_closed_form():
    density = PLAIN.material.density * 1e-3
    edge, b = math.asin(0.28), math.asin(0.8)
    half = T / 2
    shell = 2 * math.pi / 3 * (1 - math.cos(edge)) * ((52 + half) ** 3 - (52 - half) ** 3)
    expected = {
        "dome": shell,
        "shoulder": ring(14.0, 2 - half, 2 + half, edge, math.pi / 2),
        "inner_leg": math.pi * ((16 + half) ** 2 - (16 - half) ** 2) * 4.5,
        # nose and heel curve the other way: their angles run from the downward axis
        "nose": ring(17.5, 1.5 - half, 1.5 + half, -math.pi / 2, math.pi / 2 - b),
        "outer_leg": 2 * math.pi * (18.4 + 31.0) / 2 * 15.75 * T,
        "heel": ring(28.0, 5 - half, 5 + half, math.pi / 2 - b, math.pi / 2),
        "sidewall": math.pi * ((33 + half) ** 2 - (33 - half) ** 2) * 20.0,
    }
    masses = part_masses(PLAIN)
    for part, volume in expected.items():
        assert_allclose(masses[part], volume * density, rtol=1e-12, err_msg=part)
    bottom = sum(expected.values()) - expected["sidewall"]
    assert_allclose(metal_mass(PLAIN), bottom * density, rtol=1e-12)
    up_to = metal_mass(PLAIN, height=13.75 + half + 8.0)
    wall = 0.4 * expected["sidewall"]
    assert_allclose(up_to, (bottom + wall) * density, rtol=1e-12)


def test_volume_at_the_heel_in_closed_form():
    """The cylinder inside the wall, less what lies under the outer leg and over the dome."""
    half, b = T / 2, math.asin(0.8)
    edge = math.asin(0.28)
    heel_end = 13.75 + half

    def under_arc(centre_r, radius, begin, end):
        """pi r^2 dz of an arc r = c + R sin u, z = z0 - R cos u, from its antiderivative."""

        def primitive(u):
            s, c = math.sin(u), math.cos(u)
            # integral of (c_r + R sin u)^2 R sin u
            return radius * (
                -(centre_r**2) * c
                + 2 * centre_r * radius * (u / 2 - s * c / 2)
                + radius**2 * (c**3 / 3 - c)
            )

        return math.pi * (primitive(end) - primitive(begin))

    big, small = 52 + half, 2 + half
    cap_height = big * (1 - math.cos(edge))
    cap = math.pi * cap_height**2 * (3 * big - cap_height) / 3
    # arcs convex to the inside run downward: the same primitive mirrored
    shoulder = under_arc(14.0, small, edge, math.pi / 2)
    leg = math.pi * (16 + half) ** 2 * 4.5
    tight = 1.5 - half
    nose = under_arc(17.5, tight, -math.pi / 2, math.pi / 2 - b)
    # outer leg: a frustum between the offset ends
    r1, r2 = 18.4 - half * 0.6, 31.0 - half * 0.6
    frustum = math.pi / 3 * (r1 * r1 + r1 * r2 + r2 * r2) * 15.75 * 0.6
    heel = under_arc(28.0, 5 - half, math.pi / 2 - b, math.pi / 2)
    expected = nose + frustum + heel - cap - shoulder - leg
    assert_allclose(enclosed_volume(PLAIN, heel_end), expected, rtol=1e-12)
    # every further millimetre adds a disc
    disc = math.pi * (33 - half) ** 2
    assert_allclose(enclosed_volume(PLAIN, heel_end + 7.0), expected + 7.0 * disc, rtol=1e-12)


def polygon_volume(profile: Profile, datum: float) -> float:
    """Independent: cone frusta between 400,000 points of the inside line, below the datum."""
    edges = profile.breakpoints
    tiny = 1e-10
    s = np.concatenate(
        [np.linspace(a + tiny, b - tiny, 20000) for a, b in pairwise(edges) if b - a > 1e-6]
    )
    p, half = profile.meridian.at(s), 0.5 * profile.thickness(s)
    r, z = p.r - half * np.sin(p.phi), p.z + half * np.cos(p.phi)
    a, b = np.minimum(z[:-1], datum), np.minimum(z[1:], datum)
    return float(np.pi / 3 * np.sum((r[:-1] ** 2 + r[:-1] * r[1:] + r[1:] ** 2) * (b - a)))


@pytest.mark.parametrize("name", [*ready_profiles(), "sharp"])
@pytest.mark.parametrize("datum", [1.1, 6.0, 10.3, 25.0])
def test_volume_below_a_datum_against_cone_frusta(name, datum):
    if name == "sharp":
        zone = Zone(part="outer_leg", gauge=0.35, blend=0.0)
        profile = PLAIN.replaced(zones=(zone,))
    else:
        profile = load_profile(name)
    # the frusta miss only where the datum cuts one of them: 5e-3 mm of arc in 1e2 mm2
    assert_allclose(enclosed_volume(profile, datum), polygon_volume(profile, datum), rtol=2e-6)


def test_volume_below_the_inside_of_the_nose_is_nothing():
    assert enclosed_volume(PLAIN, 0.29) == 0.0
    assert 0.0 < enclosed_volume(PLAIN, 0.31) < 1.0


def test_mass_does_not_depend_on_where_the_line_is_cut():
    profile = load_profile("harbour")
    end = profile.meridian.length
    parts = metal_volume(profile, 0.0, 13.7) + metal_volume(profile, 13.7, end)
    assert_allclose(parts, metal_volume(profile, 0.0, end), rtol=1e-12)


def test_derived_agrees_with_its_parts():
    profile = load_profile(DATA / "open_case_g.toml")
    d = derived(profile)
    assert_allclose(
        d.bottom_mass, sum(part_masses(profile).values()) - part_masses(profile)["sidewall"]
    )
    spans = profile.meridian.span
    assert_allclose(d.inner_leg_length, np.diff(spans("inner_leg"))[0], rtol=1e-12)
    assert_allclose(d.developed_length, spans("sidewall")[0], rtol=1e-14)
    assert_allclose(profile.meridian.at(spans("dome")[1]).r * 2, d.dome_edge_diameter, rtol=1e-14)


@pytest.mark.parametrize("height", [0.1, 200.0, math.nan])
def test_heights_the_bottom_does_not_reach_are_rejected(height):
    with pytest.raises(InputError, match="height is"):
        metal_mass(PLAIN, height)
    if height != 0.1:
        with pytest.raises(InputError, match="height is"):
            enclosed_volume(PLAIN, height)
