"""Raise the pressure step by step until something ends it, and find the limit point.

Steps are even in the arc length of path.py: the error of a step is of first order in its length
(metal that reverses its strain within a step notices at the end), so even steps make that error
smooth from case to case, and two ramps of different step remove it (Richardson; reversal.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from fea.errors import SolveError
from fea.path import Control, Direction, Newton, Step, System, direction, take_step

HALVINGS = 14  # a hairpin turns within 1e-4 of a long step
SHARPEST_TURN = 0.7  # cosine, between the directions of two steps in a row
TURN_HALVINGS = 5
FARTHEST = 1.5  # distance a step may go in the (V, p) plane, over its length


@dataclass(frozen=True)
class Plan:
    """How to ramp.

    step : length of a step, as a share of the two scales.
    volume_scale : mm^3 per radian.  pressure_scale : MPa.
    ceiling : pressure at which to stop looking, MPa.
    most_steps : bound on the number of steps.
    located : relative error to which a limit pressure is found.
    ripple : a limit counts once the pressure has moved away from it by this share with the
        tangent still indefinite; a dip that heals before is passed over, as a can under test
        passes over it (it stays where it is and takes more pressure).
    """

    step: float
    volume_scale: float
    pressure_scale: float
    ceiling: float
    most_steps: int = 400
    located: float = 1e-3
    ripple: float = 0.01
    newton: Newton = field(default_factory=Newton)


class Limit(NamedTuple):
    """Where the path turns, or its tangent first becomes indefinite.

    pressure : MPa.  before : the last state before it.
    kind : limit (pressure turns) or bifurcation (a pivot turns while pressure still rises).
    """

    pressure: float
    before: int
    kind: str

    def describe(self, pressure: float) -> str:
        """The same in a sentence, with the pressure that is quoted for it (MPa)."""
        if self.kind == "limit":
            return f"the pressure turns at {pressure:.4g} MPa"
        return f"the tangent turns indefinite at {pressure:.4g} MPa while the pressure rises"


class Ramp(NamedTuple):
    """A followed path.

    states : accepted, the first is the start.  steps : the converged steps between them.
    limit : None if the ramp ended before one.  ending : limit, ceiling, no_convergence or
    step_bound.  reason : the same in one sentence.
    even : no step up to the limit had to be shortened, so that the step error is that of plan.step.
    """

    states: list[Any]
    steps: list[Step]
    limit: Limit | None
    ending: str
    reason: str
    even: bool

    @property
    def iterations(self) -> int:
        """Tangents factored."""
        return sum(step.iterations for step in self.steps)


def ramp(
    system: System,
    start: Any,
    plan: Plan,
    go_on: Callable[[Ramp], bool] | None = None,
) -> Ramp:
    """Follow the path from `start` until a limit, the ceiling, or no more convergence.

    go_on : asked after the limit has been confirmed; steps go on while it says so.
    """
    states, steps = [start], [_NO_STEP]
    candidate: Limit | None = None
    confirmed, even = False, True
    length, slope = plan.step, _NO_STEP.slope
    predictor = None

    def ended(ending: str, reason: str) -> Ramp:
        # a limit that the path could not be followed away from still is one
        if candidate is not None:
            sentence = candidate.describe(candidate.pressure)
            return Ramp(states, steps[1:], candidate, "limit", sentence, even)
        return Ramp(states, steps[1:], None, ending, reason, even)

    while len(states) <= plan.most_steps:
        control = Control(*slope, plan.volume_scale, plan.pressure_scale, length)
        try:
            step = take_step(system, states[-1], control, plan.newton, predictor)
            _check_distance(states[-1], step.state, length, plan)
        except SolveError as error:
            length *= 0.5
            even = even and candidate is not None
            # a predictor that led astray is not tried again
            predictor = None
            if length < plan.step * 0.5**HALVINGS:
                return ended(
                    "no_convergence",
                    f"no equilibrium found beyond {states[-1].pressure:.4g} MPa "
                    f"with the shortest step: {error.reason}",
                )
            continue
        strayed = _strayed(step, states[-1], slope, plan, confirmed or candidate is not None)
        if strayed and length > plan.step * 0.5**TURN_HALVINGS:
            length, predictor = 0.5 * length, None
            even = even and candidate is not None
            continue
        states.append(step.state)
        steps.append(step)
        predictor, slope = step.direction, step.slope
        length = min(plan.step, 2.0 * length)
        pressure = step.state.pressure
        if candidate is None and len(states) > 2 and _passed(steps[-2], step):
            candidate = locate(system, states, steps, plan)
        if candidate is not None and not confirmed:
            if step.negative == 0 and pressure > candidate.pressure * (1.0 - plan.ripple):
                candidate = None
            else:
                confirmed = abs(pressure / candidate.pressure - 1.0) >= plan.ripple
        if candidate is not None and confirmed:
            so_far = ended("limit", "")
            if go_on is None or not go_on(so_far):
                return so_far
        elif pressure >= plan.ceiling:
            return ended("ceiling", f"no reversal below {plan.ceiling:.4g} MPa")
    return ended("step_bound", f"no limit within {plan.most_steps} steps")


def _strayed(step: Step, base: Any, slope: tuple[float, float], plan: Plan, beyond: bool) -> bool:
    """Whether a step may have left the path for another branch.

    A path bends gently at a short enough step, and up to its limit (beyond: after it) the tangent
    is indefinite just where the pressure falls.
    """
    chord = (
        (step.state.volume - base.volume) / plan.volume_scale,
        (step.state.pressure - base.pressure) / plan.pressure_scale,
    )
    long = math.hypot(*chord)
    turned = min(
        slope[0] * step.slope[0] + slope[1] * step.slope[1],
        (slope[0] * chord[0] + slope[1] * chord[1]) / long if long > 0.0 else 1.0,
    )
    expected = 1 if step.slope[1] < 0.0 else 0
    return turned < SHARPEST_TURN or (not beyond and step.negative != expected)


def compliance(system: System, start: Any) -> float:
    """dV/dp of an unloaded body, mm^3 per radian and MPa.

    Raises SolveError where the body is not held.
    """
    found = system.evaluate(start.x.ravel(), start.pressure, start)
    way, negative = direction(found.band, found.gradient)
    if negative:
        raise SolveError("the unloaded body is not held: its stiffness is not positive definite")
    return way.growth


def pressure_control(
    system: System, state: Any, pressure: float, plan: Plan, steps: int = 1
) -> Any:
    """The state at a pressure (MPa), reached from `state` with its pressure held at each step.

    Steps are halved where they do not converge; raises SolveError if that does not help.
    A last step of no length lets the layers of a shell settle, which follow their thickness strain
    one step late: without it a bottom let off before it yields would keep 0.5 % of its travel.
    """
    length = (pressure - state.pressure) / (steps * plan.pressure_scale)
    shortest = abs(length) * 0.5**HALVINGS
    while abs(left := (pressure - state.pressure) / plan.pressure_scale) > 1e-12:
        length = float(np.sign(left)) * min(abs(length), abs(left))
        control = Control(0.0, 1.0, plan.volume_scale, plan.pressure_scale, length)
        try:
            state = take_step(system, state, control, plan.newton).state
        except SolveError:
            length *= 0.5
            if abs(length) < shortest:
                raise
    settle = Control(0.0, 1.0, plan.volume_scale, plan.pressure_scale, 0.0)
    return take_step(system, state, settle, plan.newton).state


def _check_distance(before: Any, after: Any, length: float, plan: Plan) -> None:
    # the length is measured along the old direction only: at a hairpin the solve may land far off
    # to the side, beyond the peak that is looked for
    moved = math.hypot(
        (after.volume - before.volume) / plan.volume_scale,
        (after.pressure - before.pressure) / plan.pressure_scale,
    )
    if moved > FARTHEST * length:
        raise SolveError("the path turns too sharply")


def _passed(before: Step, after: Step) -> bool:
    return after.negative > before.negative


def locate(system: System, states: list[Any], steps: list[Step], plan: Plan) -> Limit:
    """The limit between the last two states.

    A parabola through the last three even steps is taken where it agrees with its highest point
    to plan.located / 2, since a shorter step would bring another step error with it; else the
    last step is retaken shorter until the pressure is level at its end.
    """
    if states[-1].pressure > states[-2].pressure and steps[-1].slope[1] > 0.0:
        return _bisect(system, states, steps, plan)
    chosen = states[-3:]
    pressures = [state.pressure for state in chosen]
    places = [0.0]
    for a, b in pairwise(chosen):
        dv = (b.volume - a.volume) / plan.volume_scale
        dp = (b.pressure - a.pressure) / plan.pressure_scale
        places.append(places[-1] + math.hypot(dv, dp))
    high = int(np.argmax(pressures))
    before = len(states) - len(chosen) + high
    top = _peak(places, pressures)
    if abs(top - pressures[high]) > 0.5 * plan.located * abs(top):
        top = max(pressures[high], _level(system, states[-2], steps[-2:], states[-1], plan))
    return Limit(top, before, "limit")


def _peak(x: list[float], y: list[float]) -> float:
    """Height of the top of the parabola through three points (or of the highest point)."""
    if len(x) < 3:
        return max(y)
    left, right = x[0] - x[1], x[2] - x[1]
    before, after = (y[0] - y[1]) / left, (y[2] - y[1]) / right
    c2 = (after - before) / (right - left)
    c1 = before - c2 * left
    if c2 >= 0.0:
        return max(y)
    at = min(max(-0.5 * c1 / c2, left), right)
    return y[1] + c1 * at + c2 * at * at


def _level(system: System, base: Any, ends: list[Step], end: Any, plan: Plan) -> float:
    """Highest pressure of steps from base to end, by false position on dp at their ends."""
    before, after = ends
    cv, cp = before.slope
    scales = (plan.volume_scale, plan.pressure_scale)
    low, high = 0.0, cv * (end.volume - base.volume) / scales[0]
    high += cp * (end.pressure - base.pressure) / scales[1]
    rise, fall = before.slope[1], after.slope[1]
    top = max(base.pressure, end.pressure)
    for _ in range(10):
        # kept off the ends so that the bracket shrinks
        length = low + (high - low) * min(max(rise / (rise - fall), 0.05), 0.95)
        control = Control(cv, cp, *scales, length)
        try:
            step = take_step(system, base, control, plan.newton, before.direction)
        except SolveError:
            break
        gain, top = step.state.pressure - top, max(top, step.state.pressure)
        if abs(gain) <= 0.2 * plan.located * top:
            break
        if step.slope[1] > 0.0:
            low, rise = length, step.slope[1]
        else:
            high, fall = length, step.slope[1]
    return float(top)


def _bisect(system: System, states: list[Any], steps: list[Step], plan: Plan) -> Limit:
    """Where a pivot turns negative while the pressure still rises, by halving the step."""
    base, before = states[-2], steps[-2]
    low, high = base.pressure, states[-1].pressure
    share_low, share_high = 0.0, 1.0
    while high - low > plan.located * high:
        share = 0.5 * (share_low + share_high)
        control = Control(
            0.0,
            1.0,
            plan.volume_scale,
            plan.pressure_scale,
            share * (states[-1].pressure - base.pressure) / plan.pressure_scale,
        )
        try:
            step = take_step(system, base, control, plan.newton)
        except SolveError:
            break
        if step.negative > before.negative:
            high, share_high = step.state.pressure, share
        else:
            low, share_low = step.state.pressure, share
    return Limit(0.5 * (low + high), len(states) - 2, "bifurcation")


_NO_STEP = Step(None, 0, 0, Direction(np.zeros(0), 0.0), (float(np.sqrt(0.5)),) * 2)
