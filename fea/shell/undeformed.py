"""The undeformed shell: its nodes, its geometry at the points, its layers through the gauge."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from domemargin.fea.metal.lanes import BLOCK
from domemargin.fea.shell.tables import layer_rule
from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.shape.meridian import Meridian

Along = Callable[[Floats], Floats]
Offset = Callable[[Floats], tuple[Floats, Floats]]


def node_places(element_ends: Floats) -> Floats:
    """(n_nodes,) arc lengths of the ends and the middles of the elements, mm."""
    s = np.empty(2 * len(element_ends) - 1)
    s[::2], s[1::2] = element_ends, 0.5 * (element_ends[1:] + element_ends[:-1])
    return s


def nodes_on(meridian: Meridian, s: Floats, offset: Offset | None) -> Floats:
    """(n_nodes, 3) r, z and phi of the unloaded shape, with its error, at arc lengths s."""
    at = meridian.at(s)
    reference = np.stack((at.r, at.z, at.phi), axis=1)
    if offset is not None:
        away, slope = offset(s)
        reference[:, 0] -= away * np.sin(at.phi)
        reference[:, 1] += away * np.cos(at.phi)
        # the derivative along s is (1 - away * curvature) along the tangent, slope along the normal
        reference[:, 2] += np.arctan2(slope, 1.0 - away * at.curvature)
    return reference


class Geometry(NamedTuple):
    """The undeformed meridian at its points, (n_points,) each: r0, sin phi0, phi0', a0 and g0."""

    radius: Floats
    sine: Floats
    curvature: Floats
    stretch: Floats
    shear: Floats


def geometry_of(reference: Floats, shapes: Floats, slopes: Floats) -> Geometry:
    """Of nodes (n_nodes, 3) by the tables of a rule."""
    nodes = reference[2 * np.arange(len(slopes))[:, None] + np.arange(3)]
    r0, phi0 = (np.einsum("qi,ei->eq", shapes, nodes[:, :, k]) for k in (0, 2))
    rp, zp, k0 = (np.einsum("eqi,ei->eq", slopes, nodes[:, :, k]) for k in (0, 1, 2))
    s0, c0 = np.sin(phi0), np.cos(phi0)
    a0, g0 = rp * c0 + zp * s0, -rp * s0 + zp * c0
    return Geometry(
        np.ascontiguousarray(r0.ravel()), s0.ravel(), k0.ravel(), a0.ravel(), g0.ravel()
    )


class Stack(NamedTuple):
    """The layers of every point, and the rules they come from (one for each number of layers).

    point, xi, weight : (n_layers,) point of each layer, its place on (-1, 1) and its weight.
    per_point, rule : (n_points,) layers of each point, and which rule.
    inner, reach : of the rules, see tables.LayerRule, filled up with zeros to the longest.
    """

    point: Ints
    xi: Floats
    weight: Floats
    per_point: Ints
    rule: Ints
    inner: Floats
    reach: Floats


def stacked(per_element: Ints, points: int) -> Stack:
    """The layers of elements with some points each."""
    if np.max(per_element) > BLOCK:
        raise ValueError(f"layers is {np.max(per_element)}; it must be at most {BLOCK}")
    per_point = np.repeat(per_element, points)
    kinds = sorted(set(per_element.tolist()))
    rules = {count: layer_rule(count) for count in kinds}
    most = max(kinds)
    inner, reach = np.zeros((len(kinds), most, most)), np.zeros((len(kinds), 2, most))
    for i, count in enumerate(kinds):
        inner[i, :count, :count], reach[i, :, :count] = rules[count].inner, rules[count].reach
    return Stack(
        np.repeat(np.arange(per_point.size), per_point),
        np.concatenate([rules[count].points for count in per_point.tolist()]),
        np.concatenate([rules[count].weights for count in per_point.tolist()]),
        per_point,
        np.searchsorted(kinds, per_point),
        inner,
        reach,
    )


class Slices(NamedTuple):
    """The layers of an undeformed shell; shapes and units as in given.Body."""

    y0: Floats
    per_length: Floats
    weight: Floats


def slices_of(geometry: Geometry, through: Stack, gauge: Floats) -> Slices:
    """Places, lengths and areas of the layers of points with some gauge (n_points,), mm."""
    point, half = through.point, 0.5 * gauge
    y0 = half[point] * through.xi
    lengths = np.stack(
        (
            geometry.stretch[point] - y0 * geometry.curvature[point],
            geometry.radius[point] - y0 * geometry.sine[point],
        )
    )
    weight = half[point] * through.weight * lengths[0] * lengths[1]
    return Slices(y0, 1.0 / lengths, weight)


def in_layers(given: Along | None, default: float, point_s: Floats, through: Stack) -> Floats:
    """(n_layers,) values of a function of arc length, `default` where there is none."""
    values = np.full(point_s.size, default) if given is None else given(point_s)
    return np.ascontiguousarray(values[through.point])
