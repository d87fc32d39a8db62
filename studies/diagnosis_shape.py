"""How a machine's depth moves over its record: steady, a trend, or a step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from studies.readings import Floats

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
    return min(found, key=lambda one: one[0])[1] if found else steady


def _forms() -> list[Callable[[Floats], Floats]]:
    return [lambda x: x, *((lambda x, t=t: 1.0 - np.exp(-x / t)) for t in _RELAXING)]


def _fit(y: Floats, f: Floats) -> tuple[float, float]:
    """Sum of squares left by level and slope on f, and the slope."""
    g = f - f.mean()
    slope = float(g @ y / (g @ g))
    left = y - y.mean() - slope * g
    return float(left @ left), slope


def _chance(square: float, freedom: int, looks: int) -> float:
    return min(1.0, looks * float(stats.f.sf(square, 1, freedom)))


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
