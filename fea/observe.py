"""What is read off the states of a shell: travel, growth, first yield, plastic zones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fea.materials import EP, P1, P2, yield_ratio
from fea.record import Curve, FirstYield, Onset, Outline, Place, PlasticZone
from fea.shell import Shell, ShellState
from profiles.meridian import Meridian

Floats = NDArray[np.float64]

FULLY_PLASTIC = 0.75  # share of the gauge at yield
AT_YIELD = 0.999


def outline(state: ShellState) -> Outline:
    """The meridian of a state."""
    r, z, angle = state.x.T
    return Outline(state.pressure, r.copy(), z.copy(), angle.copy())


def lowest(shell: Shell, state: ShellState) -> float:
    """Height of the lowest circle of the outside surface, mm: the stand ring.

    Between nodes it is the lowest point of a parabola through the lowest three.
    """
    half = np.interp(shell.s, shell.point_s, 0.5 * shell.gauge)
    z = state.x[:, 1] - half * np.cos(state.x[:, 2])
    i = int(np.clip(np.argmin(z), 1, z.size - 2))
    left, right = shell.s[i] - shell.s[i - 1], shell.s[i + 1] - shell.s[i]
    down, up = (z[i - 1] - z[i]) / left, (z[i + 1] - z[i]) / right
    bend = (down + up) / (left + right)
    slope = (up * left - down * right) / (left + right)
    return float(z[i] - 0.25 * slope * slope / bend) if bend > 0.0 else float(z.min())


def curve(shell: Shell, states: Sequence[ShellState], pivots: Sequence[int]) -> Curve:
    """Pressure, travel, growth and swept volume of a path."""
    start = states[0]
    ring = lowest(shell, start)
    return Curve(
        np.array([state.pressure for state in states]),
        np.array([start.x[0, 1] - state.x[0, 1] for state in states]),
        np.array([ring - lowest(shell, state) for state in states]),
        2.0 * np.pi * np.array([state.volume - start.volume for state in states]),
        np.array([0, *pivots], dtype=np.int64),
    )


def part_at(meridian: Meridian, s: float) -> str:
    """Name of the part at an arc length, mm."""
    index = int(np.searchsorted(meridian.breaks, s, side="right")) - 1
    return meridian.segments[min(max(index, 0), len(meridian.segments) - 1)].part


def _place(shell: Shell, meridian: Meridian, layer: int) -> Place:
    point = int(np.searchsorted(shell.first_layer, layer, side="right")) - 1
    s = float(shell.point_s[point])
    at = meridian.at(s)
    face = "inside" if shell.y0[layer] > 0.0 else "outside"
    return Place(part_at(meridian, s), s, float(at.r), float(at.z), face)


def _ratios(shell: Shell, state: ShellState) -> Floats:
    return yield_ratio(shell.material, shell.layer_factor, state.layers, state.stress)


def first_yield(
    shell: Shell, meridian: Meridian, states: Sequence[ShellState]
) -> FirstYield | None:
    """The pressure at which a layer first reaches its yield stress.

    Between the last elastic state and the next, the stress of the layer that yields first is
    carried on in proportion to pressure.  None if nothing yields.
    """
    start = states[0].layers[:, EP]
    later = next((i for i, st in enumerate(states) if np.any(st.layers[:, EP] > start)), None)
    if later is None:
        return None
    elastic, plastic = states[later - 1], states[later]
    layer = int(np.argmax(plastic.layers[:, EP] - start))
    if later == 1:
        # yields within the first step: in proportion from nothing, by the elastic strain
        return FirstYield(plastic.pressure, _place(shell, meridian, layer))
    ratio = _ratios(shell, elastic)
    rate = (ratio - _ratios(shell, states[later - 2])) / (
        elastic.pressure - states[later - 2].pressure
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        wait = np.where(rate > 0.0, (1.0 - ratio) / rate, np.inf)
    layer = int(np.argmin(wait))
    pressure = min(elastic.pressure + float(wait[layer]), plastic.pressure)
    return FirstYield(pressure, _place(shell, meridian, layer))


def onset(shell: Shell, meridian: Meridian, state: ShellState) -> Onset:
    """Plastic strain, thinning and fully plastic stretches of a state."""
    at_yield = _ratios(shell, state) >= AT_YIELD
    layers_of = np.add.reduceat
    first = shell.first_layer[:-1]
    share = layers_of(shell.layer_weight * at_yield, first) / layers_of(shell.layer_weight, first)
    plastic = share >= FULLY_PLASTIC
    zones: list[PlasticZone] = []
    n_points = shell.shapes.shape[0]
    # a point stands for its half of the element
    edges = np.concatenate(([shell.s[0]], 0.5 * (shell.point_s[1:] + shell.point_s[:-1])))
    edges = np.append(edges, shell.s[-1])
    assert n_points == 2
    for i in np.flatnonzero(plastic):
        part = part_at(meridian, float(shell.point_s[i]))
        if zones and zones[-1].part == part and zones[-1].to_mm == edges[i]:
            zones[-1] = PlasticZone(part, zones[-1].from_mm, float(edges[i + 1]))
        else:
            zones.append(PlasticZone(part, float(edges[i]), float(edges[i + 1])))
    peak = int(np.argmax(state.layers[:, EP]))
    # plastic flow keeps the volume; the gauge is the mean over layers
    thickness_strain = -(state.layers[:, P1] + state.layers[:, P2])
    weight = shell.layer_weight
    mean = layers_of(weight * thickness_strain, first) / layers_of(weight, first)
    return Onset(
        state.pressure,
        float(state.layers[peak, EP]),
        _place(shell, meridian, peak),
        float(max(0.0, 1.0 - np.exp(mean.min()))),
        tuple(zones),
    )
