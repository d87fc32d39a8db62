"""Follow an equilibrium path of a system under pressure.

Pressure p and enclosed volume V are conjugate, so a step is controlled by an arc length in the
(V, p) plane: with K the tangent, a path point has dV/dp = grad V . K^-1 grad V, hence (dV, dp)
does not vanish where p or V turns back.  Swept-volume control and pressure control are the two
ends of one equation (Riks 1979 and Crisfield 1981 for the arc length, Batoz & Dhatt 1979 for the
two right-hand sides).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.core.banded import bordered, bordered_again, norm, solve_with
from domemargin.fea.core.banded import solve as solve_again
from domemargin.fea.errors import SolveError
from domemargin.profiles.arrays import Floats


class Found(Protocol):
    """What a system returns at a trial; see shell.Evaluation."""

    residual: Floats
    volume: float
    gradient: Floats
    band: Floats


class System(Protocol):
    """A discretised body under pressure (shell or solid)."""

    def evaluate(self, u: Floats, pressure: float, state: Any) -> Any:
        """Evaluation at unknowns u, coming from state."""

    def converge(
        self, u: Floats, pressure: float, moved: float, state: Any, aim: Aim, newton: Newton
    ) -> Converged:
        """What `iterate` does."""

    def accept(self, u: Floats, pressure: float, found: Any, state: Any) -> Any:
        """The state after a converged step."""


class Control(NamedTuple):
    """cv (V - V_start) / volume_scale + cp (p - p_start) / pressure_scale = step."""

    cv: float
    cp: float
    volume_scale: float
    pressure_scale: float
    step: float


@dataclass(frozen=True)
class Newton:
    """Limits of the iteration.

    tolerance : residual over the norm of the pressure forces at pressure_scale.
    update : largest change of an unknown (mm or radians) in the last iteration.
    cap : largest change of an unknown in one iteration; larger ones are scaled down.
    iterations : bound on them.
    """

    tolerance: float = 1e-5
    update: float = 1e-2
    cap: float = 0.2
    iterations: int = 15


class Aim(NamedTuple):
    """Where a step is to end: per_volume (V - volume) + per_pressure (p - pressure) = step.

    pressure_scale : MPa, of the forces that residuals are compared to.
    """

    per_volume: float
    per_pressure: float
    volume: float
    pressure: float
    step: float
    pressure_scale: float


class Converged(NamedTuple):
    """An equilibrium.

    found : evaluation there (its band is factored).  shape : (n,) du/dp, growth : dV/dp along the
    path, negative : pivots, of the tangent there.  iterations : tangents factored.
    """

    u: Floats
    pressure: float
    found: Any
    shape: Floats
    growth: float
    negative: int
    iterations: int


# how an iteration ends, in numbers for compiled ones: these, or CONVERGED
CONVERGED = -1
ENDINGS = (
    "the residual is not a number",
    "no equilibrium in {} iterations",
    "the tangent is singular",
    "the update is not a number",
)
NOT_A_NUMBER, NO_EQUILIBRIUM, SINGULAR, UPDATE_NOT_A_NUMBER = range(4)

CUTS = 4  # how often an update that does not bring equilibrium nearer is halved
NEAR = 1e-4  # `distance` from where on updates are made in full

_EMPTY: Floats = np.zeros(0)


class Direction(NamedTuple):
    """Of the path at an accepted state, from the tangent that led there.

    A tangent at zero increment no longer knows what loads and what unloads, so this makes the
    next step's predictor.  shape : (n,) du/dp.  growth : dV/dp.
    bend, bend_pressure : how far the step that led here ended beyond its own first-order
    predictor, du (n,) and dp, empty if it had none; a path bends alike in the next step, by the
    square of the ratio of their lengths.  step : length of that step.
    """

    shape: Floats
    growth: float
    bend: Floats = _EMPTY
    bend_pressure: float = 0.0
    step: float = 0.0


class Step(NamedTuple):
    """A converged step.

    state : accepted.  negative : negative pivots of its tangent.  iterations : tangents factored.
    direction : of the path.  slope : (dV, dp) along the path, over their scales, unit length.
    """

    state: Any
    negative: int
    iterations: int
    direction: Direction
    slope: tuple[float, float]


def direction(band: Floats, gradient: Floats) -> tuple[Direction, int]:
    """Direction of the path and negative pivots from a tangent, factored in place.

    Raises SolveError if the tangent is singular.
    """
    negative, shape = solve_with(band, gradient)
    if negative < 0:
        raise SolveError(ENDINGS[SINGULAR])
    return Direction(shape, float(gradient @ shape)), negative


@kernel
def distance(force: float, size: float, gap: float, step: float) -> float:
    """How far from the end of a step: residual over pressure forces and gap over the step, in
    the root of squares.  Newton's updates are to lower it."""
    left = gap / step if step != 0.0 else gap
    return math.sqrt((force / size) ** 2 + left * left)


