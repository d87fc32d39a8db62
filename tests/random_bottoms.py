"""Random bottoms for property tests, in the ranges usual for a 66 mm can.

Ranges: common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.profiles import Material, Profile, Shape, Sheet, Voce
from domemargin.profiles.shape.chain import Chain, solve

RANGES = {  # mm, degrees, MPa
    "stand_diameter": (45.0, 50.0),
    "dome_depth": (9.0, 11.5),
    "dome_radius": (40.0, 55.0),
    "shoulder_radius": (1.2, 2.5),
    "inner_leg_angle": (-5.0, 12.0),
    "nose_radius": (1.1, 2.0),
    "outer_leg_angle": (50.0, 65.0),
    "heel_radius": (4.0, 7.0),
    "bottom_gauge": (0.24, 0.30),
    "yield_strength": (250.0, 295.0),
}


def random_profiles(count: int, seed: int) -> list[Profile]:
    """Valid profiles, the same for the same seed; draws that do not close are passed over."""
    rng = np.random.default_rng(seed)
    found: list[Profile] = []
    while len(found) < count:
        drawn = {name: float(rng.uniform(*ends)) for name, ends in RANGES.items()}
        profile = bottom(**drawn)
        if profile is not None:
            found.append(profile)
    return found


def bottom(
    bottom_gauge: float,
    yield_strength: float,
    radii_on: str = "mid",
    inner_leg_angle: float = 4.0,
    outer_leg_angle: float = 60.0,
    **lengths: float,
) -> Profile | None:
    """A profile from mm, degrees and MPa; None if its chain does not close."""
    shape = Shape(
        radii_on=radii_on,
        inner_leg_angle=math.radians(inner_leg_angle),
        outer_leg_angle=math.radians(outer_leg_angle),
        body_diameter=66.0,
        wall_height=30.0,
        **lengths,
    )
    sheet = Sheet(bottom_gauge, 0.105, 8.0)
    if not isinstance(solve(shape, sheet), Chain):
        return None
    metal = Material(69000.0, 0.33, yield_strength, Voce(40.0, 20.0))
    return Profile("random bottom", shape, sheet, metal)
