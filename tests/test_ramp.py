"""Paths whose every point is known in closed form: limits, second paths, kinks, held pressures.

The bodies have one or two unknowns, the first of which is the swept volume, so that p(V) is a
formula of the test's own.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest

from domemargin.fea.core.path import Aim, Converged, Newton, iterate
from domemargin.fea.core.ramp import Plan, compliance, pressure_control, ramp
from domemargin.fea.core.summit import vertex
from domemargin.fea.errors import SolveError

Floats = np.ndarray


class State(NamedTuple):
    x: Floats
    pressure: float
    volume: float


class Seen(NamedTuple):
    residual: Floats
    volume: float
    gradient: Floats
    band: Floats


class Body:
    """forces(x) (n,) and stiffness(x) (n, n), n = 1 or 2; pressure acts on the first unknown."""

    def __init__(self, forces: Callable[..., Floats], stiffness: Callable[..., Floats]) -> None:
        self.forces, self.stiffness = forces, stiffness

    def evaluate(self, u: Floats, pressure: float, state: State) -> Seen:
        gradient = np.eye(u.size)[0]
        full = np.atleast_2d(self.stiffness(u))
        band = np.zeros((u.size, u.size))
        for i in range(u.size):
            band[i, u.size - 1 - i :] = full[i, : i + 1]
        return Seen(self.forces(u) - pressure * gradient, float(u[0]), gradient, band)

    def converge(
        self, u: Floats, pressure: float, moved: float, state: State, aim: Aim, newton: Newton
    ) -> Converged:
        return iterate(self, u, pressure, moved, state, aim, newton)

    def accept(self, u: Floats, pressure: float, found: Seen, state: State) -> State:
        return State(u.copy(), pressure, found.volume)


def start(n: int = 1) -> State:
    return State(np.zeros(n), 0.0, 0.0)


TIGHT = Newton(tolerance=1e-10, update=1e-6, iterations=30)


def single(f: Callable[[float], float], slope: Callable[[float], float]) -> Body:
    return Body(lambda u: np.array([f(u[0])]), lambda u: np.array([[slope(u[0])]]))


CUBIC = single(lambda v: 3.0 * v - v**3, lambda v: 3.0 - 3.0 * v * v)


@pytest.mark.parametrize("step", [0.05, 0.037, 0.11])
@pytest.mark.parametrize("history", [False, True])
def test_a_limit_is_that_of_the_curve(step: float, history: bool) -> None:
    """p = 3 V - V^3 turns at V = 1, p = 2; the path to it by numerical integration (scipy)."""
    from scipy.integrate import quad

    plan = Plan(step, 1.0, 3.0, 10.0, history=history, newton=TIGHT)
    found = ramp(CUBIC, start(), plan)
    assert (found.ending, found.even) == ("limit", True)
    assert found.limit is not None
    assert found.limit.kind == "limit"
    # the parabola through three points errs by the third power of the step
    assert found.limit.pressure == pytest.approx(2.0, rel=5e-4)
    length = quad(lambda v: math.hypot(1.0, 1.0 - v * v), 0.0, 1.0)[0]
    assert found.limit.place == pytest.approx(length, rel=0.01)
    before, after = (found.states[found.limit.before + i].volume for i in (0, 1))
    assert before <= 1.0 <= after
    for state, one in zip(found.states[1:], found.steps, strict=True):
        assert state.pressure == pytest.approx(3.0 * state.volume - state.volume**3, abs=1e-8)
        rise = 1.0 - state.volume**2
        assert one.slope == pytest.approx(np.array([1.0, rise]) / math.hypot(1.0, rise), abs=1e-6)
        assert one.negative == (state.volume > 1.0)
        assert one.direction.step == pytest.approx(step)


def test_a_ceiling_and_a_bound_on_steps_end_a_ramp() -> None:
    plan = Plan(0.1, 1.0, 3.0, 1.5, newton=TIGHT)
    found = ramp(CUBIC, start(), plan)
    assert (found.ending, found.limit) == ("ceiling", None)
    assert found.states[-2].pressure < 1.5 <= found.states[-1].pressure
    few = ramp(CUBIC, start(), Plan(0.1, 1.0, 3.0, 1.5, most_steps=4, newton=TIGHT))
    assert (few.ending, len(few.states)) == ("step_bound", 5)


def test_a_path_goes_on_beyond_its_limit_while_it_is_asked_to() -> None:
    """p = 3 V - V^3 until it has fallen below half of its top, 1."""
    plan = Plan(0.05, 1.0, 3.0, 10.0, newton=TIGHT)
    found = ramp(CUBIC, start(), plan, lambda so_far: so_far.states[-1].pressure > 1.0)
    assert found.limit is not None
    assert found.limit.pressure == pytest.approx(2.0, rel=5e-4)
    assert found.states[-1].pressure <= 1.0 < found.states[-2].pressure
    at_once = ramp(CUBIC, start(), plan, lambda so_far: False)
    assert at_once.states[-1].pressure > 1.9


def test_a_second_path_is_found_where_it_opens() -> None:
    """(1/2 - V) w = 0 beside p = 3 V - V^3: the tangent turns indefinite at V = 1/2, p = 1.375."""
    fork = Body(
        lambda u: np.array([3.0 * u[0] - u[0] ** 3, (0.5 - u[0]) * u[1]]),
        lambda u: np.array([[3.0 - 3.0 * u[0] ** 2, -u[1]], [-u[1], 0.5 - u[0]]]),
    )
    for step in (0.05, 0.083):
        found = ramp(fork, start(2), Plan(step, 1.0, 3.0, 10.0, newton=TIGHT))
        assert found.limit is not None
        assert found.limit.kind == "bifurcation"
        assert found.limit.pressure == pytest.approx(1.375, rel=1e-3)
        assert found.states[found.limit.before].volume <= 0.5
        assert found.states[found.limit.before + 1].volume > 0.5
    # one that closes again before the pressure has risen by `stray` is passed over
    blink = Body(
        lambda u: np.array([3.0 * u[0] - u[0] ** 3, abs(0.5 - u[0]) * u[1] - 1e-2 * u[1]]),
        lambda u: np.array([[3.0 - 3.0 * u[0] ** 2, 0.0], [0.0, abs(0.5 - u[0]) - 1e-2]]),
    )
    found = ramp(blink, start(2), Plan(0.01, 1.0, 3.0, 10.0, stray=0.2, newton=TIGHT))
    assert found.limit is not None
    assert (found.limit.kind, found.limit.pressure) == ("limit", pytest.approx(2.0, rel=1e-3))


def kinked(width: float) -> Body:
    """Up at one slope, down at the other, turning within `width` of V = 1: 1 - width at the top."""
    return single(
        lambda v: math.hypot(1.0, width) - math.hypot(v - 1.0, width),
        lambda v: -(v - 1.0) / math.hypot(v - 1.0, width),
    )


def test_steps_that_may_lead_to_another_branch_are_shortened() -> None:
    """A turn by 90 degrees is not taken in one step; a gentle one is."""
    sharp = ramp(kinked(1e-3), start(), Plan(0.1, 1.0, 1.0, 9.0, newton=TIGHT))
    assert sharp.limit is not None
    assert not sharp.even
    lengths = [one.direction.step for one in sharp.steps]
    assert min(lengths) < 0.1 / 8.0
    assert sharp.limit.pressure == pytest.approx(math.hypot(1.0, 1e-3) - 1e-3, rel=1e-3)
    gentle = ramp(kinked(0.5), start(), Plan(0.1, 1.0, 1.0, 9.0, newton=TIGHT))
    assert gentle.even
    assert gentle.limit is not None
    assert gentle.limit.pressure == pytest.approx(math.hypot(1.0, 0.5) - 0.5, rel=1e-3)


def test_a_step_that_ends_in_another_direction_is_shortened() -> None:
    """A turn by 60 degrees, from 45 up to 15 down, 0.06 into the step 1.4 to 1.5: the end of the
    step lies 1.2 of its length away, no further than a bend may lead, but it runs elsewhere."""
    down, at, width = math.tan(math.radians(15.0)), 1.46 / math.sqrt(2.0), 1e-4
    a, b = 0.5 * (1.0 - down), 0.5 * (1.0 + down)

    def f(v: float) -> float:
        return at + a * (v - at) - b * math.hypot(v - at, width)

    shift = f(0.0)
    body = single(lambda v: f(v) - shift, lambda v: a - b * (v - at) / math.hypot(v - at, width))
    found = ramp(body, start(), Plan(0.1, 1.0, 1.0, 9.0, newton=TIGHT))
    assert found.limit is not None
    assert not found.even
    x = width * a / math.sqrt(b * b - a * a)
    assert found.limit.pressure == pytest.approx(f(at + x) - shift, rel=1e-3)
    assert min(one.direction.step for one in found.steps) < 0.1


@pytest.mark.parametrize(("depth", "passed"), [(0.005, True), (0.03, False)])
def test_a_dip_that_heals_is_passed_over(depth: float, passed: bool) -> None:
    """p = V + A sin(k V) up to V = 3, then down: the first top and dip by numpy on a fine grid."""
    k = 20.0
    a = 1.0 / k + depth * 0.5

    def f(v: float) -> float:
        return v + a * math.sin(k * v) - 10.0 * max(v - 3.0, 0.0) ** 2

    def slope(v: float) -> float:
        return 1.0 + a * k * math.cos(k * v) - 20.0 * max(v - 3.0, 0.0)

    v = np.linspace(0.0, 3.5, 200_001)
    p = np.array([f(x) for x in v.tolist()])
    fallen = p < 0.99 * np.maximum.accumulate(p)
    assert bool(fallen[v < 3.0].any()) != passed
    end = int(np.argmax(fallen))
    found = ramp(
        single(f, slope), start(), Plan(0.01, 1.0, 1.0, 9.0, most_steps=2000, newton=TIGHT)
    )
    assert found.limit is not None
    assert found.limit.pressure == pytest.approx(p[:end].max(), rel=1e-3)
    assert passed == (found.limit.pressure > 2.5)


def test_pressure_is_held_where_it_is_asked_for() -> None:
    """Roots of the cubic (numpy.roots), up, further and off again."""
    plan = Plan(0.05, 1.0, 3.0, 10.0, newton=TIGHT)
    state = start()
    for pressure, steps in ((0.7, 1), (1.9, 3), (0.0, 2)):
        state = pressure_control(CUBIC, state, pressure, plan, steps)
        roots = np.roots([-1.0, 0.0, 3.0, -pressure])
        low = min(r.real for r in roots if abs(r.imag) < 1e-12 and r.real > -1e-9)
        assert state.pressure == pytest.approx(pressure, abs=1e-9)
        assert state.volume == pytest.approx(low, abs=1e-7)
    with pytest.raises(SolveError):
        pressure_control(CUBIC, start(), 2.2, plan)


def test_compliance_of_a_spring() -> None:
    """dV/dp = 1/3 at the start of p = 3 V - V^3; a body that falls away has none."""
    assert compliance(CUBIC, start()) == pytest.approx(1.0 / 3.0, rel=1e-12)
    with pytest.raises(SolveError, match="not held"):
        compliance(single(lambda v: -v, lambda v: -1.0), start())


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ([-1.0, 0.0, 1.0], [1.7, 2.0, 1.9]),
        ([-0.3, 0.0, 0.8], [1.99, 2.0, 1.2]),
        ([-1.0, 0.0, 0.2], [0.5, 2.0, 1.999]),
    ],
)
def test_top_of_a_parabola(x: list[float], y: list[float]) -> None:
    """numpy.polyfit through three points and the roots of its derivative."""
    fit = np.polyfit(x, y, 2)
    at = float(np.roots(np.polyder(fit))[0])
    place, height = vertex(np.array(x), np.array(y))
    assert place == pytest.approx(at, rel=1e-9)
    assert height == pytest.approx(np.polyval(fit, at), rel=1e-12)


def test_top_of_what_has_none_is_its_middle_and_none_lies_outside() -> None:
    assert vertex(np.array([-1.0, 0.0, 1.0]), np.array([2.0, 2.0, 2.0])) == (0.0, 2.0)
    assert vertex(np.array([-1.0, 0.0, 1.0]), np.array([3.0, 2.0, 3.0])) == (0.0, 2.0)
    # a top far beyond the points is not gone to
    place, height = vertex(np.array([-1.0, 0.0, 1.0]), np.array([1.0, 2.0, 2.9]))
    assert (place, height) == (1.0, pytest.approx(2.9))
    place, height = vertex(np.array([-1.0, 0.0, 1.0]), np.array([2.9, 2.0, 1.0]))
    assert (place, height) == (-1.0, pytest.approx(2.9))
