"""Raise the pressure step by step until something ends it, and find the limit point.

The error of a step is of first order in its length (metal that reverses its strain within a step
notices at the end), so it rests on where the steps fall.  limit.py lays them out so that the limit
always falls at the same place among them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from domemargin.fea.core.path import (
    Control,
    Direction,
    Step,
    System,
    direction,
    take_step,
    take_turn,
)
from domemargin.fea.core.plan import Limit as Limit
from domemargin.fea.core.plan import Plan as Plan
from domemargin.fea.core.summit import pivot_turn, summit
from domemargin.fea.errors import SolveError

HALVINGS = 14  # a hairpin turns within 1e-4 of a long step
SHARPEST_TURN = 0.7  # cosine, between the directions of two steps in a row
TURN_HALVINGS = 5
BEFORE_TURN, TURNS = 4, 4  # halvings of a step before a turn is tried, and of a turn
CORNER = 0.1  # of a step
FARTHEST = 1.5  # distance a step may go in the (V, p) plane, over its length
BISECTIONS = 40
TRIES = 2  # steps tried, over Plan.most_steps: a path of ever shorter steps is given up
# a path that cannot be followed on has reversed if its pressure has fallen by this share
FALLEN = 0.01


class Ramp(NamedTuple):
    """A followed path.

    states : accepted, the first is the start.  steps : the converged steps between them.
    limit : None if the ramp ended before one.  ending : limit, ceiling, no_convergence or
    step_bound.  reason : the same in one sentence.
    even : no step up to the limit had to be shortened, so that the step error is that of the plan.
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
    settled: System | None = None,
) -> Ramp:
    """Follow the path from `start` until a limit, the ceiling, or no more convergence.

    The limit is the highest pressure before a fall of plan.ripple: what the bottom held before a
    dip stands unless it is exceeded later.
    go_on : asked after the limit has been confirmed; steps go on while it says so.
    settled : the same body without what follows one step late; locates the limit if there is one.
    """
    states, steps = [start], [_NO_STEP]
    top = 0  # number of the highest state
    branch: Limit | None = None  # where the tangent turned indefinite while the pressure rose
    limit: Limit | None = None
    shortened: int | None = None  # number of the first state whose step was shortened
    number, place = 0, 0.0
    length = left = plan.length(0)
    slope = _NO_STEP.slope
    predictor: Direction | None = None

    def ended(ending: str, reason: str) -> Ramp:
        found = limit
        fallen = top > 0 and states[-1].pressure <= (1.0 - FALLEN) * states[top].pressure
        if found is None and fallen:
            # the path could not be followed on, but is on its way down
            found = summit(system, states, steps, top, plan, settled)
        if found is None:
            return Ramp(states, steps[1:], None, ending, reason, shortened is None)
        even = shortened is None or shortened > found.before + 1
        return Ramp(states, steps[1:], found, "limit", found.describe(found.pressure), even)

    tries = 0
    while len(states) <= plan.most_steps and tries <= TRIES * plan.most_steps:
        tries += 1
        control = Control(*slope, plan.volume_scale, plan.pressure_scale, length)
        failed = ""
        try:
            step = take_step(system, states[-1], control, plan.newton, predictor)
            # where metal yields a path may have a corner, and a short step ends a little round it
            least = CORNER * plan.length(number) if plan.history else 0.0
            _check_distance(states[-1], step.state, max(length, least), plan)
            shortest = plan.length(number) * 0.5**TURN_HALVINGS
            beyond = limit is not None or branch is not None
            if length > shortest and _strayed(step, states[-1], slope, plan, beyond):
                failed = "the path turns too sharply"
        except SolveError as error:
            failed = error.reason
        if failed:
            if predictor is not None:
                # a shorter step has another error: first the same one, from where it starts
                predictor = None
                continue
            length *= 0.5
            if shortened is None:
                shortened = len(states)
            nominal = plan.length(number)
            turn = None
            if length < nominal * 0.5**BEFORE_TURN and len(states) > 2:
                turn = _turn(system, states, plan)
            if turn is None:
                if length < nominal * 0.5**HALVINGS:
                    return ended(
                        "no_convergence",
                        f"no equilibrium found beyond {states[-1].pressure:.4g} MPa "
                        f"with the shortest step: {failed}",
                    )
                continue
            step, gone = turn, turn.direction.step
        else:
            gone = length
        states.append(step.state)
        steps.append(step)
        predictor, slope = step.direction, step.slope
        place += gone
        left -= gone
        if left <= 1e-9 * plan.length(number):
            number += 1
            length = left = plan.length(number)
        else:
            length = min(left, 2.0 * length)
        pressure = step.state.pressure
        if limit is not None:
            so_far = ended("limit", "")
            if go_on is None or not go_on(so_far):
                return so_far
            continue
        if pressure > states[top].pressure:
            top = len(states) - 1
        if step.negative == 0:
            branch = None
        elif branch is None and steps[-2].negative == 0 and step.slope[1] > 0.0:
            branch = pivot_turn(system, states, steps, plan)
        risen = branch is not None and pressure >= (1.0 + plan.stray) * branch.pressure
        share = FALLEN if place > plan.known else plan.ripple
        if risen:
            limit = branch
        elif top > 0 and pressure <= (1.0 - share) * states[top].pressure:
            limit = summit(system, states, steps, top, plan, settled)
        elif pressure >= plan.ceiling:
            return ended("ceiling", f"no reversal below {plan.ceiling:.4g} MPa")
        if limit is not None:
            so_far = ended("limit", "")
            if go_on is None or not go_on(so_far):
                return so_far
    return ended("step_bound", f"no limit within {len(states) - 1} steps")


def _strayed(step: Step, base: Any, slope: tuple[float, float], plan: Plan, beyond: bool) -> bool:
    """Whether a step may have left the path for another branch.

    A path bends gently at a short enough step, and up to its limit (beyond: after it) the tangent
    is indefinite just where the pressure falls, if no metal yields.
    """
    falling = 1 if step.slope[1] < 0.0 else 0
    if not plan.history and not beyond and step.negative != falling:
        return True
    chord = (
        (step.state.volume - base.volume) / plan.volume_scale,
        (step.state.pressure - base.pressure) / plan.pressure_scale,
    )
    long = math.hypot(*chord)
    turned = min(
        slope[0] * step.slope[0] + slope[1] * step.slope[1],
        (slope[0] * chord[0] + slope[1] * chord[1]) / long if long > 0.0 else 1.0,
    )
    return turned < SHARPEST_TURN


def _turn(system: System, states: list[Any], plan: Plan) -> Step | None:
    """A step of the unknowns, as long as the last one or shorter; None if there is none."""
    change = (states[-1].x - states[-2].x).ravel()
    length = float(np.linalg.norm(change))
    if length == 0.0:
        return None
    scales = (plan.volume_scale, plan.pressure_scale)
    for halvings in range(TURNS):
        try:
            return take_turn(
                system, states[-1], change / length, length * 0.5**halvings, scales, plan.newton
            )
        except SolveError:
            continue
    return None


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


_NO_STEP = Step(None, 0, 0, Direction(np.zeros(0), 0.0), (float(np.sqrt(0.5)),) * 2)
