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
from numpy.typing import NDArray

from fea.banded import bordered, factor, norm, solve
from fea.errors import SolveError

Floats = NDArray[np.float64]


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

    def accept(self, u: Floats, pressure: float, found: Any, state: Any) -> Any:
        """The state after a converged step."""


@dataclass(frozen=True)
class Control:
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
    negative = factor(band)
    if negative < 0:
        raise SolveError("the tangent is singular")
    shape = solve(band, gradient[:, None])[:, 0]
    return Direction(shape, float(gradient @ shape)), negative


def take_step(
    system: System,
    state: Any,
    control: Control,
    newton: Newton,
    predictor: Direction | None = None,
) -> Step:
    """One controlled step from an accepted state; raises SolveError if it does not converge."""
    u = state.x.ravel().copy()
    p, start_v, start_p = state.pressure, state.volume, state.pressure
    a_v, a_p = control.cv / control.volume_scale, control.cp / control.pressure_scale
    largest = 0.0
    iterations = 0
    if predictor is not None and predictor.shape.size:
        dp = control.step / (a_v * predictor.growth + a_p)
        change = dp * predictor.shape
        first_u, first_p = u + change, p + dp
        ratio = control.step / predictor.step if predictor.bend.size else 0.0
        if 0.0 < ratio < 1.01:
            change = change + ratio**2 * predictor.bend
            dp += ratio**2 * predictor.bend_pressure
        largest = float(np.max(np.abs(change)))
        scale = min(1.0, newton.cap / largest) if largest > 0.0 else 1.0
        u += scale * change
        p += scale * dp
    checked = False  # an update of this step has been made in full
    while True:
        found = system.evaluate(u, p, state)
        force = norm(found.residual)
        size = max(abs(p), control.pressure_scale) * norm(found.gradient)
        if not math.isfinite(force):
            raise SolveError("the residual is not a number")
        gap = control.step - a_v * (found.volume - start_v) - a_p * (p - start_p)
        if (
            checked
            and force <= newton.tolerance * size
            and largest <= newton.update
            and abs(gap) <= 1e-6 * abs(control.step) + 1e-12
        ):
            break
        if iterations == newton.iterations:
            raise SolveError(f"no equilibrium in {iterations} iterations")
        negative, dp, largest, change = bordered(
            found.band, found.residual, found.gradient, gap, a_v, a_p
        )
        iterations += 1
        checked = True
        if negative < 0:
            raise SolveError("the tangent is singular")
        if not math.isfinite(largest):
            raise SolveError("the update is not a number")
        scale = min(1.0, newton.cap / largest) if largest > 0.0 else 1.0
        u = u + scale * change
        p += scale * dp
    way, negative = direction(found.band, found.gradient)
    if predictor is not None and predictor.shape.size:
        way = way._replace(bend=u - first_u, bend_pressure=p - first_p, step=control.step)
    dv, dpp = way.growth / control.volume_scale, 1.0 / control.pressure_scale
    length = float(np.hypot(dv, dpp))
    # the branch that goes on, not back: at a hairpin V and p both turn, the unknowns do not
    sign = 1.0 if float(way.shape @ (u - state.x.ravel())) >= 0.0 else -1.0
    slope = (sign * dv / length, sign * dpp / length)
    return Step(system.accept(u, p, found, state), negative, iterations + 1, way, slope)
