"""How a machine's depth moves over its record: levels between changes, and a trend.

Logged changes of tool or die are taken as known breaks; breaks that no log shows are searched for
by penalised least squares on means of blocks of readings (optimal partitioning by dynamic
programming: Jackson et al., IEEE Signal Processing Letters 12, 2005).  The penalty counts in
long-run variance of the blocks, so that correlated readings do not appear as steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.tails import normal_above

STEADY, TREND, STEP = "steady", "trend", "step"
CLEAR = 4.0  # standard errors of a step or a trend that is reported
_BLOCKS, _SMALLEST, _FEWEST = 64, 2, 6  # blocks, readings in one, blocks to judge by
_MOST_LOGGED = 40  # changes in the log that are taken as breaks
_MOST = 6  # steps that no log shows
LEAD = 6.0  # by which a trend must describe the readings better than steps alone
_APART = 3  # readings between two logged changes that count as two
_TREND_COST = 8.0  # beside 2 log(blocks) + 8 of a step: a step has its time to choose as well
_CLIP = 4.0  # robust standard deviations from the running median, for the search only
# a trend is a line or what relaxes with a time constant of this share of the record
_FORMS = (0.0, 0.5, 0.2)


@dataclass(frozen=True)
class Step:
    """A change of level: day of the first reading after it, size and its standard error (mm),
    whether a change was logged there."""

    day: float
    size: float
    error: float
    logged: bool

    @property
    def clear(self) -> bool:
        """Whether the readings show it clearly."""
        return abs(self.size) > CLEAR * self.error


@dataclass(frozen=True)
class Shape:
    """How depth moves over a record.

    trend, trend_error : change over the record and its standard error, mm; 0 where there is none.
    lead : by how much a trend describes the readings better than steps alone (penalised sum of
    squares over the variance); 0 without a trend.
    steps : changes of level.  fitted : (n,) the shape at each reading, mm, about any level.
    parameters : fitted numbers, the level among them.  level_error : of the level now, mm.
    part : (n,) number of the stretch between two changes that a reading lies in.
    """

    trend: float
    trend_error: float
    lead: float
    steps: tuple[Step, ...]
    fitted: Floats
    parameters: int
    level_error: float
    part: Ints

    @property
    def last(self) -> Step | None:
        """The clear step that is reported: the largest of the clear ones."""
        clear = [step for step in self.steps if step.clear]
        return max(clear, key=lambda step: abs(step.size)) if clear else None

    @property
    def kind(self) -> str:
        """TREND, STEP or STEADY, whatever its size."""
        if self.trend:
            return TREND
        return STEP if self.last else STEADY

    @property
    def change(self) -> float:
        """Change by the trend over the record, else by the step, mm."""
        return self.trend or (self.last.size if self.last else 0.0)

    @property
    def chance(self) -> float:
        """Probability of so clear a change if nothing moved."""
        if self.trend:
            error = self.trend_error
        elif self.last:
            error = self.last.error
        else:
            return 1.0
        return min(1.0, float(2.0 * normal_above(abs(self.change) / error)))

    @property
    def at_day(self) -> float | None:
        """Day of the step."""
        return self.last.day if self.kind == STEP and self.last else None


def logged_breaks(day: Floats, changes: Sequence[float]) -> Ints:
    """Index of the first reading after each logged change, those close together taken as one."""
    at = np.unique(np.searchsorted(day, np.asarray(changes, dtype=float)))
    kept: list[int] = []
    for index in at[(at > 0) & (at < day.size)]:
        if index - (kept[-1] if kept else 0) >= _APART and day.size - index >= _APART:
            kept.append(int(index))
    return np.array(kept, dtype=np.int64)


def shape_of(day: Floats, rest: Floats, noise: float, changes: Sequence[float] = ()) -> Shape:
    """The shape of one machine's readings in order of time, lots and operators taken off.

    day, rest : (n,) days and mm.  noise : explained standard deviation of a reading, mm; the
    search takes no less.  changes : days of logged changes of tool or die.
    """
    n = day.size
    logged = known = logged_breaks(day, changes)
    if known.size > _MOST_LOGGED:  # what happens as often is no change of level by itself
        known = known[:0]
    span = float(day[-1] - day[0]) if n else 0.0
    edges = _edges(n, known)
    if edges.size - 1 < _FEWEST or span <= 0.0:
        return _levels_only(day, rest, noise, known, logged)
    smooth = _clipped(rest)
    count = np.diff(edges).astype(float)
    y = np.add.reduceat(smooth, edges[:-1]) / count
    x = (np.add.reduceat(day, edges[:-1]) / count - day[0]) / span
    fixed = np.searchsorted(edges, known)
    floor = 0.5 * noise**2
    plain = _fit(y, count, fixed, None, floor)
    best, lead = plain, LEAD
    for form in _FORMS:
        fit = _fit(y, count, fixed, _along(x, form), floor)
        # compared in the variance of the better of the two, without which both may look poor
        scale = min(plain.variance, fit.variance)
        gain = plain.score(scale) - fit.score(scale)
        if gain > lead and abs(fit.slope) > CLEAR * fit.slope_error:
            best, lead, chosen = fit, gain, form
    trend = best.slope if best is not plain else 0.0
    along = trend * _along((day - day[0]) / span, chosen) if trend else np.zeros(n)
    left = rest - along
    found = [b for b in best.breaks if b not in fixed]
    at = np.union1d(known, [_placed(smooth - along, edges, b) for b in found]).astype(np.int64)
    return _shape(day, left, along, at, known, logged, trend, best, lead, noise)


def _shape(
    day: Floats, left: Floats, along: Floats, at: Ints, known: Ints, logged: Ints, trend: float,
    fit: _Fit, lead: float, noise: float,
) -> Shape:  # fmt: skip
    n = day.size
    ends = np.concatenate(([0], at, [n]))
    size = np.diff(ends)
    smooth = _clipped(left, ends)
    level = np.add.reduceat(smooth, ends[:-1]) / size
    near = max(_SMALLEST, -(-n // _BLOCKS))
    error = np.sqrt(max(fit.variance, 0.5 * noise**2) / size)
    steps = tuple(
        Step(float(day[i]), float(level[k + 1] - level[k]),
             math.hypot(error[k], error[k + 1]), _near(int(i), logged, 0 if known.size else near))
        for k, i in enumerate(at)
    )  # fmt: skip
    slope_error = fit.slope_error if trend else 0.0
    return Shape(
        trend, slope_error, lead if trend else 0.0, steps,
        np.repeat(level, size) + along, 1 + 2 * at.size - known.size + (1 if trend else 0),
        math.hypot(float(error[-1]), 0.5 * slope_error), np.repeat(np.arange(size.size), size),
    )  # fmt: skip


def _near(index: int, logged: Ints, reach: int) -> bool:
    return bool(logged.size) and int(np.abs(logged - index).min()) <= reach


def _levels_only(day: Floats, rest: Floats, noise: float, known: Ints, logged: Ints) -> Shape:
    """Levels between logged changes, of too few readings for a search."""
    spread = float(np.std(rest, ddof=1)) if rest.size > 1 else noise
    fit = _Fit(0.0, max(spread, noise) ** 2, known, 0.0, 0.0, 0.0)
    return _shape(day, rest, np.zeros(day.size), known, known, logged, 0.0, fit, 0.0, noise)


def _edges(n: int, known: Ints) -> Ints:
    """Ends of blocks of readings, none across a logged change."""
    size = max(_SMALLEST, -(-n // _BLOCKS))
    ends = np.concatenate(([0], known, [n]))
    parts = [
        np.linspace(a, b, max(1, (b - a) // size) + 1).astype(np.int64)[:-1]
        for a, b in pairwise(ends)
    ]
    return np.append(np.concatenate(parts), n)


def _clipped(rest: Floats, ends: Ints | None = None) -> Floats:
    """Readings, those far from the median of their neighbours or of their stretch moved to a limit,
    so that a heavy tail does not appear as a level."""
    middle: Floats
    if ends is None:
        from scipy.ndimage import median_filter

        middle = median_filter(rest, size=min(11, rest.size), mode="nearest")
    else:
        middle = np.concatenate([np.full(b - a, np.median(rest[a:b])) for a, b in pairwise(ends)])
    off = rest - middle
    reach = _CLIP * max(1.4826 * float(np.median(np.abs(off))), 5e-4)
    return middle + np.clip(off, -reach, reach)


def _along(x: Floats, form: float) -> Floats:
    """A trend over the record from 0 to 1, x : share of the record."""
    return x if form == 0.0 else (1.0 - np.exp(-x / form)) / (1.0 - math.exp(-1.0 / form))


@dataclass(frozen=True)
class _Fit:
    """Levels and slope: sum of squares left, long-run variance of one reading, blocks at which
    levels change, penalty, slope (mm over the record) with its standard error."""

    left: float
    variance: float
    breaks: Ints
    penalty: float
    slope: float
    slope_error: float

    def score(self, variance: float) -> float:
        return self.left / variance + self.penalty


def _fit(y: Floats, count: Floats, fixed: Ints, along: Floats | None, floor: float) -> _Fit:
    """Levels between breaks, and a slope on `along` if it is given; y : (blocks,) means."""
    if along is None:
        return _breaks(y, count, fixed, floor)
    slope, _ = _slope(y, count, fixed, along)
    for _ in range(3):
        fit = _breaks(y - slope * along, count, fixed, floor)
        before = slope
        slope, weight = _slope(y, count, fit.breaks, along)
        if abs(slope - before) < 1e-4:
            break
    base = y - slope * along
    left = base - _means(base, count, fit.breaks)
    return _Fit(
        float(count @ left**2), fit.variance, fit.breaks, fit.penalty + _TREND_COST, slope,
        math.sqrt(fit.variance / max(weight, 1e-12)),
    )  # fmt: skip


def _slope(y: Floats, count: Floats, breaks: Ints, along: Floats) -> tuple[float, float]:
    """Slope beside levels between breaks, and the weight its error goes by."""
    g = along - _means(along, count, breaks)
    weight = float(count @ g**2)
    return float(count @ (g * y)) / max(weight, 1e-12), weight


def _means(y: Floats, count: Floats, breaks: Ints) -> Floats:
    starts = np.concatenate(([0], breaks)).astype(np.int64)
    size = np.diff(np.append(starts, y.size))
    return np.repeat(np.add.reduceat(count * y, starts) / np.add.reduceat(count, starts), size)


def _breaks(y: Floats, count: Floats, fixed: Ints, floor: float) -> _Fit:
    """The best breaks beside the fixed ones, at most _MOST, by the penalised sum of squares."""
    blocks = y.size
    cost = _costs(y, count, fixed)
    most = min(_MOST, (blocks - 2) // 3)
    total = fixed.size + 1 + most
    best = np.full((total, blocks + 1), np.inf)
    back = np.zeros((total, blocks + 1), dtype=np.int64)
    best[0] = cost[0]
    for k in range(1, total):
        whole = best[k - 1][:, None] + cost
        back[k] = np.argmin(whole, axis=0)
        best[k] = whole[back[k], np.arange(blocks + 1)]
    penalty = 2.0 * math.log(blocks) + 8.0
    fits = []
    for more in range(most + 1):
        k, end, breaks = fixed.size + more, blocks, []
        if not np.isfinite(best[k][blocks]):
            break
        while k > 0:
            end = int(back[k][end])
            breaks.append(end)
            k -= 1
        at = np.array(sorted(breaks), dtype=np.int64)
        left = float(best[fixed.size + more][blocks])
        variance = max(_long_run(y - _means(y, count, at), count, at.size + 1 + more), floor)
        fits.append(_Fit(left, variance, at, penalty * more, 0.0, 0.0))
    now = fits[-1]
    for _ in range(len(fits)):
        chosen = min(fits, key=lambda fit: fit.score(now.variance))
        if chosen is now:
            break
        now = chosen
    return now


def _costs(y: Floats, count: Floats, fixed: Ints) -> Floats:
    """cost[i, j] : weighted squares of blocks i to j - 1 about their mean; inf if a fixed break
    lies between, or fewer than two blocks lie between breaks that are free."""
    n = y.size
    w, s, q = (np.concatenate(([0.0], np.cumsum(count * y**p))) for p in (0, 1, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = w[None, :] - w[:, None]
        cost = (q[None, :] - q[:, None]) - (s[None, :] - s[:, None]) ** 2 / weight
    i, j = np.arange(n + 1)[:, None], np.arange(n + 1)[None, :]
    forced = np.isin(np.arange(n + 1), np.concatenate(([0], fixed, [n])))
    short = (j - i < 2) & ~(forced[:, None] & forced[None, :])
    cost = np.where((j <= i) | short, np.inf, np.maximum(cost, 0.0))
    for b in fixed:
        cost[:b, b + 1 :] = np.inf
    return cost


def _long_run(left: Floats, count: Floats, parameters: int) -> float:
    """Variance of one reading such that a mean of many has it over their number; from residuals
    of blocks that may follow each other (first-order autoregression)."""
    n = left.size
    square = float(count @ left**2) / max(n - parameters, 1)
    whole = float(left @ left)
    if whole <= 0.0:
        return square
    # residuals about fitted levels look less alike than they are
    alike = float(left[1:] @ left[:-1]) / whole + (parameters + 1.0) / n
    alike = min(max(alike, 0.0), 0.8)
    return square * (1.0 + alike) / (1.0 - alike)


def _placed(rest: Floats, edges: Ints, block: int) -> int:
    """Index of the first reading after a change near the start of a block."""
    low, high = int(edges[block - 1]) + 1, int(edges[min(block + 1, edges.size - 1)])
    before = float(np.mean(rest[edges[max(block - 4, 0)] : edges[block]]))
    after = float(np.mean(rest[edges[block] : edges[min(block + 4, edges.size - 1)]]))
    side = 1.0 if after > before else -1.0
    walk = np.cumsum((rest[low - 1 : high] - 0.5 * (before + after)) * side)
    return low + int(np.argmin(walk[:-1])) if walk.size > 1 else low