def iterate(
    system: System,
    u: Floats,
    pressure: float,
    moved: float,
    state: Any,
    aim: Aim,
    newton: Newton,
) -> Converged:
    """Newton's iteration from a trial (u, pressure) to the aim, coming from `state`.

    moved : largest change of an unknown that the trial made.
    Raises SolveError if it does not end in equilibrium.
    """
    iterations = cuts = 0
    share, dp, last = 1.0, 0.0, math.inf
    before, change, tangent, full = u, np.zeros_like(u), _EMPTY, 0.0
    while True:
        found = system.evaluate(u, pressure, state)
        force = norm(found.residual)
        size = max(abs(pressure), aim.pressure_scale) * norm(found.gradient)
        gap = aim.step - aim.per_volume * (found.volume - aim.volume)
        gap -= aim.per_pressure * (pressure - aim.pressure)
        if (
            iterations > 0
            and force <= newton.tolerance * size
            and moved <= newton.update
            and abs(gap) <= 1e-6 * abs(aim.step) + 1e-12
        ):
            break
        away = distance(force, size, gap, aim.step)
        if iterations > 0 and cuts < CUTS and not away <= max(last, NEAR):
            # stiff membrane forces may rise on the way to equilibrium; what tells is whether the
            # next update would be smaller (Deuflhard, Newton Methods for Nonlinear Problems, 2011,
            # sec. 3.3: natural monotonicity; value from memory)
            again = bordered_again(
                tangent, found.residual, found.gradient, gap, aim.per_volume, aim.per_pressure
            )
            if not again <= (1.0 - 0.25 * share) * full:
                cuts += 1
                share *= 0.5
                moved *= 0.5
                u = before + share * change
                pressure -= share * dp
                continue
        if not math.isfinite(force):
            raise SolveError(ENDINGS[NOT_A_NUMBER])
        if iterations == newton.iterations:
            raise SolveError(ENDINGS[NO_EQUILIBRIUM].format(iterations))
        tangent = found.band
        negative, dp, moved, change = bordered(
            tangent, found.residual, found.gradient, gap, aim.per_volume, aim.per_pressure
        )
        iterations += 1
        if negative < 0:
            raise SolveError(ENDINGS[SINGULAR])
        if not math.isfinite(moved):
            raise SolveError(ENDINGS[UPDATE_NOT_A_NUMBER])
        full = moved
        share = min(1.0, newton.cap / moved) if moved > 0.0 else 1.0
        cuts, last, before = 0, away, u
        u = u + share * change
        pressure += share * dp
    way, negative = direction(found.band, found.gradient)
    return Converged(u, pressure, found, way.shape, way.growth, negative, iterations + 1)


def take_step(
    system: System,
    state: Any,
    control: Control,
    newton: Newton,
    predictor: Direction | None = None,
) -> Step:
    """One controlled step from an accepted state; raises SolveError if it does not converge."""
    start, p = state.x.ravel(), state.pressure
    a_v, a_p = control.cv / control.volume_scale, control.cp / control.pressure_scale
    u, largest, dp = start, 0.0, 0.0
    if predictor is not None and predictor.shape.size:
        dp = control.step / (a_v * predictor.growth + a_p)
        ratio = control.step / predictor.step if predictor.bend.size else 0.0
        square = ratio**2 if 0.0 < ratio < 1.01 else 0.0
        u, largest, scale = _predict(start, dp, predictor.shape, square, predictor.bend, newton.cap)
        p += scale * (dp + square * predictor.bend_pressure)
    aim = Aim(a_v, a_p, state.volume, state.pressure, control.step, control.pressure_scale)
    end = system.converge(u, p, largest, state, aim, newton)
    bend, forward = _bend(end.u, start, dp, end.shape, predictor.shape if predictor else _EMPTY)
    bend_pressure = end.pressure - state.pressure - dp
    way = Direction(end.shape, end.growth, bend, bend_pressure, control.step)
    slope = _slope(end.growth, (control.volume_scale, control.pressure_scale), forward)
    accepted = system.accept(end.u, end.pressure, end.found, state)
    return Step(accepted, end.negative, end.iterations, way, slope)


