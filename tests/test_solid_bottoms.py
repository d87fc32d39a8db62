"""Two can bottoms by the axisymmetric solid, code to code.

Source: an independent axisymmetric continuum solution (multiplicative finite-strain J2 with
logarithmic elasticity, eight-node quads with 2 x 2 points, 4 and 6 elements through the gauge,
dome-centre displacement control), computed independently; +-0.2 %.  Band 0.5 %.

Measured with this code (MPa), limit G / H, steps of 0.1:
    elements through    2                  4                  6
    2 x 2 points        0.67339 / 0.50765  0.67241 / 0.50826  0.67265 / 0.50831
    3 x 3 points        0.66921 / 0.50853  0.67176 / 0.50837  0.67197 / 0.50834
    the same with twice the elements along the meridian
    2 x 2 points        0.67384 / 0.50765  0.67252 / 0.50826  0.67270 / -
    3 x 3 points        0.66969 / 0.50852  0.67241 / 0.50836  -
Nine nodes with 3 x 3 points, 2 through: 0.66925 / 0.50854.  Steps at 4 through, 2 x 2 points:
    step   0.05     0.1      0.2      0.4      0.8
    G      0.67250  0.67241  0.67222  0.67180  0.67119
    H      0.50834  0.50825  0.50808  0.50770  0.50694
so the error is of first order in the step, -0.03 % at the default 0.1.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from random_bottoms import random_profiles

from fea.solid import bottom_solid
from fea.solid_path import Stepping
from fea.solid_reversal import solid_reversal
from profiles import load_profile

DATA = Path(__file__).parent / "data"
CONTINUUM = {"g": 0.6726, "h": 0.5084}  # MPa


@pytest.fixture(scope="module", params=CONTINUUM)
def case(request):
    profile = load_profile(DATA / f"open_case_{request.param}.toml")
    return request.param, solid_reversal(profile)


def test_reversal_pressure(case):
    name, found = case
    assert found.ending == "limit"
    assert found.pressure == pytest.approx(CONTINUUM[name], rel=0.005)


def test_the_path_tells_one_story(case):
    _, found = case
    top = found.at_limit
    assert found.path_pressure[top] == found.pressure == found.path_pressure.max()
    assert np.all(np.diff(found.volume) > 0.0)
    assert np.all(np.diff(found.centre_travel[: top + 1]) > 0.0)
    # the nose rolls out: the ring sinks and the centre rides down with it, a little further
    assert 0.0 < found.ring_lowering[top] < found.centre_travel[top]
    assert 0.2 < found.first_yield / found.pressure < 0.8
    assert 0.05 < found.peak_strain < 0.4
    # in the nose or at the foot of the inner leg: below mid-depth, near the stand ring
    assert abs(found.peak_at[0] - 24.0) < 2.5
    assert found.peak_at[1] < 4.0


def test_ceiling():
    profile = load_profile(DATA / "open_case_h.toml")
    found = solid_reversal(profile, through=2, stepping=Stepping(longest=0.4, ceiling=0.3))
    assert found.ending == "ceiling"
    assert 0.3 <= found.pressure < 0.35


def test_harder_or_thicker_metal_reverses_later():
    """Signs and sizes of slopes: an earlier independent continuum study found 0.9 % per 1 % of
    yield and 1.4 % per 1 % of gauge on a similar bottom; computed independently, band +-0.3 %.
    """
    base = load_profile(DATA / "open_case_g.toml")
    quick = Stepping(longest=0.2)
    limit = solid_reversal(base, through=2, stepping=quick).pressure
    metal = replace(base.material, yield_strength=1.01 * base.material.yield_strength)
    harder = solid_reversal(replace(base, material=metal), through=2, stepping=quick).pressure
    thicker = base.replaced(bottom_gauge=1.01 * base.sheet.bottom_gauge)
    thick = solid_reversal(thicker, through=2, stepping=quick).pressure
    assert harder / limit - 1.0 == pytest.approx(0.009, abs=0.003)
    assert thick / limit - 1.0 == pytest.approx(0.014, abs=0.003)


def test_prior_strain_and_yield_factor_reach_the_points():
    class Formed:
        def __init__(self, profile):
            self.meridian, self.thickness = profile.meridian, profile.thickness
            self.material = profile.material

        def prior_strain(self, s):
            return 0.01 * s

        def yield_factor(self, s):
            return 1.0 + 0.001 * s

    profile = load_profile(DATA / "open_case_g.toml")
    model = bottom_solid(Formed(profile), through=2)
    # on the straight sidewall the arc length of a point is its height above the wall's start
    start, end = profile.meridian.span("sidewall")
    height = np.einsum("qk,ek->eq", model.shapes, model.reference[model.nodes, 1])
    wall = height > float(profile.meridian.at(start).z)
    s = height[wall] - float(profile.meridian.at(start).z) + start
    straight = s > start + 8.0  # clear of the gauge transition and of the dome's height
    np.testing.assert_allclose(model.prior[wall][straight], 0.01 * s[straight], rtol=1e-9)
    np.testing.assert_allclose(model.factors[wall][straight], 1 + 0.001 * s[straight], rtol=1e-9)
    assert s.max() < end
    assert np.array_equal(model.start().points[..., 4], model.prior)


@pytest.mark.slow
def test_random_bottoms_all_reach_a_limit():
    for profile in random_profiles(20, seed=11):
        found = solid_reversal(profile, through=2, stepping=Stepping(longest=0.2))
        assert found.ending == "limit"
        assert 0.3 < found.pressure < 1.2
