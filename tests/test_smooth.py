"""The reversal pressure is a smooth function of every input.

No source outside: a departure from the best polynomial of fifth order over a stretch of an input is
measured, which a smooth function does not have and a switch between inputs and answer makes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from random_bottoms import random_profiles

from domemargin.fea.bottom.reversal import solve_path
from domemargin.fea.core.settings import Settings
from domemargin.profiles import Material, load_profile
from domemargin.profiles.profile import Profile


def pressures(profile: Profile, name: str, shares: np.ndarray) -> np.ndarray:
    """Limit pressures (MPa) with an input changed by shares of it."""
    holder: Any = next(
        part for part in (profile.shape, profile.sheet, profile.material) if hasattr(part, name)
    )
    value, out = getattr(holder, name), []
    for share in shares:
        found = solve_path(profile.replaced(**{name: value * (1.0 + share)}), Settings()).found
        assert found.path.limit is not None
        assert found.correction is not None
        assert not found.unresolved
        out.append(found.path.limit.pressure + found.correction)
    return np.array(out)


def roughness(profile: Profile, name: str, count: int = 13, far: float = 0.01) -> float:
    """Largest departure from a polynomial of fifth order over +-`far`, relative."""
    shares = np.linspace(-far, far, count)
    found = pressures(profile, name, shares)
    fit = np.polynomial.Polynomial.fit(shares, found, 5)
    return float(np.abs(fit(shares) / found - 1.0).max())


@pytest.mark.parametrize("name", ["dome_depth", "bottom_gauge"])
def test_north_is_smooth(name: str) -> None:
    """1.4e-3 over depth in the first version; the steps' alignment leaves a few 1e-6."""
    assert roughness(load_profile("north"), name) < {"dome_depth": 1e-5, "bottom_gauge": 3e-6}[name]


@pytest.mark.parametrize("name", ["dome_depth", "stand_diameter", "bottom_gauge"])
def test_an_elastic_bottom_is_smooth(name: str) -> None:
    """Its limit is that of equilibria without a history: nothing rests on where steps fall."""
    north = load_profile("north")
    elastic = north.replaced(material=Material(north.material.elastic_modulus, 0.33))
    assert roughness(elastic, name, 9, 0.004) < 1e-6


@pytest.mark.slow
def test_random_bottoms_are_smooth() -> None:
    """Ten like cans and five inputs; the median is asserted near the goal of 1e-6, the largest at
    what a switch between two and four ramps may do (a path that turns at a corner)."""
    names = ("dome_depth", "stand_diameter", "bottom_gauge", "nose_radius", "yield_strength")
    found = [roughness(p, name) for p in random_profiles(10, 7) for name in names]
    assert np.median(found) < 1e-5
    assert np.max(found) < 1e-3
