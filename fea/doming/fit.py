"""The dimensions of a profile for a formed line: the chain nearest to the line."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.contact.contact import chain_rows
from domemargin.fea.contact.kernel import distances
from domemargin.profiles.errors import InputError
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

FITTED = (
    "stand_diameter",
    "shoulder_radius",
    "inner_leg_angle",
    "nose_radius",
    "outer_leg_angle",
    "heel_radius",
    "body_diameter",
)
ABOVE_HEEL = 2.0  # mm of the wall that are fitted too
MISFIT = 0.02  # mm, root mean square, up to which dimensions describe a line
ZONES = 4  # of the dome, at most
NARROW = 5.0  # mm of diameter that a zone has at least
OPEN = 10.0  # mm, the distance of a chain that does not close
_FLAT = 0.02  # 1/mm; a leg is bent less


class Fit(NamedTuple):
    """A fitted chain.

    shape, sheet : its dimensions, radii on the middle surface.  misfit_mm, largest_mm : root
    mean square and largest distance of the line from it.
    """

    shape: Shape
    sheet: Sheet
    misfit_mm: float
    largest_mm: float

    @property
    def describes(self) -> bool:
        """Whether the dimensions describe the line."""
        return self.misfit_mm <= MISFIT


class _Traced(NamedTuple):
    """The formed middle line: r, z and arc length in mm, z from the stand plane, and tangent
    angle."""

    r: Floats
    z: Floats
    s: Floats
    angle: Floats


def fit_shape(tooling: Tooling, r: Floats, z: Floats, angle: Floats, depth: float) -> Fit | None:
    """The dimensions of a formed middle line (r, z in mm, z from the stand plane; tangent angle).

    depth : as the gauge reads it, mm; not fitted.  The dome gets as many zones, up to 4, as reduce
    the misfit below MISFIT.  None where no chain near the line was found; Fit.describes says
    whether a fit describes the line.
    """
    s = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(r), np.diff(z)))))
    line = _Traced(r, z, s, angle)
    blank = tooling.blank
    sheet = Sheet(blank.gauge, blank.wall_gauge, blank.transition_length, blank.transition_start)
    best: Fit | None = None
    for zones in range(1, ZONES + 1):
        for start in _starts(tooling, line, sheet, depth, zones, best):
            found = _fitted(line, start, sheet)
            if found is not None and (best is None or found.misfit_mm < best.misfit_mm):
                best = found
            if best is not None and best.misfit_mm < 2.0 * MISFIT:
                break
        if best is not None and best.describes:
            break
    return best


def _starts(
    tooling: Tooling, line: _Traced, sheet: Sheet, depth: float, zones: int, best: Fit | None
) -> list[Shape]:
    """Closed chains to start from: as measured on the line, and with the dome of the last fit."""
    tries: list[Shape | None] = []
    if best is not None and len(best.shape.dome_radii) == zones - 1:
        radii, breaks = best.shape.dome_radii, best.shape.dome_break_diameter
        edge = 0.92 * _dome_edge(best)
        inner = breaks[-1] if breaks else 0.0
        new = inner + 0.6 * (edge - inner)
        more = {
            "dome_radius": (*radii, 0.97 * radii[-1]),
            "dome_break_diameter": (*breaks, new),
        }
        tries.append(_changed(best.shape, more))
    try:
        read = _read_off(tooling, line, depth, zones)
    except InputError:
        return [shape for shape in tries if shape is not None]
    for factor in (1.0, 1.05, 0.95, 1.15, 0.85):
        for turn in (0.0, 0.05, -0.05):
            radii = tuple(factor * radius for radius in read.dome_radii)
            leg = read.inner_leg_angle + turn
            tries.append(_changed(read, {"dome_radius": radii, "inner_leg_angle": leg}))
    closed = [s for s in tries if s is not None and _chain(s, sheet) is not None]
    return closed[:3]


def _changed(shape: Shape, changes: dict[str, Any]) -> Shape | None:
    """The shape with some dimensions changed; None where one is out of range."""
    try:
        return replace(shape, **changes)
    except InputError:
        return None


def _dome_edge(fit: Fit) -> float:
    chain = solve(fit.shape, fit.sheet)
    assert isinstance(chain, Chain)  # a fit closes
    return chain.dome_edge_diameter


def _read_off(tooling: Tooling, line: _Traced, depth: float, zones: int) -> Shape:
    """Dimensions estimated from the line's angle and curvature."""
    blank, punch = tooling.blank, tooling.punch
    curvature = np.gradient(line.angle, line.s)
    ring = int(np.argmin(line.z))
    if ring < 8:
        raise InputError("the line has no dome", "line")
    radius = line.r[ring]
    turn = int(np.argmin(curvature[:ring]))  # the shoulder turns most
    shoulder = curvature[max(turn - 3, 0) : turn + 4]
    inner = (line.s > line.s[turn]) & (line.s < line.s[ring])
    nose = np.abs(line.s - line.s[ring]) < 0.5
    straight = (line.s > line.s[ring]) & (np.abs(curvature) < _FLAT) & (line.angle < 1.4)
    heel = (line.s > line.s[ring] + 3.0) & (curvature > 3.0 * _FLAT) & (line.angle < 1.3)
    leg = np.median(line.angle[straight]) if np.any(straight) else 0.5 * math.pi - punch.leg_angle
    # curvature is noisy on legs: their angle is where half of the turn is done
    steep = np.quantile(line.angle[inner], 0.2) if np.any(inner) else -1.5
    edge = line.r[turn] - 0.5
    breaks = np.sqrt(np.linspace(0.0, 1.0, zones + 1)[1:-1]) * edge
    bounds = [0.0, *breaks.tolist(), edge]
    radii = []
    for low, high in pairwise(bounds):
        part = (line.r >= low) & (line.r <= high) & (line.s < line.s[turn])
        bend = -float(np.median(curvature[part])) if np.any(part) else 0.02
        radii.append(min(max(1.0 / max(bend, 1e-3), 6.0), 450.0))
    bent = float(np.median(curvature[nose])) if np.any(nose) else 0.7
    return Shape(
        radii_on="mid",
        stand_diameter=2.0 * float(radius),
        dome_depth=depth,
        dome_radius=tuple(radii),
        shoulder_radius=min(max(-1.0 / float(np.min(shoulder)), 0.15), 15.0),
        inner_leg_angle=min(max(0.5 * math.pi + float(steep), -0.4), 1.0),
        nose_radius=min(max(1.0 / max(bent, 0.06), 0.15), 15.0),
        outer_leg_angle=min(max(0.5 * math.pi - float(leg), 0.2), 1.5),
        heel_radius=(
            min(max(1.0 / float(np.median(curvature[heel])), 0.5), 35.0)
            if np.any(heel)
            else punch.heel_radius + 0.5 * blank.gauge
        ),
        body_diameter=punch.body_diameter + blank.wall_gauge,
        wall_height=blank.wall_height,
        dome_break_diameter=tuple((2.0 * breaks).tolist()),
    )


