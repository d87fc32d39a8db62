"""Tangents of the shell against differences, its Newton iteration, and its states.

Source: the residual itself (central differences), for every hardening law and loaded face; order
two of Newton's method (textbook).  The residual's own check is test_shell_oracle.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from shells import CLAMPED, compliance, revolve

from domemargin.fea.core.banded import factor, solve
from domemargin.fea.core.path import Control, Newton, take_step
from domemargin.fea.core.ramp import Plan, pressure_control, ramp
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.profiles.material import Linear, Material, Swift, Table, Voce
from domemargin.profiles.shape.meridian import Meridian, Segment

E, NU, YIELD = 69_000.0, 0.33, 270.0
METALS = {
    "elastic": Material(E, NU),
    "voce": Material(E, NU, YIELD, Voce(40.0, 20.0)),
    "mixed kinematic": Material(E, NU, YIELD, Voce(40.0, 20.0), 0.5),
    "kinematic": Material(E, NU, YIELD, Linear(2000.0), 1.0),
    "swift": Material(E, NU, YIELD, Swift(0.004, 0.06)),
    "table": Material(E, NU, YIELD, Table((0.0, 0.01, 0.05), (270.0, 290.0, 310.0))),
}
PRESSURE = 4.5  # MPa: plastic in the bend; the limits are 5.5 to 6.6


def small_bottom(material: Material, face: str = "inside", end: str = CLAMPED) -> Shell:
    """A dome and a bend of tight radius, six elements."""
    dome = Segment("dome", 0.0, 0.0, 0.0, 8.0, -1.0 / 16.0)
    bend = dome.next("shoulder", 2.0, 0.4)
    ends = np.array([0.0, 4.0, 6.5, 8.0, 8.7, 9.4, 10.0])
    return revolve(Meridian((dome, bend)), material, 0.5, ends, end, layers=6, face=face)


def plan_of(shell: Shell) -> Plan:
    newton = Newton(tolerance=1e-9, update=1e-7)
    return Plan(0.05, compliance(shell) * PRESSURE, PRESSURE, 10.0 * PRESSURE, newton=newton)


def stressed(shell: Shell, pressure: float = PRESSURE) -> ShellState:
    return pressure_control(shell, shell.start(), pressure, plan_of(shell), steps=4)


def dense(band: np.ndarray) -> np.ndarray:
    """The full symmetric matrix of a lower band."""
    n, w = band.shape[0], band.shape[1] - 1
    full = np.zeros((n, n))
    for i in range(n):
        for k in range(max(0, w - i), w + 1):
            full[i, i - w + k] = full[i - w + k, i] = band[i, k]
    return full


def trial(shell: Shell, state: ShellState) -> np.ndarray:
    """A point away from equilibrium where some layers load and some unload."""
    wave = np.cos(np.linspace(0.0, 9.0, shell.n)).reshape(-1, 3) * [0.004, 0.004, 0.006]
    wave.ravel()[shell.fixed] = 0.0
    return (state.x + wave).ravel()


def differences(shell: Shell, u: np.ndarray, state: ShellState, pressure: float, h: float):
    """Central differences of the residual (n, n) and of the volume (n,)."""
    matrix, gradient = np.eye(shell.n), np.zeros(shell.n)
    for i in np.flatnonzero(shell.free):
        ends = []
        for sign in (1.0, -1.0):
            moved = u.copy()
            moved[i] += sign * h
            ends.append(shell.evaluate(moved, pressure, state))
        matrix[:, i] = (ends[0].residual - ends[1].residual) / (2.0 * h)
        gradient[i] = (ends[0].volume - ends[1].volume) / (2.0 * h)
    return matrix, gradient


@pytest.mark.parametrize("face", ["inside", "mid", "outside"])
@pytest.mark.parametrize("metal", METALS)
def test_tangent_and_volume_gradient(metal: str, face: str) -> None:
    shell = small_bottom(METALS[metal], face, end="phi")
    state = stressed(small_bottom(METALS[metal], face))
    u = trial(shell, state)
    found = shell.evaluate(u, PRESSURE, state)
    if metal != "elastic":
        grown = found.trial[0][0] > state.layers[0]
        assert 0.1 < grown.mean() < 0.9  # some load and some do not
    matrix, gradient = differences(shell, u, state, PRESSURE, 1e-7)
    full = dense(found.band)
    scale = np.sqrt(np.outer(np.diag(full), np.diag(full)))
    assert np.max(np.abs(full - matrix) / scale) < 1e-7
    assert found.gradient == pytest.approx(gradient, abs=1e-6 * np.abs(gradient).max())


def test_tangent_keeps_its_symmetry_in_the_differences() -> None:
    """The band stores half; that the other half is the same is a claim about the residual."""
    shell = small_bottom(METALS["mixed kinematic"])
    state = stressed(shell)
    matrix, _ = differences(shell, trial(shell, state), state, PRESSURE, 1e-7)
    assert np.max(np.abs(matrix - matrix.T)) < 1e-6 * np.max(np.abs(matrix))


@pytest.mark.parametrize("metal", METALS)
def test_newton_converges_with_order_two(metal: str) -> None:
    """A twelfth more pressure on a plastic state: each residual is at most a constant
    times the square of the one before, down to rounding."""
    shell = small_bottom(METALS[metal])
    state = stressed(shell)
    pressure, u = PRESSURE * 13.0 / 12.0, state.x.ravel()
    sizes = []
    for _ in range(12):
        found = shell.evaluate(u, pressure, state)
        sizes.append(
            float(np.linalg.norm(found.residual) / (pressure * np.linalg.norm(found.gradient)))
        )
        if sizes[-1] < 1e-10:
            break
        assert factor(found.band) == 0
        u = u + solve(found.band, -found.residual)
    assert len(sizes) <= 7, sizes
    # where the quadratic range has begun (the first guess is not in it) and rounding has not
    begun = int(np.argmax(sizes))
    inside = [i for i in range(begun, len(sizes) - 1) if sizes[i] < 0.1 and sizes[i + 1] > 1e-10]
    assert inside
    orders = [np.log(sizes[i + 1]) / np.log(sizes[i]) for i in inside]
    assert orders[-1] > 1.7, sizes


def test_rejected_step_leaves_the_state_untouched() -> None:
    shell = small_bottom(METALS["mixed kinematic"])
    state = stressed(shell)
    names = ("x", "layers", "stress", "y", "face")
    before = {name: getattr(state, name).tobytes() for name in names}
    plan = plan_of(shell)
    far = Control(0.0, 1.0, plan.volume_scale, plan.pressure_scale, 50.0)
    with pytest.raises(SolveError):
        take_step(shell, state, far, Newton(iterations=4))
    assert {name: getattr(state, name).tobytes() for name in names} == before
    # nor does an evaluation, or a step that is accepted
    shell.evaluate(trial(shell, state), PRESSURE, state)
    near = Control(0.0, 1.0, plan.volume_scale, plan.pressure_scale, 0.05)
    one = take_step(shell, state, near, plan.newton).state
    assert {name: getattr(state, name).tobytes() for name in names} == before
    # and a step taken after a rejected one is the step taken without it
    two = take_step(shell, state, near, plan.newton).state
    assert all(getattr(one, name).tobytes() == getattr(two, name).tobytes() for name in names)


def test_same_input_gives_the_same_bits() -> None:
    def path() -> list[bytes]:
        shell = small_bottom(METALS["voce"])
        plan = Plan(0.1, compliance(shell) * PRESSURE, PRESSURE, 2.0 * PRESSURE, most_steps=30)
        found = ramp(shell, shell.start(), plan)
        return [state.x.tobytes() + state.layers.tobytes() for state in found.states]

    one, two = path(), path()
    assert len(one) > 5
    assert one == two


def test_pressure_let_off_before_yield_leaves_nothing() -> None:
    shell = small_bottom(METALS["voce"])
    plan = plan_of(shell)
    state = pressure_control(shell, shell.start(), 0.1 * PRESSURE, plan)
    assert not state.layers.any()
    travel = np.abs(state.x - shell.reference).max()
    back = pressure_control(shell, state, 0.0, plan)
    # layers follow their thickness strain one step late, so a little is left
    assert np.abs(back.x - shell.reference).max() < 1e-2 * travel
