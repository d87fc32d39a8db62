"""What is read off a path in the same way for every model of a bottom."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Protocol

import numpy as np

from domemargin.fea.core.path import Newton, System
from domemargin.fea.core.ramp import Plan, pressure_control
from domemargin.fea.core.record import Curve, FirstYield, MeshFigures, Onset, Outline, PlasticZone
from domemargin.fea.errors import SolveError
from domemargin.profiles.arrays import Bools, Floats
from domemargin.profiles.shape.meridian import Meridian

FULLY_PLASTIC = 0.75  # share of the gauge at yield
AT_YIELD = 0.999


class View(Protocol):
    """A model of a bottom, and how its states are read (ShellView, SolidView)."""

    @property
    def system(self) -> System:
        """What is solved."""

    @property
    def elastic(self) -> bool:
        """Whether no metal can yield."""

    def start(self) -> Any:
        """The unloaded state."""

    def heights(self, states: Sequence[Any]) -> Floats:
        """(n_states, 2) of the dome centre and of the stand ring, mm."""

    def first_yield(self, states: Sequence[Any], plan: Plan) -> FirstYield | None:
        """Where and at what pressure metal first yields on a path; None if none does."""

    def onset(self, state: Any) -> Onset:
        """Plastic strain, thinning and fully plastic stretches of a state."""

    def outline(self, state: Any) -> Outline:
        """The mid line of a state."""

    def mesh(self, step: float) -> MeshFigures:
        """What is solved, and the step of its path."""

    def wave_tangent(self, before: Any, state: Any, theory: str) -> Any:
        """The tangent for any number of waves at a state one step from `before`."""

    def wave_shape(self, mode: Floats) -> tuple[Floats, Floats, Floats]:
        """Radial, axial and hoop displacement of a mode of that tangent at the outline's nodes."""


def curve(view: View, states: Sequence[Any], pivots: Sequence[int]) -> Curve:
    """Pressure, travel, growth and swept volume of a path; pivots : after each step."""
    heights = view.heights(states)
    travel, growth = (heights[0] - heights).T
    return Curve(
        np.array([state.pressure for state in states]),
        travel,
        growth,
        2.0 * np.pi * np.array([state.volume - states[0].volume for state in states]),
        np.array([0, *pivots], dtype=np.int64),
    )


def lowest(s: Floats, z: Floats) -> Floats:
    """(...) lowest heights of lines z(s) (..., n): between nodes that of a parabola through the
    lowest three.  s : (n,), or (..., n) for each line its own."""
    middle = np.clip(np.argmin(z, axis=-1), 1, z.shape[-1] - 2)
    three = middle[..., None] + np.arange(-1, 2)
    s = np.take_along_axis(np.broadcast_to(s, z.shape), three, axis=-1)
    near = np.take_along_axis(z, three, axis=-1)
    left, right = s[..., 1] - s[..., 0], s[..., 2] - s[..., 1]
    down, up = (near[..., 0] - near[..., 1]) / left, (near[..., 2] - near[..., 1]) / right
    bend = (down + up) / (left + right)
    slope = (up * left - down * right) / (left + right)
    bent = bend > 0.0
    vertex = near[..., 1] - 0.25 * slope * slope / np.where(bent, bend, 1.0)
    return np.where(bent, vertex, near.min(axis=-1))


def part_at(meridian: Meridian, s: float) -> str:
    """Name of the part at an arc length, mm."""
    index = int(np.searchsorted(meridian.breaks, s, side="right")) - 1
    return meridian.segments[min(max(index, 0), len(meridian.segments) - 1)].part


# how far along, as shares of the way to first yield, elastic states are solved; what is left is
# carried on in proportion, with an error of the product of the last two shares left
_TO_YIELD = (0.5, 0.9, 0.99, 0.999)
_HALVINGS = 30
_TIGHT = Newton(tolerance=1e-7, iterations=25)


def carried_to_yield(
    system: System,
    plan: Plan,
    states: Sequence[Any],
    strain: Callable[[Any], Floats],
    ratio: Callable[[Any], Floats],
) -> tuple[float, int] | None:
    """Pressure at which metal first yields, MPa, and number of the place that does.

    states : of a path by plan, from its start.  strain : equivalent plastic strain of a state's
    points.  ratio : equivalent over yield stress wherever metal may first yield.
    Steps of the path may be long, so elastic states ever nearer to first yield are solved.
    None if nothing yields, or if its pressure cannot be found.
    """
    start = strain(states[0])

    def yields(state: Any) -> bool:
        return bool(np.any(strain(state) > start))

    above = next((state.pressure for state in states if yields(state)), None)
    if above is None:
        return None
    plan = replace(plan, newton=_TIGHT)
    before, now = states[0], states[0]
    expected, point = above, 0
    for share in _TO_YIELD:
        reach = share * (expected - now.pressure)
        for _ in range(_HALVINGS):
            try:
                state = pressure_control(system, now, now.pressure + reach, plan)
            except SolveError:
                return None
            if not yields(state):
                break
            reach *= 0.5
        else:
            return None
        before, now = now, state
        at = ratio(now)
        rate = (at - ratio(before)) / (now.pressure - before.pressure)
        with np.errstate(divide="ignore", invalid="ignore"):
            wait = np.where(rate > 0.0, (1.0 - at) / rate, np.inf)
        point = int(np.argmin(wait))
        expected = now.pressure + float(wait.flat[point])
    return expected, point


def carried_to_faces(value: Floats, xi: Floats) -> Floats:
    """(n, 2) values on the outside and the inside face, carried on in a straight line.

    value, xi : (n, 4) at the two points next to the outside and the two next to the inside, and
    their distance from the middle over half the gauge, all from the outside to the inside.
    """
    out, next_out, next_in, inside = value.T
    x_out, x_next_out, x_next_in, x_in = xi.T
    return np.stack(
        (
            out + (out - next_out) * (-1.0 - x_out) / (x_out - x_next_out),
            inside + (inside - next_in) * (1.0 - x_in) / (x_in - x_next_in),
        ),
        axis=1,
    )


def zones(meridian: Meridian, s: Floats, plastic: Bools) -> tuple[PlasticZone, ...]:
    """Stretches of the meridian, part by part, in which the points at arc lengths s are plastic.

    A point stands for the stretch to half way to its neighbours.
    """
    edges = np.concatenate(([0.0], 0.5 * (s[1:] + s[:-1]), [meridian.length]))
    found: list[PlasticZone] = []
    for i in np.flatnonzero(plastic):
        part = part_at(meridian, float(s[i]))
        if found and found[-1].part == part and found[-1].to_mm == edges[i]:
            found[-1] = PlasticZone(part, found[-1].from_mm, float(edges[i + 1]))
        else:
            found.append(PlasticZone(part, float(edges[i]), float(edges[i + 1])))
    return tuple(found)
