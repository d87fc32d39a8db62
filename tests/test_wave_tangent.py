"""The shell's tangent for circumferential waves: against energy, rigid motion and axisymmetry.

Nothing here is taken from a table: the energy in wave_energy.py is computed independently from
exact kinematics, rigid motions cost nothing, and no waves at all are the axisymmetric shell.

Measured: second difference of the energy against the tangent within 3e-10 (faces inside, mid,
outside; n = 1 to 20); rigid motions 2e-14 of the sum of the absolute terms of a row, elastic and
plastic; n = 0 against the axisymmetric tangent 1e-15.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from shells import revolve
from wave_energy import Bent

from domemargin.fea.bottom.reversal import Discretisation, plan_of, shell_of
from domemargin.fea.core.path import Control, Newton, take_step
from domemargin.fea.core.ramp import Plan, pressure_control, ramp
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.waves.kernel import WAVE_WIDTH, wave_band
from domemargin.fea.waves.moments import FLOW, SUMS, moments
from domemargin.fea.waves.waves import THEORIES, WaveTangent, held, wave_tangent
from domemargin.profiles import load_profile
from domemargin.profiles.arrays import Floats
from domemargin.profiles.material import Material
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.grading import element_ends

DATA = Path(__file__).parent / "data"
# equilibrium to rounding
TIGHT = Newton(tolerance=1e-10, update=1e-7, iterations=25)
UWB = [0, 1, 2]


def dense(band: Floats) -> Floats:
    """Full symmetric matrix of a lower band."""
    size, width = band.shape[0], band.shape[1] - 1
    out = np.zeros((size, size))
    for k in range(width + 1):
        i = np.arange(width - k, size)
        out[i, i - width + k] = band[i, k]
    return out + np.tril(out, -1).T


def raw(tangent: WaveTangent, n: int) -> Floats:
    """Full tangent for n waves with nothing held."""
    return dense(sum(part * float(n) ** i for i, part in enumerate(tangent.coefficients)))


class Reached(NamedTuple):
    """A state, and the one it was reached from."""

    shell: Shell
    before: ShellState
    state: ShellState


def bottom() -> Profile:
    return load_profile(DATA / "open_case_g.toml")


@cache
def elastic(face: str = "inside") -> Reached:
    """A can bottom of one gauge, elastic, at about half the pressure of its snap."""
    meridian = bottom().meridian
    shell = revolve(meridian, Material(69e3, 0.33), 0.27, element_ends(meridian, 0.5), face=face)
    plan = Plan(1.0, 1.0, 1.0, 2.0, newton=TIGHT)
    before = pressure_control(shell, shell.start(), 0.85, plan)
    state = take_step(shell, before, Control(0.0, 1.0, 1.0, 1.0, 0.05), plan.newton).state
    return Reached(shell, before, state)


@cache
def plastic() -> Reached:
    """The bottom as it is, metal yielding in nose and inner leg."""
    profile = bottom()
    shell = shell_of(profile, Discretisation(0.5, 6))
    plan = replace(plan_of(profile, shell, 0.1, 2.0), newton=TIGHT)
    before = pressure_control(shell, shell.start(), 0.59, plan, steps=10)
    control = Control(0.0, 1.0, plan.volume_scale, plan.pressure_scale, 0.01 / plan.pressure_scale)
    # one step, as the tangent takes it
    state = take_step(shell, before, control, plan.newton).state
    assert np.count_nonzero(state.layers[0] > before.layers[0]) > 20
    assert state.layers[0].max() > 0.03
    return Reached(shell, before, state)


STATES = {"elastic": elastic, "plastic": plastic}


@pytest.mark.parametrize("n", [1, 2, 3, 7, 20])
@pytest.mark.parametrize("face", ["inside", "mid", "outside"])
def test_second_difference_of_the_energy(face: str, n: int) -> None:
    """Smooth random amplitudes, zero at both ends; f(-e) = f(e), a turn by half a wave."""
    shell, before, state = elastic(face)
    rng = np.random.default_rng(n)
    along = shell.s / shell.s[-1]
    q = np.zeros((shell.s.size, 5))
    for k in range(1, 7):
        q += rng.normal(size=5) / k * np.sin(k * np.pi * along)[:, None]
    q *= [1.0, 1.0, 0.3, 1.0, 0.3]
    expected = np.pi * q.ravel() @ raw(wave_tangent(shell, before, state), n) @ q.ravel()

    def second_difference(at: ShellState) -> float:
        small = 5e-4
        f0, f1, f2 = (Bent(shell, before, at, k * small * q, n).energy() for k in (0.0, 1.0, 2.0))
        return (-2.0 * f2 + 32.0 * f1 - 30.0 * f0) / (12.0 * small**2)

    assert second_difference(state) == pytest.approx(expected, rel=1e-8)
    # and the check would see the follower pressure missing
    assert second_difference(replace(state, pressure=0.0)) != pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("name", STATES)
def test_no_waves_is_the_axisymmetric_tangent(name: str) -> None:
    shell, before, state = STATES[name]()
    free = replace(shell, free=np.ones_like(shell.free))
    expected = dense(free.evaluate(state.x.ravel(), state.pressure, before).band)
    pick = (5 * np.arange(shell.s.size)[:, None] + UWB).ravel()
    found = raw(wave_tangent(shell, before, state), 0)[np.ix_(pick, pick)]
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.max(np.abs(found - expected) / scale) < 1e-12
    # what is held at the ends is held here too
    kept = held(shell, 0)
    assert set(kept % 5) >= {3, 4}
    assert [5 * (i // 3) + i % 3 for i in shell.fixed] == [i for i in kept if i % 5 < 3]


def test_no_waves_has_the_axisymmetric_pivots_all_along_a_path() -> None:
    """Past the limit and on, where the pressure falls."""
    profile = bottom()
    shell = shell_of(profile, Discretisation(1.0, 8))
    plan = plan_of(profile, shell, 0.1, 2.0)

    def go_on(path: object) -> bool:
        return path.states[-1].pressure > 0.8 * path.limit.pressure  # type: ignore[attr-defined]

    path = ramp(shell, shell.start(), plan, go_on)
    expected = [step.negative for step in path.steps]
    pairs = zip(path.states, path.states[1:])
    found = [wave_tangent(shell, before, state).negative(0) for before, state in pairs]
    assert found == expected
    assert set(expected) == {0, 1}


@pytest.mark.parametrize("theory", THEORIES)
@pytest.mark.parametrize("name", STATES)
@pytest.mark.parametrize("motion", ["translation", "rotation"])
def test_rigid_motion_costs_nothing(motion: str, name: str, theory: str) -> None:
    """Each row of K(1) v over the sum of its absolute terms.  A clamped end has reactions, which
    turn with a rotation; so has the axis, where r is held."""
    shell, before, state = STATES[name]()
    v = np.zeros((shell.s.size, 5))
    if motion == "translation":
        v[:, 0], v[:, 3] = 1.0, -1.0
    else:
        v[:, 0], v[:, 3] = state.x[:, 1], -state.x[:, 1]
        v[:, 1], v[:, 2] = -state.x[:, 0], -1.0
    K = raw(wave_tangent(shell, before, state, theory), 1)
    forces = np.abs(K @ v.ravel()).reshape(-1, 5)
    size = (np.abs(K) @ np.abs(v.ravel())).reshape(-1, 5)
    forces, size = forces[:-1], size[:-1]
    if motion == "rotation":
        forces[0, 1] = 0.0
    assert np.max(forces / size) < 1e-11


@pytest.mark.parametrize("name", STATES)
@pytest.mark.parametrize("n", [0, 1, 7, 20])
def test_polynomial_in_n(name: str, n: int) -> None:
    """The band from five sampled n against the kernel at n itself."""
    shell, before, state = STATES[name]()
    geometry, sums = np.empty((shell.gauge.size, 6)), np.empty((shell.gauge.size, SUMS))
    moments(state.x, shell.body[:], before.history[:], FLOW, geometry, sums)
    band = np.empty((5 * shell.s.size, WAVE_WIDTH + 1))
    body = shell.body[:]
    wave_band(float(n), state.pressure, body, state.x, before.face, geometry, sums, band)
    tangent = wave_tangent(shell, before, state)
    direct = dense(band)
    scale = np.sqrt(np.outer(np.diag(direct), np.diag(direct)))
    assert np.max(np.abs(raw(tangent, n) - direct) / scale) < 1e-9
    kept = held(shell, n)
    free = np.setdiff1d(np.arange(band.shape[0]), kept)
    closed = dense(tangent.band(n))
    assert closed[np.ix_(free, free)] == pytest.approx(raw(tangent, n)[np.ix_(free, free)])
    assert np.all(closed[kept] == np.eye(band.shape[0])[kept])


def test_theories_agree_where_nothing_yields() -> None:
    shell, before, state = elastic()
    flow, deformation = (wave_tangent(shell, before, state, name) for name in THEORIES)
    assert np.array_equal(flow.coefficients, deformation.coefficients)


def test_deformation_theory_is_softer() -> None:
    """Secant moduli never exceed those of flow theory, whatever the direction of strain."""
    shell, before, state = plastic()
    flow, deformation = (wave_tangent(shell, before, state, name) for name in THEORIES)
    for n in (0, 1, 5):
        difference = raw(flow, n) - raw(deformation, n)
        values = np.linalg.eigvalsh(difference)
        assert values[0] > -1e-12 * values[-1]
        assert values[-1] > 1e6
