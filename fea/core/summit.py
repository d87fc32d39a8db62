"""Where a path turns: its highest pressure, or a pivot that turns while the pressure rises."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from domemargin.fea.core.path import Control, Step, System, take_step, take_turn
from domemargin.fea.core.plan import Limit, Plan
from domemargin.fea.errors import SolveError
from domemargin.profiles.arrays import Floats

BISECTIONS = 40
# up to this share of the pressure above the highest state, the top of a parabola is as good as a
# search, which would move it by less
AS_GOOD = 1e-7
# error of a parabola through three states, by their third differences, relative to the pressure:
# from the first to the second, a search takes over.  A shorter step has another step error, so that
# where the path bends gently it is the worse of the two
CORNER = 3e-5, 1e-4
SEARCHED = 14  # steps of a search
EXACT = 1e-9  # the same, of an elastic path
KEPT_OFF = 0.1  # of a bracket, from its ends


def summit(
    system: System,
    states: list[Any],
    steps: list[Step],
    top: int,
    plan: Plan,
    settled: System | None = None,
) -> Limit:
    """The limit next to state `top`, the highest of the path.

    steps : of the path, steps[i] leads to states[i].  The top of the parabola through the highest
    state and its neighbours is taken where it hardly rises above that state, else the highest of
    shorter steps on the way.  settled : as in ramp; the highest of its own states then.
    """
    places = np.cumsum([0.0, *(step.direction.step for step in steps[1:])])
    at = min(max(top, 1), len(states) - 2)
    near = slice(at - 1, at + 2)
    pressures = np.array([state.pressure for state in states[near]])
    x, height = vertex(places[near] - places[at], pressures)
    before = top if x >= 0.0 else top - 1
    share = 0.0
    if plan.history:
        # a path of even steps only says how long one that is laid out has to be
        share = _corner(states, at) if plan.lengths and before > 0 else 0.0
        if share > 0.0:
            part, found = _between(system, states, steps, before, plan)
            if part == 0.0 and before > 1:  # it lies just before the highest state
                before -= 1
                part, found = _between(system, states, steps, before, plan)
            place = places[before] - places[at] + part * steps[before + 1].direction.step
            x, height = x + share * (place - x), height + share * (found - height)
    elif settled is not None and before > 0:
        settled_top = _highest(settled, states[at - 1 : at + 2], plan)
        height = height if settled_top is None else settled_top
    elif abs(height - pressures[1]) > 0.5 * plan.located * abs(height):
        first = top if steps[top].slope[1] > 0.0 else top - 1
        if first > 0 and steps[first].slope[1] > 0.0 > steps[first + 1].slope[1]:
            height = _level(system, states[first], steps[first], steps[first + 1], plan)
            height, before = max(height, states[top].pressure), first
    return Limit(float(height), before, "limit", float(places[at] + x), share)


def vertex(x: Floats, y: Floats) -> tuple[float, float]:
    """Place and height of the top of the parabola through three points, the middle one at x = 0
    and the highest; that point where they have no top."""
    before, after = (y[0] - y[1]) / x[0], (y[2] - y[1]) / x[2]
    bend = (after - before) / (x[2] - x[0])
    slope = before - bend * x[0]
    if bend >= 0.0:
        return 0.0, float(y[1])
    at = min(max(-0.5 * slope / bend, x[0]), x[2])
    return float(at), float(y[1] + slope * at + bend * at * at)


def _corner(states: list[Any], at: int) -> float:
    """How far the path turns at a corner about its highest state: 0 to 1."""
    about = np.array([state.pressure for state in states[max(at - 2, 0) : at + 3]])
    if about.size < 4:
        return 1.0
    # a cubic differs from the parabola by up to a sixteenth of the third difference
    off = float(np.abs(np.diff(about, 3)).max()) / 16.0 / abs(about).max()
    x = math.log(max(off, 1e-300) / CORNER[0]) / math.log(CORNER[1] / CORNER[0])
    x = min(max(x, 0.0), 1.0)
    return x * x * (3.0 - 2.0 * x)


def _between(
    system: System, states: list[Any], steps: list[Step], base: int, plan: Plan
) -> tuple[float, float]:
    """Place, as a share of the step on from state `base`, and height of the highest pressure of
    steps from there that are shorter.

    A path may turn at a corner: a bottom that holds on to the last and then snaps.  A parabola
    through states beside it rises above it by up to 0.2 %.
    """
    length = steps[base + 1].direction.step
    before = steps[base]
    control = Control(*before.slope, plan.volume_scale, plan.pressure_scale, length)
    way = before.direction if before.direction.shape.size else None

    def pressure(share: float) -> float:
        shorter = control._replace(step=share * length)
        return float(take_step(system, states[base], shorter, plan.newton, way).state.pressure)

    ends = [states[base].pressure, states[base + 1].pressure]
    return highest(pressure, [0.0, 1.0], ends)


def highest(
    pressure: Callable[[float], float], x: list[float], y: list[float], near: float = AS_GOOD
) -> tuple[float, float]:
    """Place and height of the highest value of a function between places x where it is y.

    By parabolas through three points, kept off the ends of the bracket so that it shrinks, until
    the parabola rises no more than `near` above the highest point.
    """
    x, y = list(x), list(y)
    for _ in range(SEARCHED):
        if len(x) == 2:
            place = 0.5 * (x[0] + x[1])
        else:
            at = int(np.argmax(y))
            if at in (0, len(x) - 1):
                inner = 1 if at == 0 else len(x) - 2
                place = 0.5 * (x[at] + x[inner])
                if y[at] - y[inner] <= near * y[at] and abs(x[at] - x[inner]) < KEPT_OFF:
                    return x[at], y[at]
            else:
                three = slice(at - 1, at + 2)
                off, top = vertex(np.array(x[three]) - x[at], np.array(y[three]))
                if top - y[at] <= near * y[at]:
                    return x[at] + off, top
                low, high = x[at - 1], x[at + 1]
                least = KEPT_OFF * (high - low)
                place = min(max(x[at] + off, low + least), high - least)
                if abs(place - x[at]) < least:  # on the longer side of it
                    longer = high - x[at] > x[at] - low
                    place = x[at] + (least if longer else -least)
        try:
            found = pressure(place)
        except SolveError:
            break
        into = int(np.searchsorted(x, place))
        x.insert(into, place)
        y.insert(into, found)
    at = int(np.argmax(y))
    return x[at], y[at]


def _level(system: System, base: Any, before: Step, after: Step, plan: Plan) -> float:
    """Highest pressure of steps from base, by false position on dp at their ends.

    before, after : the steps that led to base and went on from there; dp changes its sign.
    """
    change = (after.state.x - base.x).ravel()
    high = float(np.linalg.norm(change))
    way, low = change / high, 0.0
    rise, fall = before.slope[1], after.slope[1]
    top = max(base.pressure, after.state.pressure)
    scales = (plan.volume_scale, plan.pressure_scale)
    for _ in range(BISECTIONS):
        # kept off the ends so that the bracket shrinks
        length = low + (high - low) * min(max(rise / (rise - fall), 0.05), 0.95)
        try:
            step = take_turn(system, base, way, length, scales, plan.newton)
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


def _highest(system: System, around: list[Any], plan: Plan) -> float | None:
    """Highest pressure between the first and the last of three states of a path; None if it is not
    found.

    The tangent of a settled system leaves something out, so that it does not turn just there.
    """
    first, middle, last = (state.x.ravel() for state in around)
    change = last - first
    length = float(np.linalg.norm(change))
    scales = (plan.volume_scale, plan.pressure_scale)

    def pressure(share: float) -> float:
        step = take_turn(system, around[0], change / length, share * length, scales, plan.newton)
        return float(step.state.pressure)

    x = [0.0, float((middle - first) @ change) / length**2, 1.0]
    if not 0.05 < x[1] < 0.95:
        x[1] = 0.5
    try:
        y = [pressure(place) for place in x]
    except SolveError:
        return None
    place, top = highest(pressure, x, y, EXACT)
    return top if 0.0 < place < 1.0 else None


def pivot_turn(system: System, states: list[Any], steps: list[Step], plan: Plan) -> Limit:
    """Where a pivot turns negative while the pressure still rises, by halving the step."""
    base, before = states[-2], steps[-2]
    low, high = base.pressure, states[-1].pressure
    share_low, share_high = 0.0, 1.0
    place = sum(step.direction.step for step in steps[1:-1])
    for _ in range(BISECTIONS):
        if high - low <= plan.located * abs(high):
            break
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
    return Limit(0.5 * (low + high), len(states) - 2, "bifurcation", place)
