"""Which point of a path is its limit: springs of which the path is known in closed form.

Source: a spring of force f(u) under pressure p on unit area has p = f(u) and V = u; tops and dips
of f are known (closed form, computed with numpy where they are roots of a polynomial).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pytest
from evidence_rows import COMPUTED, SNAP, About

from domemargin.fea.core.limit import EXACT, RIPPLE, find_limit
from domemargin.fea.core.path import Aim, Converged, Newton, iterate
from domemargin.fea.core.ramp import Plan, ramp

ABOUT = About(SNAP, "springs whose path is known in closed form", COMPUTED)


class Trial(NamedTuple):
    residual: np.ndarray
    volume: float
    gradient: np.ndarray
    band: np.ndarray


@dataclass(frozen=True)
class State:
    x: np.ndarray
    pressure: float
    volume: float


@dataclass(frozen=True)
class Springs:
    """Potential energy e(u) of one or two unknowns, of which the first is the volume."""

    force: Any  # u -> (n,)
    tangent: Any  # u -> (n, n)
    n: int = 1

    def start(self) -> State:
        return State(np.zeros(self.n), 0.0, 0.0)

    def evaluate(self, u: np.ndarray, pressure: float, state: State) -> Trial:
        gradient = np.zeros(self.n)
        gradient[0] = 1.0
        full = self.tangent(u)
        band = np.zeros((self.n, self.n))
        for i in range(self.n):
            for j in range(i + 1):
                band[i, self.n - 1 - i + j] = full[i, j]
        return Trial(self.force(u) - pressure * gradient, float(u[0]), gradient, band)

    def converge(
        self, u: np.ndarray, pressure: float, moved: float, state: State, aim: Aim, newton: Newton
    ) -> Converged:
        return iterate(self, u, pressure, moved, state, aim, newton)

    def accept(self, u: np.ndarray, pressure: float, found: Trial, state: State) -> State:
        return State(u, pressure, found.volume)


def spring(polynomial: np.polynomial.Polynomial) -> Springs:
    slope = polynomial.deriv()
    return Springs(lambda u: np.array([polynomial(u[0])]), lambda u: np.array([[slope(u[0])]]))


def through(points: list[tuple[float, float]]) -> np.polynomial.Polynomial:
    """A polynomial with level places at the given (u, p), from 0 with slope 1."""
    rows, values = [[0.0, 1.0] + [0.0] * (2 * len(points))], [1.0]
    degree = np.arange(2 * len(points) + 2)
    for u, p in points:
        rows += [u**degree, degree * np.where(degree > 0, u ** np.maximum(degree - 1, 0), 0.0)]
        values += [p, 0.0]
    rows += [[1.0] + [0.0] * (degree.size - 1)]
    values += [0.0]
    return np.polynomial.Polynomial(np.linalg.solve(np.array(rows, float), np.array(values)))


PLAN = Plan(0.05, 1.0, 1.0, 4.0, located=EXACT, newton=Newton(tolerance=1e-9))


def test_the_first_top_stands(evidence) -> None:
    """A dip of more than RIPPLE ends the path."""
    curve = through([(1.0, 0.6), (2.0, 0.4), (3.0, 0.7), (4.0, 0.2)])
    system = spring(curve)
    found = find_limit(system, system.start(), PLAN, 0.002, elastic=True)
    assert found.path.limit is not None
    evidence("top before a deep dip", expected=0.6, computed=found.path.limit.pressure, rel=1e-6)


@pytest.mark.parametrize(
    ("first", "second", "expected"), [(0.600, 0.590, 0.600), (0.600, 0.640, 0.640)]
)
def test_what_was_held_is_not_forgotten(
    evidence, first: float, second: float, expected: float
) -> None:
    """A dip that heals is passed over, but the pressure held before it stands unless exceeded."""
    assert (1.0 - RIPPLE) * first < 0.575
    curve = through([(1.0, first), (2.0, 0.575), (3.0, second), (4.0, 0.2)])
    system = spring(curve)
    plan = Plan(0.05, 1.0, 1.0, 4.0, located=EXACT, ripple=RIPPLE, newton=PLAN.newton)
    limit = ramp(system, system.start(), plan).limit
    assert limit is not None
    assert limit.kind == "limit"
    evidence(
        f"tops of {first:g} and {second:g} with a shallow dip between",
        expected=expected, computed=limit.pressure, rel=1e-6,
    )  # fmt: skip


def test_a_branch_that_opens_while_the_pressure_rises(evidence) -> None:
    """Two unknowns: u rises without end, w is held by a spring of stiffness 0.5 - u."""
    system = Springs(
        lambda u: np.array([u[0] - 0.5 * u[1] ** 2, (0.5 - u[0]) * u[1]]),
        lambda u: np.array([[1.0, -u[1]], [-u[1], 0.5 - u[0]]]),
        2,
    )
    limit = find_limit(system, system.start(), PLAN, 0.002, elastic=True).path.limit
    assert limit is not None
    assert limit.kind == "bifurcation"
    evidence("second path", expected=0.5, computed=limit.pressure, rel=1e-6)


def test_a_hairpin_is_passed(evidence) -> None:
    """A shallow dome's snap behind a stiff link: V and p turn back together.

    p = k (u - w), and the dome holds g(w) = w (1 - w) (2 - w): on the path u = w + g/k, so with k
    large V turns back where p does; the top of g is at w = 1 - 1/sqrt 3.
    """
    stiff = 400.0

    def holds(w: float) -> float:
        return w * (1.0 - w) * (2.0 - w)

    system = Springs(
        lambda u: np.array([stiff * (u[0] - u[1]), holds(u[1]) - stiff * (u[0] - u[1])]),
        lambda u: np.array([[stiff, -stiff], [-stiff, stiff + 3.0 * u[1] ** 2 - 6.0 * u[1] + 2.0]]),
        2,
    )
    limit = find_limit(system, system.start(), PLAN, 0.002, elastic=True).path.limit
    assert limit is not None
    top = 2.0 / (3.0 * np.sqrt(3.0))
    evidence("top behind a stiff link", expected=top, computed=limit.pressure, rel=1e-6)


def test_ceiling_and_step_bound() -> None:
    system = spring(np.polynomial.Polynomial([0.0, 1.0]))
    path = find_limit(system, system.start(), PLAN, 0.002, elastic=True).path
    assert (path.ending, path.limit) == ("ceiling", None)
    short = Plan(1e-3, 1.0, 1.0, 4.0, most_steps=50)
    assert ramp(system, system.start(), short).ending == "step_bound"


def test_a_path_that_ends_has_a_reason() -> None:
    """Force that cannot be had beyond u = 0.5: no endless halving."""
    system = Springs(
        lambda u: np.array([u[0] if u[0] < 0.5 else np.nan]), lambda u: np.array([[1.0]])
    )
    path = ramp(system, system.start(), PLAN)
    assert path.ending == "no_convergence"
    assert "no equilibrium found beyond 0.5 MPa" in path.reason
