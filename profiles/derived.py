"""What follows from a profile: lengths, the volume it encloses, the mass of its metal.

Integrals run by Gauss points between the profile's breakpoints, where everything is smooth;
they are converged to about 1e-12 of their value.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import pairwise

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.meridian import PARTS


@dataclass(frozen=True)
class Derived:
    """Dimensions that follow from a profile; lengths in mm on the mid surface.

    dome_edge_diameter, dome_edge_angle : where the dome meets the shoulder; radians, from
        horizontal.
    inner_leg_length, outer_leg_length : of the straight legs.
    heel_height : of the end of the heel above the stand plane.
    developed_length : along the line from the axis to the end of the heel.
    bottom_mass, dome_mass : metal from the axis to the end of the heel, of the dome; g.
    bottom_volume : room inside the can below the end of the heel, the dome's bulge taken off;
        cm3.
    """

    dome_edge_diameter: float
    dome_edge_angle: float
    inner_leg_length: float
    outer_leg_length: float
    heel_height: float
    developed_length: float
    bottom_mass: float
    dome_mass: float
    bottom_volume: float


def derived(profile: Profile) -> Derived:
    """Everything in Derived for a profile."""
    chain = profile.chain
    end = profile.meridian.span("heel")[1]
    return Derived(
        chain.dome_edge_diameter,
        chain.dome_edge_angle,
        chain.inner_leg_length,
        chain.outer_leg_length,
        chain.heel_height,
        end,
        metal_mass(profile),
        part_masses(profile)["dome"],
        enclosed_volume(profile, chain.heel_height) / 1000.0,
    )


def metal_volume(profile: Profile, start: float, stop: float) -> float:
    """Volume of the metal between two arc lengths, cut along the normals, mm3.

    Of a layer at the height x over the mid surface the volume is
    2 pi (r - x sin phi)(1 - x curvature) per arc length and height; over the thickness t that
    adds up to 2 pi (r t + curvature sin phi t^3 / 12).
    """
    inner = profile.breakpoints[(profile.breakpoints > start) & (profile.breakpoints < stop)]
    bounds = np.concatenate(([start], inner, [stop]))
    x, w, _, _ = _gauss()
    half = 0.5 * np.diff(bounds)[:, None]
    s = bounds[:-1, None] + half * (1.0 + x)
    p, t = profile.meridian.at(s), profile.thickness(s)
    density = p.r * t + p.curvature * np.sin(p.phi) * t**3 / 12.0
    return float(2.0 * np.pi * np.sum(w * half * density))


def metal_mass(profile: Profile, height: float | None = None) -> float:
    """Mass of the metal from the axis out and up to a height, g.

    height : over the stand plane, mm, on the outer leg, heel or sidewall; the metal is cut
        there along the normal of the mid surface.  By default the end of the heel.
    Raises InputError for a height that the bottom does not reach there.
    """
    stop = profile.meridian.span("heel")[1]
    if height is not None:
        first, last = profile.meridian.span("outer_leg")[0], profile.meridian.length
        low, high = _mid_height(profile, first), _mid_height(profile, last)
        _check_height(height, low, high)
        stop = _crossing(partial(_mid_height, profile), height, first, last, rising=True)
    return metal_volume(profile, 0.0, stop) * profile.material.density * 1e-3


def part_masses(profile: Profile) -> dict[str, float]:
    """Mass of each part (meridian.PARTS), g."""
    to_grams = profile.material.density * 1e-3
    spans = {part: profile.meridian.span(part) for part in PARTS}
    return {part: metal_volume(profile, *span) * to_grams for part, span in spans.items()}


def enclosed_volume(profile: Profile, datum: float) -> float:
    """Volume inside the can below a height, to the inside surface, mm3.

    datum : over the stand plane, mm; below the bottom's lowest inside point the volume is 0.
    With the dome wholly below the datum this is the fill that a can with this bottom holds up
    to there.  By the divergence theorem it is pi times the integral of r^2 dz along the part of
    the inside line that lies below the datum.
    Raises InputError for a datum above the top of the wall.
    """
    line = profile.meridian
    _check_height(datum, -np.inf, float(line.at(line.length).z))
    # split where the inside line has its lowest point, so that z is monotonic in every piece
    nose = next(segment for segment in line.segments if segment.part == "nose")
    lowest = line.span("nose")[0] - nose.phi / nose.curvature
    bounds = np.union1d(profile.breakpoints, [lowest])
    x, w, slope, ends = _gauss()

    total = 0.0
    before: Floats | None = None
    for a, b in pairwise(bounds):
        half = 0.5 * (b - a)
        inside = _inside(profile, a + half * (1.0 + x))
        first, last = ends @ inside
        if before is not None:  # a sharp edge of a zone is a step of the surface
            total += _frustum_below(before, first, datum)
        before = last
        if min(first[1], last[1]) >= datum:
            continue
        if max(first[1], last[1]) > datum:
            rising = bool(last[1] > first[1])
            cut = _crossing(partial(_inside_height, profile), datum, a, b, rising)
            a, b = (a, cut) if rising else (cut, b)
            half = 0.5 * (b - a)
            inside = _inside(profile, a + half * (1.0 + x))
        total += np.pi * float(np.sum(w * inside[:, 0] ** 2 * (slope @ inside[:, 1])))
    return total


def _crossing(
    f: Callable[[float], float], level: float, low: float, high: float, rising: bool
) -> float:
    """Where a monotonic f passes a level between low and high, by halving.

    Not scipy's: that is slow to import and rejects a level reached only at an end.
    """
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if (f(middle) < level) == rising else (low, middle)
    return 0.5 * (low + high)


def _mid_height(profile: Profile, s: float) -> float:
    return float(profile.meridian.at(s).z)


def _inside_height(profile: Profile, s: float) -> float:
    return float(_inside(profile, np.array([s]))[0, 1])


def _inside(profile: Profile, s: Floats) -> Floats:
    """(n, 2) points r, z of the inside surface at arc lengths s (n,), mm."""
    p, half = profile.meridian.at(s), 0.5 * profile.thickness(s)
    return np.stack((p.r - half * np.sin(p.phi), p.z + half * np.cos(p.phi)), axis=1)


def _frustum_below(a: Floats, b: Floats, datum: float) -> float:
    """pi times the integral of r^2 dz along the straight line a to b, below the datum."""
    (r1, z1), (r2, z2) = a, b
    if z1 == z2:
        return 0.0
    low, high = min(z1, datum), min(z2, datum)
    q1, q2 = (r1 + (r2 - r1) * (z - z1) / (z2 - z1) for z in (low, high))
    return float(np.pi * (q1 * q1 + q1 * q2 + q2 * q2) / 3.0 * (high - low))


def _check_height(height: float, low: float, high: float) -> None:
    if low <= height <= high:
        return
    allowed = f"{low:.6g} to {high:.6g} mm" if np.isfinite(low) else f"at most {high:.6g} mm"
    raise InputError(
        f"height is {height:.6g} mm; it must be {allowed}", "height", f"{height:.6g} mm", allowed
    )


@lru_cache(maxsize=1)
def _gauss() -> tuple[Floats, Floats, Floats, Floats]:
    """Gauss points and weights on -1..1, with the matrices that differentiate a function given
    at the points (n, n) and extend it to both ends (2, n)."""
    x, w = np.polynomial.legendre.leggauss(24)
    values = np.polynomial.legendre.legvander(x, 23)
    to_series = np.linalg.inv(values)
    # a derivative of a series has one term fewer
    derivative = np.polynomial.legendre.legder(np.eye(24), axis=0)
    slope = values[:, :-1] @ derivative @ to_series
    ends = np.polynomial.legendre.legvander(np.array([-1.0, 1.0]), 23) @ to_series
    return x, w, slope, ends
