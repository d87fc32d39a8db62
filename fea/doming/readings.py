"""Readings of a formed bottom: line, thinning, strains, pressures, balances."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.contact.kernel import PRESSURE
from domemargin.fea.metal.materials import ELASTIC, EP, LAW, yield_curve
from domemargin.fea.stroke.press import DIE
from domemargin.fea.stroke.stages import HELD, Formed, wall_reaction
from domemargin.fea.stroke.step import FormingState

Floats = NDArray[np.float64]

GAUGE_LENGTH = 1.0  # mm over which thinning and strain are averaged
_SQRT3 = math.sqrt(3.0)


class Line(NamedTuple):
    """A state along the metal at the nodes: arc length in the blank, middle surface r, z, tangent
    angle and thickness, lengths in mm."""

    s: Floats
    r: Floats
    z: Floats
    angle: Floats
    thickness: Floats


def line(formed: Formed, state: FormingState) -> Line:
    """The middle of the metal; z as in the punch's frame."""
    shell = formed.press.shell
    inside = np.interp(shell.s, shell.point_s, state.inside)
    outside = np.interp(shell.s, shell.point_s, state.outside)
    r, z, angle = state.shell.x.T
    off = 0.5 * (inside - outside)
    return Line(
        shell.s,
        np.maximum(r - off * np.sin(angle), 0.0),
        z + off * np.cos(angle),
        angle,
        inside + outside,
    )


def averaged(formed: Formed, values: Floats, length: float = GAUGE_LENGTH) -> Floats:
    """(n_points,) running means over a length of the blank, mm; shorter at its ends."""
    shell = formed.press.shell
    w = shell.weights.ravel()
    edges = np.concatenate(([0.0], np.cumsum(w)))
    total = np.concatenate(([0.0], np.cumsum(w * values)))
    low = np.clip(shell.point_s - 0.5 * length, 0.0, edges[-1])
    high = np.clip(shell.point_s + 0.5 * length, 0.0, edges[-1])
    return (np.interp(high, edges, total) - np.interp(low, edges, total)) / (high - low)


def thinning(formed: Formed, state: FormingState) -> Floats:
    """(n_points,) loss of gauge as a share of the blank's, a mean over 1 mm; negative: thicker."""
    gauge = formed.press.shell.gauge
    return 1.0 - averaged(formed, (state.inside + state.outside) / gauge)


def membrane_strains(formed: Formed, state: FormingState) -> tuple[Floats, Floats]:
    """(n_points,) logarithmic strains of the middle fibre, meridian and hoop, means over 1 mm."""
    shell = formed.press.shell
    nodes = state.shell.x[2 * np.arange(shell.weights.shape[0])[:, None] + np.arange(3)]
    first = shell.reference[2 * np.arange(shell.weights.shape[0])[:, None] + np.arange(3)]

    def along(x: Floats) -> tuple[Floats, Floats]:
        phi = np.einsum("qi,ei->eq", shell.shapes, x[:, :, 2])
        rp, zp = (np.einsum("eqi,ei->eq", shell.slopes, x[:, :, k]) for k in (0, 1))
        r = np.einsum("qi,ei->eq", shell.shapes, x[:, :, 0])
        return (rp * np.cos(phi) + zp * np.sin(phi)).ravel(), r.ravel()

    (a, r), (a0, r0) = along(nodes), along(first)
    return averaged(formed, np.log(a / a0)), averaged(formed, np.log(r / r0))


def neck_thinning(material: Floats) -> float:
    """Thinning at which sheet of this hardening necks locally (Hill 1952, J. Mech. Phys. Solids
    1:19-30, formula from memory): where d sigma / d eps = (sqrt 3 / 2) sigma along plane strain.

    Its thickness strain is sqrt 3 / 2 of the equivalent strain there; the blank's own strain
    counts from 0.
    """
    if material[LAW] == ELASTIC:
        return 1.0

    def spare(strain: float) -> float:
        stress, slope = yield_curve(material, strain)
        return float(slope - 0.5 * _SQRT3 * stress)

    low, high = 0.0, 2.0
    if spare(low) <= 0.0:
        return 0.0
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if spare(middle) > 0.0 else (low, middle)
    return 1.0 - math.exp(-0.5 * _SQRT3 * low)


def centre_pressure(formed: Formed, state: FormingState, radius: float) -> float:
    """Mean contact pressure of the die on the metal within a radius of the blank (mm), MPa."""
    shell, rule = formed.press.shell, formed.press.rule
    near = rule.of(shell.point_s) < radius
    area = rule.area.ravel()[near]
    # pressures are kept per undeformed area
    a, h = (rule.of(strain) for strain in membrane_strains(formed, state))
    true = state.history[DIE, near, PRESSURE] * np.exp(-a[near] - h[near])
    return float(np.sum(true * area) / np.sum(area))


def centre_strain(formed: Formed, state: FormingState, radius: float) -> float:
    """Mean equivalent plastic strain within a radius of the blank (mm)."""
    shell = formed.press.shell
    point = np.repeat(np.arange(shell.gauge.size), np.diff(shell.first_layer))
    near = shell.point_s[point] < radius
    weight = shell.layer_weight[near] * shell.weights.ravel()[point[near]]
    return float(np.average(state.shell.layers[EP][near], weights=weight))


def balance(formed: Formed, stage: str) -> float:
    """Sum of all axial forces on the metal at the end of a stage, over the largest (at least 1 N).

    Tools, the pull of the wall on the punch, and the reaction at the wall's top while it is held.
    """
    state = formed.at(stage)
    pull = 2.0 * math.pi * float(np.sum(state.dead[1::3]))
    held = wall_reaction(formed, state) if stage in HELD else 0.0
    forces = [float(force) for force in state.forces] + [pull, held]
    return sum(forces) / max(1.0, *map(abs, forces))
