"""How a machine's depth moves over its record: steady, a trend, or a step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from domemargin.studies.margin.tails import f_above
from domemargin.studies.readings.readings import Floats

STEADY, TREND, STEP = "steady", "trend", "step"
CHANCE = 5e-4  # of calling a steady machine moving, before the change must also be worth it
_BLOCKS, _SMALLEST, _FEWEST = 30, 2, 6  # blocks, readings in one, blocks to judge by
# a trend is a line or what relaxes with a time constant of this share of the record
_RELAXING = (0.5, 0.2)


@dataclass(frozen=True)
class Shape:
    """What was found.

    kind : STEADY, TREND or STEP.  change : over the record or at the step, mm.
    chance : of a change so clear if nothing moved.  at_day : of the step.
    fitted : (n,) the shape at each reading, mm, about any level.
    parameters : fitted numbers, the level among them.
    """

    kind: str
    change: float
    chance: float
    at_day: float | None
    fitted: Floats
    parameters: int


def shape_of(day: Floats, rest: Floats, worth: float, changes: Sequence[float] = ()) -> Shape:
    """The shape of one machine's readings in order of time, sheet lots taken off.

    Where there is a step, each side is looked at for more steps (binary segmentation); the one
    told of is the last.

    day, rest : (n,) days and mm.  worth : the smallest change that matters, mm.
    changes : days of known changes of tool or die; a step there is preferred to a trend.
    """
    n = day.size
    steady = Shape(STEADY, 0.0, 1.0, None, np.zeros(n), 1)
    blocks = min(_BLOCKS, n // _SMALLEST)
    span = float(day[-1] - day[0]) if n else 0.0
    if blocks < _FEWEST or span <= 0.0:
        return steady
    ends = np.linspace(0, n, blocks + 1).astype(int)
    count = np.diff(ends)
    y = np.add.reduceat(rest, ends[:-1]) / count
    x = (np.add.reduceat(day, ends[:-1]) / count - day[0]) / span
    within = rest - np.repeat(y, count)
    floor = float(np.sum(within**2) / max(n - blocks, 1) / np.mean(count))

    trend, slope, form = min(((*_fit(y, f(x)), f) for f in _forms()), key=lambda fit: fit[0])
    steps = [(*_fit(y, (np.arange(blocks) >= k).astype(float)), k) for k in range(2, blocks - 1)]
    step, jump, k = min(steps, key=lambda fit: fit[0])
    whole = float(np.sum((y - y.mean()) ** 2))
    noise = max(min(trend, step) / (blocks - 3), floor)
    forms = len(_RELAXING) + 1
    found = []
    change = slope * float(form(np.ones(1))[0] - form(np.zeros(1))[0])
    chance = _chance((whole - trend) / noise, blocks - 3, forms)
    if chance < CHANCE and abs(change) > worth:
        fitted: Floats = slope * form((day - day[0]) / span)
        found.append((trend, Shape(TREND, change, chance, None, fitted, 3)))
    chance = _chance((whole - step) / noise, blocks - 3, len(steps))
    if chance < CHANCE and abs(jump) > worth:
        at, known = _place(day, rest, ends, k, changes)
        fitted = jump * (np.arange(n) >= at).astype(float)
        # a change that was logged at that time is a reason to see a step
        score = step / 1.5 if known else step
        found.append((score, Shape(STEP, jump, chance, float(day[at]), fitted, 3)))
    logged = _logged(day, rest, changes)
    if logged is not None:
        levels, firsts, many = logged
        means = np.add.reduceat(rest - levels, ends[:-1]) / np.diff(ends)
        left = float(np.sum((means - means.mean()) ** 2))
        freedom = blocks - 1 - many
        jumps = np.diff(levels)[firsts - 1]
        square = (whole - left) / many / max(left / max(freedom, 1), floor)
        chance = float(f_above(square, many, max(freedom, 1)))
        if freedom > 2 and chance < CHANCE and np.abs(jumps).max() > worth:
            last = int(np.flatnonzero(np.abs(jumps) > worth)[-1])
            told = Shape(
                STEP, float(jumps[last]), chance, float(day[firsts[last]]), levels, 1 + many
            )
            if many > 1 and (not found or left < min(score for score, _ in found)):
                return told
    shape = min(found, key=lambda one: one[0])[1] if found else steady
    return _more_steps(shape, day, rest, worth, changes)


def _logged(
    day: Floats, rest: Floats, changes: Sequence[float]
) -> tuple[Floats, np.ndarray, int] | None:
    """Level between changes that were logged: (n,) fitted, the first reading after each, and how
    many there are; None for none, or more than 8."""
    at = np.unique(np.searchsorted(day, np.asarray(changes, dtype=float)))
    at = at[(at >= _SMALLEST) & (at <= day.size - _SMALLEST)]
    if not 0 < at.size <= 8:
        return None
    ends = np.concatenate(([0], at, [day.size]))
    size = np.diff(ends)
    return np.repeat(np.add.reduceat(rest, ends[:-1]) / size, size), at, int(at.size)


def _more_steps(
    shape: Shape, day: Floats, rest: Floats, worth: float, changes: Sequence[float]
) -> Shape:
    """A stepped shape with the steps on either side of the first."""
    if shape.kind != STEP or shape.at_day is None:
        return shape
    at = int(np.searchsorted(day, shape.at_day))
    sides = [
        shape_of(day[part], rest[part], worth, changes) for part in (slice(at), slice(at, None))
    ]
    fitted = shape.fitted.copy()
    last, parameters = shape, shape.parameters
    for part, side in zip((slice(at), slice(at, None)), sides, strict=True):
        if side.kind == STEP:
            fitted[part] = side.fitted + float(np.mean(rest[part] - side.fitted))
            parameters += 2
            last = side if part.start else last
        else:
            fitted[part] = float(np.mean(rest[part]))
    return Shape(STEP, last.change, last.chance, last.at_day, fitted, parameters)


def _forms() -> list[Callable[[Floats], Floats]]:
    return [lambda x: x, *((lambda x, t=t: 1.0 - np.exp(-x / t)) for t in _RELAXING)]


def _fit(y: Floats, f: Floats) -> tuple[float, float]:
    """Sum of squares left by level and slope on f, and the slope."""
    g = f - f.mean()
    slope = float(g @ y / (g @ g))
    left = y - y.mean() - slope * g
    return float(left @ left), slope


def _chance(square: float, freedom: int, looks: int) -> float:
    return min(1.0, looks * float(f_above(square, 1, freedom)))


def _place(
    day: Floats, rest: Floats, ends: np.ndarray, k: int, changes: Sequence[float]
) -> tuple[int, bool]:
    """Index of the first reading after the step near block k; whether a change is known there."""
    low, high = ends[k - 1], ends[min(k + 1, ends.size - 1)]
    for change in changes:
        if day[low] <= change <= day[high - 1]:
            return int(np.searchsorted(day, change)), True
    before = np.mean(rest[ends[max(k - 3, 0)] : low]) if low > ends[max(k - 3, 0)] else rest[0]
    later = ends[min(k + 3, ends.size - 1)]
    after = np.mean(rest[high:later]) if later > high else rest[-1]
    side = np.sign(after - before)
    walk = np.cumsum((rest[low:high] - 0.5 * (before + after)) * side)
    return int(low + np.argmin(np.append(0.0, walk))), False
