"""The reversal pressure of a bottom by the axisymmetric solid: the judge of the shell."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.solid import Solid, SolidBottom, SolidState, bottom_solid
from fea.solid_path import Stepping, follow

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SolidReversal:
    """What a ramp of the solid found.

    ending : "limit" (the pressure peaked), "ceiling" (it did not below the ceiling) or "steps".
    pressure : MPa, at the axisymmetric limit, or the last one reached.
    path_pressure, volume, centre_travel, ring_lowering : (k,) along the path, from the unloaded
        state; MPa, mm^3 swept, and mm of the dome centre and of the stand ring, positive down
        (both on the outside surface).  at_limit : index of the limit in them.
    first_yield : MPa, first path pressure with new plastic strain; nan if none.
    peak_strain : largest equivalent plastic strain at the limit, prior strain included.
    peak_at : (r, z) of that point before loading, mm.
    elements, unknowns, iterations (tangents factored), seconds : cost.
    """

    ending: str
    pressure: float
    path_pressure: Floats
    volume: Floats
    centre_travel: Floats
    ring_lowering: Floats
    at_limit: int
    first_yield: float
    peak_strain: float
    peak_at: tuple[float, float]
    elements: int
    unknowns: int
    iterations: int
    seconds: float


def solid_reversal(
    profile: SolidBottom,
    through: int = 4,
    along: float = 1.0,
    stepping: Stepping | None = None,
) -> SolidReversal:
    """Ramp the pressure on a bottom until its first axisymmetric limit.

    through : elements through the gauge.  along : factor on the elements along the meridian.
    stepping : a step length of 1 sweeps the stand circle times the gauge.

    With the defaults the pressure is within 0.1 % of finer meshes and steps on ordinary bottoms
    (measured on seven, nose radius 4.5 to 8 times the gauge; tests/test_solid_bottoms.py).

    Raises SolveError, UnsupportedMaterialError, and what profiles.section.section_mesh raises.
    """
    began = time.perf_counter()
    model = bottom_solid(profile, through, along)
    outside = model.lines["outside"]
    ring = model.reference[outside[np.argmin(model.reference[outside, 1])]]
    gauge = float(profile.thickness(np.zeros(1))[0])
    found = follow(model, model.start(), 0.5 * ring[0] ** 2 * gauge, stepping)

    states = found.states
    strain = found.limit.points[..., 4]
    peak = np.unravel_index(np.argmax(strain), strain.shape)
    yielded = [s.pressure for s in states if np.any(s.points[..., 4] > model.prior)]
    place = model.shapes[peak[1]] @ model.reference[model.nodes[peak[0]]]
    return SolidReversal(
        ending=found.ending,
        pressure=found.limit.pressure,
        path_pressure=np.array([s.pressure for s in states]),
        volume=2.0 * np.pi * np.array([s.volume - states[0].volume for s in states]),
        centre_travel=np.array([-s.x[outside[0], 1] for s in states]),
        ring_lowering=_ring(model, states[0]) - np.array([_ring(model, s) for s in states]),
        at_limit=found.top,
        first_yield=yielded[0] if yielded else float("nan"),
        peak_strain=float(strain[peak]),
        peak_at=(float(place[0]), float(place[1])),
        elements=len(model.nodes),
        unknowns=int(np.count_nonzero(model.free)),
        iterations=found.iterations,
        seconds=time.perf_counter() - began,
    )


def _ring(model: Solid, state: SolidState) -> float:
    """Height of the lowest point of the outside surface, mm: a parabola through three nodes."""
    outside = model.lines["outside"]
    z = model.reference[outside, 1] + state.x[outside, 1]
    low = int(np.clip(np.argmin(z), 1, len(z) - 2))
    r = model.reference[outside, 0] + state.x[outside, 0]
    a, b, c = np.polyfit(r[low - 1 : low + 2] - r[low], z[low - 1 : low + 2], 2)
    return float(c - 0.25 * b * b / a) if a > 0.0 else float(z[low])
