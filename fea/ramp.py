"""Raise the pressure step by step until something ends it, and find the limit point.

Steps are even in the arc length of path.py: the error of a step is of first order in its length
(metal that reverses its strain within a step notices at the end), so even steps make that error
smooth from case to case, and two ramps of different step remove it (Richardson; reversal.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from fea.errors import SolveError
from fea.path import Control, Newton, Step, System, take_step

HALVINGS = 8
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


class Ramp(NamedTuple):
    """A followed path.

    states : accepted, the first is the start.  steps : the converged steps between them.
    limit : None if the ramp ended before one.  ending : limit, ceiling, no_convergence or
    step_bound.  reason : the same in one sentence.
    """

    states: list[Any]
    steps: list[Step]
    limit: Limit | None
    ending: str
    reason: str

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
    confirmed = False
    length, slope = plan.step, _NO_STEP.slope
    predictor = None

    def ended(ending: str, reason: str) -> Ramp:
        # a limit that the path could not be followed away from still is one
        if candidate is not None:
            return Ramp(states, steps[1:], candidate, "limit", _describe(candidate))
        return Ramp(states, steps[1:], None, ending, reason)

    while len(states) <= plan.most_steps:
        control = Control(*slope, plan.volume_scale, plan.pressure_scale, length)
        try:
            step = take_step(system, states[-1], control, plan.newton, predictor)
            _check_distance(states[-1], step.state, length, plan)
        except SolveError as error:
            length *= 0.5
            # a predictor that led astray is not tried again
            predictor = None
            if length < plan.step * 0.5**HALVINGS:
                return ended(
                    "no_convergence",
                    f"no equilibrium found beyond {states[-1].pressure:.4g} MPa "
                    f"with the shortest step: {error.reason}",
                )
            continue
        turn = slope[0] * step.slope[0] + slope[1] * step.slope[1]
        if turn < SHARPEST_TURN and length > plan.step * 0.5**TURN_HALVINGS:
            # a path bends gently at a short enough step; this one may have left it for another
            length, predictor = 0.5 * length, None
            continue
        states.append(step.state)
        steps.append(step)
        predictor, slope = step.factors, step.slope
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


def pressure_control(
    system: System, state: Any, pressure: float, plan: Plan, steps: int = 1
) -> Any:
    """The state at a pressure (MPa), reached from `state` with its pressure held at each step.

    Steps are halved where they do not converge; raises SolveError if that does not help.
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
    return state


def _check_distance(before: Any, after: Any, length: float, plan: Plan) -> None:
    # the length is measured along the old direction only: at a hairpin the solve may land far off
    # to the side, beyond the peak that is looked for
    moved = np.hypot(
        (after.volume - before.volume) / plan.volume_scale,
        (after.pressure - before.pressure) / plan.pressure_scale,
    )
    if moved > FARTHEST * length:
        raise SolveError("the path turns too sharply")


def _passed(before: Step, after: Step) -> bool:
    return after.negative > before.negative


def _describe(limit: Limit) -> str:
    if limit.kind == "limit":
        return f"the pressure turns at {limit.pressure:.4g} MPa"
    return f"the tangent turns indefinite at {limit.pressure:.4g} MPa while the pressure rises"


def locate(system: System, states: list[Any], steps: list[Step], plan: Plan) -> Limit:
    """The limit between the last states: parabolas in the distance along the path.

    A parabola through three even steps is not re-solved where it already agrees with its middle
    to plan.located / 2, since a shorter step would bring another step error with it.
    """
    index = len(states) - 2
    if states[-1].pressure > states[-2].pressure and steps[-1].slope[1] > 0.0:
        return _bisect(system, states, steps, plan)
    first = max(0, len(states) - 3)
    chosen = states[first:]
    pressures = [state.pressure for state in chosen]
    places = list(
        np.concatenate(
            (
                [0.0],
                np.cumsum(
                    [
                        np.hypot(
                            (b.volume - a.volume) / plan.volume_scale,
                            (b.pressure - a.pressure) / plan.pressure_scale,
                        )
                        for a, b in pairwise(chosen)
                    ]
                ),
            )
        )
    )
    index = first + int(np.argmax(pressures))
    base, base_step = states[first], steps[first]
    top = max(pressures)
    for _ in range(12):
        place, top = _peak(places, pressures)
        if abs(top - max(pressures)) <= 0.5 * plan.located * abs(top):
            break
        control = Control(*base_step.slope, plan.volume_scale, plan.pressure_scale, place)
        try:
            found = take_step(system, base, control, plan.newton).state
        except SolveError:
            break
        places.append(place)
        pressures.append(found.pressure)
        order = np.argsort(places)
        places = [places[i] for i in order]
        pressures = [pressures[i] for i in order]
        high = int(np.clip(np.argmax(pressures), 1, len(places) - 2))
        places, pressures = places[high - 1 : high + 2], pressures[high - 1 : high + 2]
    return Limit(float(top), index, "limit")


def _peak(x: list[float], y: list[float]) -> tuple[float, float]:
    """Place and height of the top of the parabola through three points (or the highest point)."""
    high = int(np.argmax(y))
    if len(x) < 3:
        return x[high], y[high]
    c2, c1, _ = np.polyfit(np.array(x) - x[1], np.array(y) - y[1], 2)
    if c2 >= 0.0:
        return x[high], y[high]
    at = float(np.clip(-0.5 * c1 / c2, x[0] - x[1], x[2] - x[1]))
    return x[1] + at, y[1] + c1 * at + c2 * at * at


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


_NO_STEP = Step(None, 0, 0, (np.zeros((0, 1)), np.zeros(0)), (float(np.sqrt(0.5)),) * 2)