def take_turn(
    system: System,
    state: Any,
    way: Floats,
    length: float,
    scales: tuple[float, float],
    newton: Newton,
) -> Step:
    """A step of the unknowns: of `length` along the unit vector `way` (n,), whatever V and p do.

    Where V and p turn back together, as at a hairpin of an elastic path, a step in their plane
    leads nowhere; the unknowns go on (Riks 1979).  scales : of volume and pressure, as in Control.
    Raises SolveError if it does not converge.
    """
    start = state.x.ravel()
    u, pressure, moved, spent = start + length * way, state.pressure, math.inf, 0
    while True:
        found = system.evaluate(u, pressure, state)
        force = norm(found.residual)
        size = max(abs(pressure), scales[1]) * norm(found.gradient)
        if not math.isfinite(force):
            raise SolveError(ENDINGS[NOT_A_NUMBER])
        if force <= newton.tolerance * size and moved <= newton.update:
            break
        if spent == newton.iterations:
            raise SolveError(ENDINGS[NO_EQUILIBRIUM].format(spent))
        spent += 1
        tangent, pull = found.band, found.gradient
        negative, rest = solve_with(tangent, -found.residual)
        if negative < 0:
            raise SolveError(ENDINGS[SINGULAR])
        pushed = solve_again(tangent, pull)
        gap = length - float(way @ (u - start))
        dp = (gap - float(way @ rest)) / float(way @ pushed)
        change = rest + dp * pushed
        moved = float(np.abs(change).max())
        if not math.isfinite(moved):
            raise SolveError(ENDINGS[UPDATE_NOT_A_NUMBER])
        share = min(1.0, newton.cap / moved) if moved > 0.0 else 1.0
        u, pressure = u + share * change, pressure + share * dp
    along, negative = direction(found.band, found.gradient)
    accepted = system.accept(u, pressure, found, state)
    far = math.hypot(
        (accepted.volume - state.volume) / scales[0], (pressure - state.pressure) / scales[1]
    )
    slope = _slope(along.growth, scales, float((u - start) @ along.shape))
    return Step(accepted, negative, spent + 1, along._replace(step=far), slope)


def _slope(growth: float, scales: tuple[float, float], forward: float) -> tuple[float, float]:
    """(dV, dp) along the path over their scales, of unit length.

    growth : dV/dp.  forward : how far the unknowns went along du/dp; the branch goes on, not
    back: at a hairpin V and p both turn, the unknowns do not.
    """
    dv, dp = growth / scales[0], 1.0 / scales[1]
    length = math.hypot(dv, dp)
    sign = 1.0 if forward >= 0.0 else -1.0
    return sign * dv / length, sign * dp / length


@kernel
def _predict(
    start: Floats, dp: float, shape: Floats, square: float, bend: Floats, cap: float
) -> tuple[Floats, float, float]:
    """start + dp shape + square bend with its change capped, the largest change, the share left."""
    change = np.empty(start.size)
    largest = 0.0
    for i in range(start.size):
        change[i] = dp * shape[i]
        if square > 0.0:
            change[i] += square * bend[i]
        largest = max(largest, abs(change[i]))
    scale = min(1.0, cap / largest) if largest > 0.0 else 1.0
    for i in range(start.size):
        change[i] = start[i] + scale * change[i]
    return change, largest, scale


@kernel
def _bend(
    u: Floats, start: Floats, dp: float, shape: Floats, predicted: Floats
) -> tuple[Floats, float]:
    """How far u lies beyond start + dp predicted (empty if that is), and (u - start) . shape."""
    bend = np.empty(predicted.size)
    forward = 0.0
    for i in range(u.size):
        forward += (u[i] - start[i]) * shape[i]
        if predicted.size > 0:
            bend[i] = u[i] - start[i] - dp * predicted[i]
    return bend, forward
