"""The limit of a path of short steps, from a few ramps of chosen steps.

The error of a step is of first order in its length and rests on where the steps fall.  So a first
ramp of even steps finds how long the path to the limit is; further ramps lay steps along it such
that the limit always falls at the same place among them.  What is left of the error goes with the
length of the steps, and two ramps of different steps remove it (Richardson 1911).

A path that no metal's history rests on (elastic) needs one ramp: its limit is located by shorter
steps.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from domemargin.fea.core.path import Newton, System
from domemargin.fea.core.ramp import Plan, Ramp, ramp

# a dip that heals before the pressure has fallen by this share is no reversal
RIPPLE = 0.1
# beyond yield the tangent of a step is often indefinite for a while on a path that goes on rising:
# hinges open and close.  It counts as a second path once the pressure has risen by this share
STRAY = 0.05
# the ramp that looks for the limit, the second and third if the one before did not get there
SEEK_STEPS = (0.2, 0.08, 0.03, 3e-3, 3e-4)
GUESSED = 0.01
SOUGHT = 3  # of these steps to begin with, where the path that was laid out is lost
SHORT = 0.03  # of these: a path that does not converge is not looked at with still shorter ones
LEAST_SOUGHT = 3.0  # steps to a limit; nearer, it is looked for with shorter ones
SEEK_NEWTON = Newton(tolerance=1e-3)
# steps of the first ramp that counts, at resolution 0.002; each further ramp halves them, as the
# first does where they are longer than LONGEST.  The limit falls a fifth of a step beyond a step's
# end: never on it.  Counts do not follow the path's length: a count that changes by one moves the
# answer by 1e-5
STEPS, LONGEST, RAMPS = 24, 0.3, 6
MOST = 2000  # steps of a ramp; a path that takes more is given up as not resolved
BEYOND = 0.2
GRADE = 0.6  # steps are from 1 + GRADE of the mean, at the start, to 1 - GRADE, at the limit
NEWTON, FINDING = Newton(tolerance=1e-5, iterations=40), Newton(tolerance=1e-4, iterations=40)
# when two ramps are enough: no step was shortened, the path bends gently at its limit, their
# correction is at most FIRST of the resolution, and a step took few iterations (of those that take
# many, some end in another equilibrium).  Over BLEND of these, either way, the answer of two ramps
# goes over to that of four
FIRST, REGULAR, BLEND = 0.5, 3.7, (0.25, 0.05)
# else at least so many halvings, until two corrected limits differ by at most AGREED of the
# resolution and the correction is at most WHOLE of it; or twice AGREED and ENOUGH
HALVINGS, AGREED, WHOLE, ENOUGH = 3, 0.3, 1.0, 0.5
HEALED = 1e-4  # of the limit, in a step: what counts as a pressure that rises again after it
RIVAL = 0.01  # another top within this share: which is higher may rest on the length of the steps
# how far, as a share of the path, a limit may lie off the place its ramp was laid out for
ALIGNED, ALIGNMENTS = 0.05, 3
CEILING_STEP = 0.08  # of a path that ends at the ceiling, at resolution 0.002
# of an elastic path
EXACT, EXACT_NEWTON = 1e-7, Newton(tolerance=1e-7, iterations=25)


@dataclass(frozen=True)
class Found:
    """A path and its limit.

    path : the finest.  correction : what takes its limit to that of short steps, MPa; None where
    there is no limit.  plan : of the finest ramp.  iterations : tangents factored, of all ramps.
    unresolved : why the limit is not known to the resolution, in one sentence; "" where it is.
    """

    path: Ramp
    correction: float | None
    plan: Plan
    iterations: int
    unresolved: str = ""


def graded(number: float, length: float) -> tuple[float, ...]:
    """Lengths of steps such that a limit `length` away is reached after `number` of them.

    The one that passes it is as short as the one before, those that follow are long again.
    """
    k = np.arange(int(number) + 1) / number
    lengths = length * np.diff((1.0 + GRADE) * k - GRADE * k * k)
    return (*lengths.tolist(), float(lengths[-1]), float(lengths[-1]), 1.5 * length / number)


def seek(system: System, start: Any, plan: Plan, first: int = 0) -> Found:
    """A rough path to the limit of a body that yields, for `approach`; not to be quoted.

    first : of SEEK_STEPS.
    """
    iterations, most = 0, plan.most_steps
    for step in SEEK_STEPS[first:]:
        rough = replace(
            plan,
            step=step,
            newton=SEEK_NEWTON,
            ripple=RIPPLE,
            stray=STRAY,
            history=True,
            most_steps=min(round(most * SEEK_STEPS[0] / step), MOST),
        )
        path = ramp(system, start, rough)
        iterations += path.iterations
        near = path.limit is not None and path.limit.place < LEAST_SOUGHT * step
        found = path.ending in ("limit", "ceiling") and not near and not _guessed(path)
        if found or (step <= SHORT and not near):
            break
    return Found(path, None, rough, iterations)


def approach(
    system: System,
    start: Any,
    plan: Plan,
    length: float,
    resolution: float,
    go_on: Callable[[Ramp], bool] | None = None,
) -> Found:
    """The path of a body that yields and its limit, in the limit of short steps.

    length : of the path to its limit, as `seek` or `measure` found it.  go_on : as in ramp, of a
    ramp that may be the finest.
    """
    iterations, steps = 0, round(STEPS * (0.002 / resolution) ** 0.5)
    while length > LONGEST * steps * (resolution / 0.002) ** 0.5 and 4 * steps <= MOST:
        steps *= 2
    ramps: list[tuple[Ramp, float]] = []  # with their numbers of steps
    limits: list[float] = []  # in the limit of short steps
    two = 0.0
    for stage in range(RAMPS):
        number = steps * 2**stage + BEYOND
        if stage > 1 and number > MOST:
            break
        # the second ramp may stop soon after the limit that the first saw through, if the pressure
        # fell from there on; those that follow belong to a path that may have more than one
        once = stage == 1 and not _heals(ramps[0][0])
        laid = replace(plan, known=0.98 * length if once else math.inf)
        path, laid, spent = _aligned(system, start, laid, number, length, go_on if stage else None)
        iterations += spent
        if path.limit is None:
            return Found(path, None, laid, iterations)
        length = path.limit.place
        ramps.append((path, number))
        if stage == 0:
            continue
        limits.append(_short(ramps[-2], ramps[-1]))
        if stage == 1:
            two = (
                0.0
                if _has_rival(path)
                else _two_are_enough(ramps[0][0], path, limits[0], resolution)
            )
        if two == 1.0 or (stage >= HALVINGS and _agree(path, limits, resolution)):
            exact = limits[-1]
            if two > 0.0 and abs(limits[0] - exact) <= resolution * exact:
                exact += two * (limits[0] - exact)
            return Found(path, exact - path.limit.pressure, laid, iterations)
    (before, _), (path, _) = ramps[-2:]
    assert before.limit is not None
    assert path.limit is not None
    count = len(path.states) - 1
    moved = abs(path.limit.pressure / before.limit.pressure - 1.0)
    why = f"halving its {count} steps moved it by {moved:.2%}"
    return Found(path, 0.0, laid, iterations, why)


def _short(coarse: tuple[Ramp, float], fine: tuple[Ramp, float]) -> float:
    """Pressure of the limit in the limit of short steps; nan if the two are not of one kind."""
    (one, few), (other, many) = coarse, fine
    assert one.limit is not None
    assert other.limit is not None
    if one.limit.kind != other.limit.kind:
        return math.nan
    change = other.limit.pressure - one.limit.pressure
    return other.limit.pressure + change * few / (many - few)


def _two_are_enough(first: Ramp, second: Ramp, short: float, resolution: float) -> float:
    """From 1, the limit `short` by two ramps will do, to 0, it will not."""
    if not (first.even and second.even) or math.isnan(short):
        return 0.0
    assert first.limit is not None
    assert second.limit is not None
    led = second.steps[: second.limit.before]
    effort = sum(step.iterations for step in led) / max(len(led), 1)
    size = abs(short / second.limit.pressure - 1.0) / resolution
    gentle = 1.0 - max(first.limit.corner, second.limit.corner)
    return (
        gentle * _fading(size / FIRST - 1.0, BLEND[0]) * _fading(effort / REGULAR - 1.0, BLEND[1])
    )


def _agree(path: Ramp, limits: list[float], resolution: float) -> bool:
    """Whether the last two of `limits`, in the limit of short steps, are one answer.

    path : the finest.  Where steps had to be shortened their error is not in proportion to the
    step, but two corrected limits that agree are right all the same.
    """
    assert path.limit is not None
    allowed = resolution * path.limit.pressure
    apart, correction = abs(limits[-1] - limits[-2]), abs(limits[-1] - path.limit.pressure)
    return bool(
        (apart <= AGREED * allowed and correction <= WHOLE * allowed)
        or (apart <= 2.0 * AGREED * allowed and correction <= ENOUGH * allowed)
    )


def _fading(x: float, width: float) -> float:
    """From 1 at -width to 0 at +width, smoothly."""
    y = min(max(0.5 - 0.5 * x / width, 0.0), 1.0)
    return y * y * (3.0 - 2.0 * y)


def find_limit(
    system: System,
    start: Any,
    plan: Plan,
    resolution: float,
    elastic: bool = False,
    go_on: Callable[[Ramp], bool] | None = None,
    scout: System | None = None,
    settled: System | None = None,
) -> Found:
    """The path from `start` and its limit, by `seek` and `approach` or, elastic, by one ramp.

    plan : scales, ceiling and bounds; the step of an elastic path.
    settled : as in ramp, of an elastic body.
    scout : the same body with a cheaper mesh or fewer layers, unloaded at its `start()`; finds how
    long the path is.
    """
    if elastic:
        laid = replace(plan, located=EXACT, newton=EXACT_NEWTON)
        path = ramp(system, start, laid, go_on, settled)
        return Found(path, None if path.limit is None else 0.0, laid, path.iterations)
    iterations, length = 0, None
    if scout is not None:
        length, iterations = measure(scout, scout.start(), plan)  # type: ignore[attr-defined]
        if length is not None:
            found = approach(system, start, plan, length, resolution, go_on)
            iterations += found.iterations
            if found.path.limit is not None:
                return replace(found, iterations=iterations)
    for first in range(SOUGHT):
        sought = seek(system, start, plan, first)
        if sought.path.ending == "ceiling":
            # growth is read off this path: it takes the steps that a path to a limit would
            even = CEILING_STEP * (resolution / 0.002) ** 0.5
            laid = replace(sought.plan, step=even, newton=NEWTON, most_steps=MOST)
            path = ramp(system, start, laid, go_on)
            sought = Found(path, None, laid, sought.iterations + path.iterations)
        found = sought
        if sought.path.limit is not None:
            length = sought.path.limit.place
            if length <= 0.0:
                why = "it lies within the shortest step that was tried"
                return replace(sought, correction=0.0, unresolved=why)
            found = approach(system, start, plan, length, resolution, go_on)
        iterations += found.iterations
        # a path that was lost on the way may have been laid out by too rough a one
        if found.path.limit is not None or found.path.ending == "ceiling":
            break
    return replace(found, iterations=iterations)


def measure(system: System, start: Any, plan: Plan) -> tuple[float | None, int]:
    """Length of the path to the limit, None if it was not found, and the iterations spent.

    That of `seek` rests on where its steps fall, by 2e-3 over a percent of an input; a ramp laid
    out by it brings 2e-4.
    """
    sought = seek(system, start, plan)
    limit = sought.path.limit
    if limit is None or limit.place <= 0.0:
        return None, sought.iterations
    laid = replace(plan, known=0.98 * limit.place)
    path, _, spent = _aligned(system, start, laid, STEPS + BEYOND, limit.place, None, FINDING)
    spent += sought.iterations
    return (None if path.limit is None else path.limit.place), spent


def glance(system: System, start: Any, plan: Plan, length: float) -> Found:
    """One ramp of STEPS steps and what it finds, without a correction: to look at, not to quote.

    length : of the path to its limit, about, as `seek` found it here or on a body close by.
    """
    laid = replace(plan, known=0.98 * length)
    path, laid, spent = _aligned(system, start, laid, STEPS + BEYOND, length, None, FINDING)
    return Found(path, None if path.limit is None else 0.0, laid, spent)


def _guessed(path: Ramp) -> bool:
    """Whether the limit of a path lies well above all its states: its steps are too long."""
    if path.limit is None:
        return False
    highest = max(state.pressure for state in path.states)
    return bool(path.limit.pressure > (1.0 + GUESSED) * highest)


def _heals(path: Ramp) -> bool:
    """Whether the pressure rises again after the limit, though not to it: with shorter steps it may
    rise beyond."""
    assert path.limit is not None
    pressure = np.array([state.pressure for state in path.states[path.limit.before + 1 :]])
    return bool(np.any(np.diff(pressure) > HEALED * path.limit.pressure))


def _has_rival(path: Ramp) -> bool:
    """Whether the path has another top nearly as high as its limit: which is higher may rest on
    the length of the steps."""
    assert path.limit is not None
    pressure = np.array([state.pressure for state in path.states])
    inner = pressure[1:-1]
    tops = inner[(inner > pressure[:-2]) & (inner >= pressure[2:])]
    return bool(np.count_nonzero(tops > (1.0 - RIVAL) * path.limit.pressure) > 1)


def _aligned(
    system: System,
    start: Any,
    plan: Plan,
    number: float,
    length: float,
    go_on: Callable[[Ramp], bool] | None,
    newton: Newton = NEWTON,
) -> tuple[Ramp, Plan, int]:
    """A ramp of `number` steps to its own limit, its plan, and the iterations spent."""
    iterations = 0
    for _ in range(ALIGNMENTS):
        laid = replace(_laid(plan, number, length), newton=newton)
        path = ramp(system, start, laid, go_on)
        iterations += path.iterations
        if path.limit is None or abs(path.limit.place / length - 1.0) <= ALIGNED:
            break
        length = path.limit.place
    return path, laid, iterations


def _laid(plan: Plan, number: float, length: float) -> Plan:
    """A plan of `number` graded steps to a limit `length` away."""
    return replace(
        plan,
        step=length / number,
        lengths=graded(number, length),
        most_steps=2 * round(number) + plan.most_steps,
        ripple=RIPPLE,
        stray=STRAY,
        history=True,
    )
