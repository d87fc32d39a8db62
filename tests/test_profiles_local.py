"""Gauge and metal along the meridian: the transition, zones, tables, and sweeps."""

from __future__ import annotations

import math
import timeit
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from domemargin.profiles import Along, InputError, Linear, Profile, Table, Voce, Zone, load_profile

DATA = Path(__file__).parent / "data"
G = load_profile(DATA / "open_case_g.toml")


def with_zones(*zones: Zone) -> Profile:
    return G.replaced(zones=zones)


def test_transition_is_half_a_cosine_from_the_middle_of_the_heel():
    first, last = G.meridian.span("heel")
    middle = 0.5 * (first + last)
    assert_allclose(G.thickness([0.0, 20.0, middle]), 0.27, rtol=1e-14)
    assert_allclose(G.thickness(middle + 4.0), 0.19, rtol=1e-12)
    assert_allclose(G.thickness(middle + 2.0), 0.11 + 0.16 * (0.5 + math.sqrt(0.125)), rtol=1e-12)
    assert_allclose(G.thickness([middle + 8.0, G.meridian.length]), 0.11, rtol=1e-12)
    later = G.replaced(transition_start=2.0)
    s = np.linspace(0.0, 60.0, 200)
    assert_allclose(later.thickness(s + 2.0), G.thickness(s), rtol=1e-12)


def test_shapes_of_arrays_are_kept():
    s = np.linspace(0.0, 60.0, 12).reshape(3, 4)
    for value in (G.thickness(s), G.prior_strain(s), G.yield_factor(s)):
        assert value.shape == (3, 4)
    assert G.thickness(3.0).shape == ()


def test_without_zones_the_metal_is_virgin():
    s = np.linspace(0.0, 60.0, 7)
    assert np.all(G.prior_strain(s) == 0.0)
    assert np.all(G.yield_factor(s) == 1.0)


def test_sharp_zone_and_blended_zone():
    first, last = G.meridian.span("nose")
    sharp = with_zones(Zone(part="nose", prior_strain=0.15, blend=0.0))
    s = np.array([first - 1e-6, first + 1e-6, last - 1e-6, last + 1e-6])
    assert_allclose(sharp.prior_strain(s), [0.0, 0.15, 0.15, 0.0])
    soft = with_zones(Zone(part="nose", prior_strain=0.15, blend=0.4))
    s = first + np.array([-0.2, 0.0, 0.2])
    assert_allclose(soft.prior_strain(s), [0.0, 0.075, 0.15], atol=1e-15)
    # a blend centred on the ends leaves the amount of strain as it is
    s = np.linspace(0.0, G.meridian.length, 200001)
    assert_allclose(np.trapezoid(soft.prior_strain(s), s), 0.15 * (last - first), rtol=1e-4)


def test_zones_reach_the_axis_and_the_top_undiminished():
    zones = with_zones(Zone(part="dome", gauge=0.25), Zone(part="sidewall", gauge_factor=0.5))
    assert_allclose(zones.thickness([0.0, G.meridian.length]), [0.25, 0.055])


def test_later_zones_lie_over_earlier_ones():
    over = with_zones(
        Zone(part="nose", gauge=0.25, blend=0.0), Zone(start=0.0, stop=60.0, gauge_factor=0.9)
    )
    middle = sum(G.meridian.span("nose")) / 2
    assert_allclose(over.thickness(middle), 0.225)


def test_zones_follow_the_shape_in_a_sweep():
    zoned = with_zones(Zone(part="nose", prior_strain=0.15))
    deeper = zoned.replaced(dome_depth=11.0)
    middle = sum(deeper.meridian.span("nose")) / 2
    assert deeper.meridian.span("nose")[0] > zoned.meridian.span("nose")[0] + 0.3
    assert_allclose(deeper.prior_strain(middle), 0.15)


def test_yield_strength_of_a_zone_scales_the_curve():
    zoned = with_zones(Zone(part="nose", yield_strength=297.0))
    assert_allclose(zoned.yield_factor([1.0, sum(G.meridian.span("nose")) / 2]), [1.0, 1.1])
    assert G.replaced(material=G.material).yield_factor(1.0) == 1.0


def test_table_along_the_meridian():
    table = Along((0.0, 10.0, 30.0), (0.26, 0.25, 0.27), (0.0, 0.02, 0.1), (270.0, 270.0, 297.0))
    profile = G.replaced(along=table)
    assert_allclose(profile.thickness([5.0, 20.0, 70.0]), [0.255, 0.26, 0.27])
    assert_allclose(profile.prior_strain([5.0, 20.0, 70.0]), [0.01, 0.06, 0.1])
    assert_allclose(profile.yield_factor([5.0, 20.0, 70.0]), [1.0, 1.05, 1.1])
    strain_only = G.replaced(along=Along((0.0, 10.0), prior_strain=(0.0, 0.1)))
    s = np.linspace(0, 70, 50)
    assert_allclose(strain_only.thickness(s), G.thickness(s))


