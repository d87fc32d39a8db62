"""Pressure lost by a small out-of-roundness: an imperfect path to second order in amplitude.

The bottom is out of round by a stress-free wave, w0 cos n theta.  Along the axisymmetric path the
wave answers linearly: its layer strains L(u) w grow from L(u0) w0, add the step's moduli times
their change to the layers' wave stress s, and with the geometric part G of the tangent

    L^T s + G w = 0    at every state.

The wave's share of the potential at fixed enclosed volume changes the pressure by

    dp(V) = 1/2 d/dV [ s . L w + w . G w / 2 ],    w, s and p kept while V moves,

the first term of Koiter's expansion (Budiansky, Adv. Appl. Mech. 14, 1974, 1-65, sec. III, for
the energy argument; value from memory) carried along an elastic-plastic path with its incremental
moduli.  It grows with the square of the amplitude, and without bound towards the onset of that
wave; the highest pressure of the corrected path is the estimate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from domemargin.fea.core.banded import factor, solve
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.waves.imperfect_kernel import ENTRIES, layer_moduli, wave_forces, wave_strains
from domemargin.fea.waves.kernel import WAVE_WIDTH
from domemargin.fea.waves.moments import FLOW, GEOMETRY
from domemargin.fea.waves.waves import bands, held
from domemargin.profiles.arrays import Floats


def quadratic(band: Floats, w: Floats) -> float:
    """w . A w of a symmetric lower band."""
    width = band.shape[1] - 1
    total = float(w * w @ band[:, width])
    for k in range(width):
        shift = width - k
        total += 2.0 * float(w[shift:] * w[:-shift] @ band[shift:, k])
    return total


def layer_strains(shell: Shell, n: int, x: Floats, y: Floats, wave: Floats) -> Floats:
    """(n_layers, 5) strains of an n-wave about positions x and layer distances y; wave_strains."""
    out = np.empty((shell.y0.size, ENTRIES))
    wave_strains(float(n), x, wave, shell.body[:], y, out)
    return out


def _forces(shell: Shell, n: int, x: Floats, y: Floats, stress: Floats) -> Floats:
    out = np.empty((len(shell.s), 5))
    wave_forces(float(n), x, stress, shell.body[:], y, out)
    return out.ravel()


def layer_stresses(moduli: Floats, e: Floats) -> Floats:
    """(n_layers, 5) stresses, MPa, of strains e (n_layers, 5) by moduli (n_layers, 7)."""
    d11, d12, d22, d13, d23, d33, shear = moduli.T
    return np.stack(
        (
            d11 * e[:, 0] + d12 * e[:, 1] + d13 * e[:, 3],
            d12 * e[:, 0] + d22 * e[:, 1] + d23 * e[:, 3],
            4.0 * shear * e[:, 2],
            d13 * e[:, 0] + d23 * e[:, 1] + d33 * e[:, 3],
            shear * e[:, 4],
        ),
        axis=1,
    )


@dataclass(frozen=True)
class WaveGrowth:
    """The response of a path to a unit wave.

    waves : (k, n_nodes, 5) the whole wave (given and grown) at each state.
    pressure_change : (k - 1,) change of pressure between states, MPa per mm^2 of amplitude.
    """

    waves: Floats
    pressure_change: Floats


def grow(shell: Shell, states: Sequence[ShellState], n: int, given: Floats) -> WaveGrowth:
    """Carry a wave of unit amplitude along a path.

    states : accepted, each one step from the one before, the first unloaded and stress-free.
    given : (n_nodes, 5) U, W, B, V, T of the stress-free wave; its held unknowns are set to 0.
    Raises SolveError where the tangent for n waves is singular or not positive definite.
    """
    fixed = held(shell, n)
    given = given.copy().ravel()
    given[fixed] = 0.0
    wave = given.reshape(-1, 5)
    strain = layer_strains(shell, n, states[0].x, states[0].y, wave)
    stress = np.zeros_like(strain)
    waves, changes = [wave], []
    for before, state in pairwise(states):
        moduli = np.empty((shell.y0.size, 7))
        layer_moduli(state.x, shell.body[:], before.history[:], moduli)
        band = bands(shell, before, state, (n,), state.pressure, FLOW)[0]
        right = _forces(shell, n, state.x, before.y, layer_stresses(moduli, strain) - stress)
        right[fixed] = 0.0
        for i in fixed:
            band[i] = 0.0
            below = np.arange(i + 1, min(i + WAVE_WIDTH, band.shape[0] - 1) + 1)
            band[below, i - below + WAVE_WIDTH] = 0.0
            band[i, WAVE_WIDTH] = 1.0
        if factor(band) != 0:
            raise SolveError(f"the bottom is unstable in {n} waves at {state.pressure:.4g} MPa")
        new = solve(band, right).reshape(-1, 5)
        new_strain = layer_strains(shell, n, state.x, before.y, new)
        new_stress = stress + layer_stresses(moduli, new_strain - strain)
        changes.append(_change(shell, before, state, n, (wave, new), (stress, new_stress)))
        wave, strain, stress = new, new_strain, new_stress
        waves.append(wave)
    return WaveGrowth(np.array(waves), np.array(changes))


def _change(
    shell: Shell,
    before: ShellState,
    state: ShellState,
    n: int,
    waves: tuple[Floats, Floats],
    stresses: tuple[Floats, Floats],
) -> float:
    """dp between two states for the mean wave and its mean stress; theory above."""
    mean, stress = 0.5 * (waves[0] + waves[1]), 0.5 * (stresses[0] + stresses[1])
    pressure = 0.5 * (before.pressure + state.pressure)
    energy = []
    for at in (before, state):
        # both with the distances and the history of the step, so that only the path moves
        probe = bands(shell, before, at, (n,), pressure, GEOMETRY)[0]
        work = float(_forces(shell, n, at.x, before.y, stress) @ mean.ravel())
        energy.append(work + 0.5 * quadratic(probe, mean.ravel()))
    return 0.5 * (energy[1] - energy[0]) / (state.volume - before.volume)
