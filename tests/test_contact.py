"""Contact of the shell with rigid tools: distances, patch, shrink fit, friction, tangent."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, FORMING, About
from shells import disc, revolve, tube

from domemargin.fea.contact.contact import Penalty, Tool, chain_rows
from domemargin.fea.contact.kernel import PRESSURE, distance
from domemargin.fea.doming.advance import Goal, Pace, advance
from domemargin.fea.doming.step import FormingState, Press, resting, step
from domemargin.fea.shell.shell import Shell
from domemargin.profiles.material import Linear, Material
from domemargin.profiles.shape.meridian import Segment

ABOUT = About(FORMING, "Coulomb; statics", COMPUTED)
STEEL_HARD = Material(70e3, 0.3)
TWO_PI = 2.0 * math.pi


def flat(z: float, free_side: int) -> np.ndarray:
    """A flat tool at a height, the metal above (+1) or below (-1) it."""
    return chain_rows([Segment("tool", 0.0, z, 0.0, 100.0, 0.0)], free_side)


def mandrel(radius: float, length: float) -> np.ndarray:
    """A cylinder inside the metal, from z = -10."""
    return chain_rows([Segment("tool", radius, -10.0, 0.5 * math.pi, length, 0.0)], -1)


def pressures(state: FormingState, tool: int) -> np.ndarray:
    return state.history[tool, :, PRESSURE]


def test_distance_from_a_chain_of_line_and_arc() -> None:
    # a quarter of a circle of radius 2 about (0, 0) going down into a vertical line at r = 2
    chain = [
        Segment("arc", 0.0, 2.0, 0.0, math.pi, -0.5),
        Segment("line", 2.0, 0.0, -0.5 * math.pi, 5.0, 0.0),
    ]
    rows = chain_rows(chain, 1)
    # elementary geometry
    far, nr, nz, bend, row = distance(rows, 3.0, 3.0)
    assert far == pytest.approx(math.sqrt(18.0) - 2.0)
    assert (nr, nz) == pytest.approx((math.sqrt(0.5), math.sqrt(0.5)))
    assert bend == pytest.approx(1.0 / math.sqrt(18.0))
    assert row == 0
    assert distance(rows, 2.3, -1.0) == pytest.approx((0.3, 1.0, 0.0, 0.0, 1))
    assert distance(rows, 1.9, -1.0)[0] == pytest.approx(-0.1)
    # the other side of the same chain is a hollow
    assert distance(chain_rows(chain, -1), 0.3, 0.4)[0] == pytest.approx(1.5)


def test_patch_flat_sheet_pinched_between_flat_tools_carries_an_even_pressure(evidence) -> None:
    """Patch test: an even pressure, force over area, on elements of uneven length."""
    ends = np.array([0.0, 1.0, 1.7, 3.1, 3.5, 6.0, 8.0, 10.0])
    gauge, force = 0.3, 5000.0
    shell = revolve(disc(10.0), STEEL_HARD, gauge, ends, end="", start="r phi")
    tools = (
        Tool("lower", flat(-0.5 * gauge, 1), "outside", 0.0),
        Tool("upper", flat(0.5 * gauge, -1), "inside", 0.0),
    )
    press = Press(shell, tools, Penalty(), force_scale=1000.0, held=1)
    state = resting(press, shell.start(), (1e-3, -1e-3))
    state = advance(press, state, Goal(state.places, -force), Pace(0.1, 0.5), -1.0)
    even = force / (math.pi * 10.0**2)
    for tool, side in ((0, "below"), (1, "above")):
        for what, value in (("lowest", pressures(state, tool).min()),
                            ("highest", pressures(state, tool).max())):  # fmt: skip
            evidence(
                f"patch test, tool {side}: {what} pressure over force / area",
                computed=float(value) / even, expected=1.0, rel=1e-5,
            )  # fmt: skip
    assert state.forces == pytest.approx([force, -force], rel=1e-5)


def shrunk(friction: float, interference: float = 0.01) -> tuple[Press, FormingState]:
    """A tube of radius 20 on a mandrel that is too large for it."""
    radius, gauge = 20.0, 0.2
    shell = revolve(tube(radius, 12.0), STEEL_HARD, gauge, 12, end="", start="z phi")
    tool = Tool("mandrel", mandrel(radius - 0.5 * gauge, 60.0), "inside", friction)
    press = Press(shell, (tool,), Penalty(), force_scale=1e4)
    state = resting(press, shell.start(), (0.0,))
    wider = mandrel(radius - 0.5 * gauge + interference, 60.0)
    press = replace(press, tools=(replace(tool, rows=wider),))
    return press, step(press, state, state.places)


def test_shrink_fit_gives_the_pressure_of_a_thin_ring() -> None:
    """p = E t d / R^2 for a thin ring widened by d (closed solution; free ends, no friction)."""
    _, state = shrunk(0.0)
    fit = 70e3 * 0.2 * 0.01 / 20.0**2
    depth = (state.shell.x[:, 0] - 20.0).mean()
    # the contact gives by its penalty; what is left of the interference widens the ring
    assert pressures(state, 0) == pytest.approx(fit * depth / 0.01, rel=0.008)
    assert depth == pytest.approx(0.01, rel=0.1)
    # within the length in which bending dies out, sqrt(R t) = 2 mm, the free end tells
    assert np.ptp(pressures(state, 0)[:14]) < 1e-4 * fit


@pytest.mark.parametrize("mu", [0.05, 0.1, 0.3])
def test_friction_slides_at_mu_times_the_normal_force(evidence, mu: float) -> None:
    """Coulomb: the drag of a mandrel drawn through a shrunk tube is mu N while it slides."""
    press, state = shrunk(mu)
    drag = []
    for i in range(30):
        # the first steps are so short that the metal sticks
        state = step(press, state, state.places + (1e-5 if i < 3 else 0.002))
        normal = TWO_PI * float(np.sum(press.area.ravel() * pressures(state, 0)))
        drag.append(float(state.forces[0]) / normal)
    assert drag[0] < 0.8 * mu  # sticks first
    # the limit is that of the step's start, so it lags by a step
    evidence(
        f"mandrel drawn through a shrunk tube, mu = {mu:g}: drag over normal force",
        computed=drag[-1],
        expected=mu,
        rel=1e-3,
    )
    assert max(drag) <= 1.001 * mu


def test_work_against_friction_is_force_times_slip() -> None:
    press, state = shrunk(0.1)
    for _ in range(10):
        state = step(press, state, state.places + 0.002)
    before = state
    for _ in range(10):
        state = step(press, state, state.places + 0.002)
    rubbed = state.ledger.rubbed - before.ledger.rubbed
    assert rubbed == pytest.approx(abs(state.forces[0]) * 0.02, rel=0.01)


def curved_case() -> tuple[Press, FormingState]:
    metal = Material(70e3, 0.3, 250.0, Linear(500.0))
    shell: Shell = revolve(disc(10.0), metal, 0.3, 14)
    ball = chain_rows([Segment("ball", 0.0, -0.15, 0.0, 4.0, -0.25)], 1)
    press = Press(shell, (Tool("ball", ball, "outside", 0.1),), Penalty(), 1000.0)
    state = resting(press, shell.start(), (0.0,))
    state = advance(press, state, Goal(np.array([0.6])), Pace(0.02, 0.05))
    return press, state


def test_tangent_with_contact_and_friction_agrees_with_differences() -> None:
    press, state = curved_case()
    rng = np.random.default_rng(5)
    u = state.shell.x.ravel() + 1e-4 * rng.standard_normal(press.shell.n) * press.shell.free
    places, none = state.places + 0.002, np.zeros(press.shell.n)
    way = rng.standard_normal(press.shell.n) * press.shell.free
    small = 1e-8

    def residual(at: np.ndarray) -> np.ndarray:
        return press.evaluate(at, places, state, none, 0.0).found.residual.copy()

    band = press.evaluate(u, places, state, none, 0.0).found.band
    dense = np.zeros((press.shell.n, press.shell.n))
    width = band.shape[1] - 1
    for i in range(press.shell.n):
        for k in range(width + 1):
            if (j := i - width + k) >= 0:
                dense[i, j] = dense[j, i] = band[i, k]
    slope = (residual(u + small * way) - residual(u - small * way)) / (2.0 * small)
    change = (dense @ way) * press.shell.free
    assert np.linalg.norm(slope - change) < 1e-4 * np.linalg.norm(slope)


def test_steps_leave_their_start_untouched() -> None:
    press, state = curved_case()
    copies = state.shell.x.copy(), state.history.copy(), state.shell.layers.copy()
    step(press, state, state.places + 0.02)
    assert np.array_equal(copies[0], state.shell.x)
    assert np.array_equal(copies[1], state.history)
    assert np.array_equal(copies[2], state.shell.layers)


def test_energy_of_a_pressed_ball_is_accounted_for() -> None:
    """First law: work = stored + spent + friction + contact springs, within 1 %."""
    _, state = curved_case()
    assert abs(state.ledger.gap) < 0.01
    assert state.ledger.work > 0.0
