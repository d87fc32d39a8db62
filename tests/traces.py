"""Synthetic traces of known bottoms: points of a face with noise, turned and moved at will."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from domemargin.profiles import Profile
from domemargin.profiles.arrays import Floats


def traced(
    profile: Profile,
    rng: np.random.Generator,
    count: int = 1200,
    face: str = "outside",
    noise: float = 0.005,
    both: bool = True,
    above: float = 4.0,
    stop: float | None = None,
) -> tuple[Floats, Floats]:
    """Points x, z (n,) in mm, unevenly spaced: of both halves, to `above` over the heel (or to the
    arc length `stop`), with normal noise along the normal."""
    end = profile.meridian.span("heel")[1] + above if stop is None else stop
    s = np.sort(end * rng.uniform(0.0, 1.0, count) ** 0.9)
    at = profile.meridian.at(s)
    lift = {"outside": -0.5, "mid": 0.0, "inside": 0.5}[face] * profile.thickness(s)
    off = lift + profile.offset(s)[0] + rng.normal(0.0, noise, count)
    r, z = at.r - off * np.sin(at.phi), at.z + off * np.cos(at.phi)
    if both:
        r = r * rng.choice([-1.0, 1.0], count)
        order = np.argsort(r, kind="stable")
        r, z = r[order], z[order]
    return r, z


def moved(x: Floats, z: Floats, tilt: float, dx: float, dz: float) -> tuple[Floats, Floats]:
    """Points turned by `tilt` (radians, anticlockwise), then moved."""
    cos, sin = math.cos(tilt), math.sin(tilt)
    return cos * x - sin * z + dx, sin * x + cos * z + dz


def written(path: Path, x: Floats, z: Floats, header: str = "r (mm),z (mm)") -> Path:
    """A CSV file of points, lengths as they are."""
    rows = [header, *(f"{a:.6f},{b:.6f}" for a, b in zip(x, z))]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path
