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
# mean step of the first ramp that counts, at resolution 0.002, and its least number of steps; each
# further ramp halves the step.  The limit falls a fifth of a step beyond a step's end: never on it
STEP, FEWEST, RAMPS = 0.15, 20, 5
MOST = 2000  # steps of a ramp; a path that takes more is given up as not resolved
BEYOND = 0.2
GRADE = 0.6  # steps are from 1 + GRADE of the mean, at the start, to 1 - GRADE, at the limit
NEWTON = Newton(tolerance=1e-5, iterations=40)
# correction of two even ramps, and difference of two corrected limits, over the resolution, up to
# which they are enough: a long step may end in another equilibrium, whose error is of no order
ENOUGH = 0.5
RIVAL, RIVAL_STAGE = 0.01, 3  # another top within this share: at least this many halvings
# how far, as a share of the path, a limit may lie off the place its ramp was laid out for
ALIGNED, ALIGNMENTS = 0.05, 3
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
    sought: Found,
    resolution: float,
    go_on: Callable[[Ramp], bool] | None = None,
) -> Found:
    """The path of a body that yields and its limit, in the limit of short steps.

    sought : by `seek`, with a limit.  go_on : as in ramp, of a ramp
    that may be the finest.
    """
    assert sought.path.limit is not None
    length, iterations = sought.path.limit.place, sought.iterations
    if length <= 0.0:
        why = "it lies within the shortest step that was tried"
        return Found(sought.path, 0.0, sought.plan, iterations, why)
    steps = round(max(length / STEP, FEWEST) * (0.002 / resolution) ** 0.5)
    limits: list[tuple[float, str, bool]] = []  # pressure, kind, whether its steps were even
    extrapolated: list[float] = []
    for stage in range(RAMPS):
        if stage > 1 and steps * 2**stage > MOST:
            break
        number = steps * 2**stage + BEYOND
        # the second ramp may stop soon after the limit that the first saw through; those that
        # follow belong to a path that may have more than one
        known = length if stage == 1 else math.inf
        laid = replace(plan, known=0.98 * known)
        path, laid, spent = _aligned(system, start, laid, number, length, go_on if stage else None)
        iterations += spent
        if path.limit is None:
            return Found(path, None, laid, iterations)
        length = path.limit.place
        limits.append((path.limit.pressure, path.limit.kind, path.even))
        if stage == 0:
            continue
        (before, kind, even), (limit, kind_now, even_now) = limits[-2:]
        previous = steps * 2 ** (stage - 1)
        correction = (limit - before) * (previous + BEYOND) / (number - BEYOND - previous)
        if kind != kind_now:
            extrapolated.append(math.nan)
            continue
        extrapolated.append(limit + correction)
        small = abs(correction) <= ENOUGH * resolution * limit
        # where steps had to be shortened their error is not in proportion to the step, but two
        # corrected limits that agree are right all the same
        agree = len(extrapolated) > 1 and (
            abs(extrapolated[-1] - extrapolated[-2]) <= ENOUGH * resolution * limit
        )
        settled = (even and even_now and small) or agree
        if settled and (stage >= RIVAL_STAGE or not _has_rival(path)):
            return Found(path, correction, laid, iterations)
    (before, *_), (limit, *_) = limits[-2:]
    count = len(path.states) - 1
    why = f"halving its {count} steps moved it by {abs(limit / before - 1.0):.2%}"
    return Found(path, 0.0, laid, iterations, why)


def find_limit(
    system: System,
    start: Any,
    plan: Plan,
    resolution: float,
    elastic: bool = False,
    go_on: Callable[[Ramp], bool] | None = None,
) -> Found:
    """The path from `start` and its limit, by `seek` and `approach` or, elastic, by one ramp.

    plan : scales, ceiling and bounds; the step of an elastic path.
    """
    if elastic:
        laid = replace(plan, located=EXACT, newton=EXACT_NEWTON)
        path = ramp(system, start, laid, go_on)
        return Found(path, None if path.limit is None else 0.0, laid, path.iterations)
    iterations = 0
    for first in range(SOUGHT):
        sought = seek(system, start, plan, first)
        if sought.path.ending == "ceiling":
            # growth is read off this path: it takes the steps that a path to a limit would
            even = 0.5 * STEP * (resolution / 0.002) ** 0.5
            laid = replace(sought.plan, step=even, newton=NEWTON, most_steps=MOST)
            path = ramp(system, start, laid, go_on)
            sought = Found(path, None, laid, sought.iterations + path.iterations)
        found = sought
        if sought.path.limit is not None:
            found = approach(system, start, plan, sought, resolution, go_on)
        iterations += found.iterations
        # a path that was lost on the way may have been laid out by too rough a one
        if found.path.limit is not None or found.path.ending == "ceiling":
            break
    return replace(found, iterations=iterations)


def _guessed(path: Ramp) -> bool:
    """Whether the limit of a path lies well above all its states: its steps are too long."""
    if path.limit is None:
        return False
    highest = max(state.pressure for state in path.states)
    return bool(path.limit.pressure > (1.0 + GUESSED) * highest)


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
) -> tuple[Ramp, Plan, int]:
    """A ramp of `number` steps to its own limit, its plan, and the iterations spent."""
    iterations = 0
    for _ in range(ALIGNMENTS):
        laid = _laid(plan, number, length)
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
        newton=NEWTON,
    )