def _chain(shape: Shape, sheet: Sheet) -> Chain | None:
    try:
        chain = solve(shape, sheet)
    except InputError:
        return None
    return chain if isinstance(chain, Chain) else None


def _fitted(line: _Traced, start: Shape, sheet: Sheet) -> Fit | None:
    """The chain nearest to the line by least squares of distances, from a start."""
    from scipy.optimize import least_squares

    zones = len(start.dome_radii)
    origin = np.array(
        [float(getattr(start, name)) for name in FITTED]
        + list(start.dome_radii)
        + list(start.dome_break_diameter)
    )
    names = (*FITTED, *["dome_radius"] * zones, *["dome_break"] * (zones - 1))
    scale = np.where([name.endswith("angle") for name in names], 0.1, np.abs(origin))
    length = np.gradient(line.s)
    ring = line.s[np.argmin(line.z)]

    def shape_of(x: Floats) -> Shape | None:
        values = (origin + scale * x).tolist()
        plain: dict[str, Any] = dict(zip(FITTED, values, strict=False))
        dome = values[len(FITTED) :]
        if np.any(np.diff([0.0, *dome[zones:], plain["stand_diameter"]]) < NARROW):
            return None
        plain["dome_radius"] = tuple(dome[:zones])
        plain["dome_break_diameter"] = tuple(dome[zones:])
        return _changed(start, plain)

    def off(chain: Chain) -> tuple[Floats, Floats]:
        away = distances(chain_rows(chain.segments, 1), line.r, line.z)
        # a deep dome stands higher than the heel
        near = (line.z < chain.heel_height + ABOVE_HEEL) | (line.s < ring)
        return np.where(near, np.clip(away, -3.0, 3.0), 0.0), near

    def misfit(x: Floats) -> Floats:
        shape = shape_of(x)
        chain = None if shape is None else _chain(shape, sheet)
        if chain is None:
            return np.full(line.r.size, OPEN)
        return off(chain)[0] * np.sqrt(length)

    found = least_squares(misfit, np.zeros(origin.size), x_scale=0.02, max_nfev=60, ftol=1e-4)
    shape = shape_of(found.x)
    chain = None if shape is None else _chain(shape, sheet)
    if shape is None or chain is None:
        return None
    away, near = off(chain)
    rms = math.sqrt(float(np.sum(away[near] ** 2 * length[near]) / np.sum(length[near])))
    return Fit(shape, sheet, rms, float(np.max(np.abs(away))))