def test_breakpoints_hold_everything_that_is_not_smooth():
    profile = with_zones(Zone(start=10.0, stop=12.0, gauge=0.25, blend=0.4)).replaced(
        along=Along((0.0, 5.0), prior_strain=(0.0, 0.1))
    )
    wanted = [*profile.meridian.breaks, *profile.transition, 9.8, 10.2, 11.8, 12.2, 5.0]
    for s in wanted:
        assert np.min(np.abs(profile.breakpoints - s)) < 1e-12
    assert np.all(np.diff(profile.breakpoints) > 0.0)


@pytest.mark.parametrize(
    ("build", "field"),
    [
        (lambda: Zone(part="nose"), "zone.gauge"),
        (lambda: Zone(gauge=0.2), "zone.part"),
        (lambda: Zone(part="nose", start=1.0, stop=2.0, gauge=0.2), "zone.part"),
        (lambda: Zone(part="lip", gauge=0.2), "zone.part"),
        (lambda: Zone(start=3.0, stop=2.0, gauge=0.2), "zone.to"),
        (lambda: Zone(part="nose", gauge=0.2, gauge_factor=0.9), "zone.gauge_factor"),
        (lambda: Zone(part="nose", gauge=-0.2), "zone.gauge"),
        (lambda: with_zones(Zone(start=500.0, stop=600.0, gauge=0.2)), "zone[1].from"),
        (
            lambda: with_zones(Zone(part="shoulder", gauge_factor=3.0)).replaced(
                shoulder_radius=0.3
            ),
            "zone.gauge",
        ),
        (lambda: Along((0.0,)), "along.arc_length"),
        (lambda: Along((0.0, 0.0)), "along.arc_length"),
        (lambda: Along((0.0, 1.0), gauge=(0.2,)), "along.gauge"),
        (lambda: Along((0.0, 1.0), prior_strain=(0.2, math.nan)), "along.prior_strain[2]"),
        (
            lambda: with_zones(Zone(part="nose", yield_strength=280.0)).replaced(
                yield_strength=None
            ),
            "material.yield_strength",
        ),
    ],
)
def test_unclear_zones_and_tables_are_rejected(build, field):
    with pytest.raises(InputError) as caught:
        build()
    assert caught.value.field == field


def test_replaced_reaches_every_level():
    new = G.replaced(
        name="x", dome_depth=10.1, bottom_gauge=0.26, yield_strength=280.0, hardening=Linear(500.0)
    )
    assert (new.name, new.shape.dome_depth, new.sheet.bottom_gauge) == ("x", 10.1, 0.26)
    assert (new.material.yield_strength, new.material.hardening) == (280.0, Linear(500.0))
    assert new.material.elastic_modulus == G.material.elastic_modulus
    assert G.shape.dome_depth == 10.5
    assert G.replaced() == G


def test_replaced_moves_a_tabled_curve_with_its_yield_strength():
    tabled = G.replaced(hardening=Table((0.0, 0.1), (270.0, 300.0)))
    assert tabled.replaced(yield_strength=280.0).material.hardening == Table(
        (0.0, 0.1), (280.0, 310.0)
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"dome_depht": 10.0}, "did you mean dome_depth"),
        ({"bottom_gauge": math.nan}, "sheet.bottom_gauge is nan mm; it must be 0.05 to 2 mm"),
        ({"bottom_gauge": "0.2"}, "must be a number"),
        ({"yield_strength": -3.0}, "material.yield_strength is -3 MPa"),
        ({"poisson_ratio": 0.5}, "material.poisson_ratio"),
        ({"dome_depth": 1e9}, "shape.dome_depth"),
    ],
)
def test_replaced_rejects_what_a_file_would_be_rejected(changes, words):
    with pytest.raises(InputError, match=words):
        G.replaced(**changes)


def test_replaced_is_fast_enough_for_sweeps():
    zoned = with_zones(Zone(part="nose", prior_strain=0.15, gauge_factor=0.97))
    for profile in (G, zoned):
        run = lambda p=profile: p.replaced(dome_depth=10.1, bottom_gauge=0.26)  # noqa: E731
        assert min(timeit.repeat(run, number=50, repeat=5)) / 50 < 1e-3


def test_a_voce_curve_is_kept_by_a_sweep_of_the_yield_strength():
    assert G.replaced(yield_strength=280.0).material.hardening == Voce(40.0, 20.0)
