"""What ails a machine: verdicts from depth readings and what sheet and setting can explain.

The order of the verdicts is the point: scatter that sheet and setting do not explain is called
before anything else, for deepening the set of a machine with play hides the play, loads the drive
and ends in split bottoms.  "offset", "trend" and "lot" are only called where such scatter has been
excluded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from domemargin.studies.diagnosis.levels import Levels, levels_of, times_for_lots
from domemargin.studies.diagnosis.scatter import Explained
from domemargin.studies.diagnosis.shape import STEADY, STEP, TREND, Shape, shape_of
from domemargin.studies.margin.tails import (
    chi2_above,
    chi2_below,
    chi2_limit,
    chi2_quantile,
    normal_limit,
)
from domemargin.studies.readings.readings import Floats, Readings

IN_CONTROL = "in control"
OFFSET = "offset"
DRIFT = "trend"
LOT = "lot"
SPREAD = "spread not explained"
NOT_ENOUGH = "not enough data"
VERDICTS = (IN_CONTROL, OFFSET, DRIFT, LOT, SPREAD, NOT_ENOUGH)

# scatter is called unexplained beyond this multiple of what is explained (stated scatter is not
# known better), and has to be excluded at twice it before a level is blamed
_SLACK, _EXCLUDED = 1.25, 2.0
_CHANCE_SPREAD = 2e-4  # of calling scatter that is explained
_CHANCE_EXCLUDED = 0.05  # of excluding scatter of twice what is explained
_WORTH = 3.5  # standard deviations of the set: shifts below are how machines are set
_CHANCE_LOT = 5e-4  # of one lot or more standing out where all are as known
_MISREAD, _MISREAD_SHARE = 6.0, 0.01
_TOO_STEADY = (
    "It scatters less than the gauge alone should: a gauge that sticks, or readings written down "
    "without one."
)


@dataclass(frozen=True)
class Finding:
    """Verdict on a machine and the numbers behind it; lengths in mm.

    readings : used.  mean, deviation : level now, and from the target.  deviation_se : of it.
    spread : standard deviation from can to can, lots, operators and shape taken off.
    unexplained, unexplained_low, unexplained_high : of it not explained by sheet, process and
    gauge, with 95 % limits.  spread_chance : of such spread if all were explained.
    shape : how depth moves over the record.  lots : sheet lots that stand out, with levels.
    more : readings still needed, if the verdict is NOT_ENOUGH.
    misreads : lines in the file of readings far off, left out.
    also : what else the numbers say, in sentences.
    """

    machine: str
    line: str
    verdict: str
    readings: int
    mean: float
    deviation: float
    deviation_se: float
    spread: float
    unexplained: float
    unexplained_low: float
    unexplained_high: float
    spread_chance: float
    shape: Shape
    lots: tuple[tuple[str, float], ...] = ()
    more: int = 0
    misreads: tuple[int, ...] = ()
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Diagnosis:
    """Verdicts of all machines.

    target : depth aimed at, mm; target_given : whether it was, or is the middle of the machines.
    worth : shift that matters, mm.  enough : readings a machine must have for a verdict.
    odd_lots : lots whose level is beyond what known scatter of the sheet explains, with the level;
    lots_given : whether lots are, or times stand for them.
    """

    findings: tuple[Finding, ...]
    explained: Explained
    target: float
    target_given: bool
    worth: float
    enough: int
    levels: Levels
    odd_lots: dict[str, float]
    lots_given: bool

    def loose(self, line: str) -> bool:
        """Whether more than half of a line's machines, of three or more, scatter beyond what is
        explained: which is more likely of gauge or sheet than of as many drives."""
        mine = [one.verdict == SPREAD for one in self.findings if one.line == line]
        return len(mine) >= 3 and 2 * sum(mine) > len(mine)


@lru_cache(maxsize=8)
def enough_readings(slack: float = _SLACK, excluded: float = _EXCLUDED) -> int:
    """Readings that show twice the explained scatter nine times in ten, and do not call what is
    explained: chi-square test of a variance (any statistics text)."""
    for freedom in range(4, 10_000):
        limit = slack**2 * chi2_limit(_CHANCE_SPREAD, freedom)
        if limit <= excluded**2 * chi2_quantile(0.1, freedom):
            return freedom + 3
    raise AssertionError("no number of readings is enough")


def diagnose(readings: Readings, explained: Explained, target: float | None = None) -> Diagnosis:
    """A verdict for every machine.

    explained : scatter that is explained (diagnosis_scatter.py).  target : depth aimed at, mm;
    without it the middle of the machines' levels, which cannot show that all are off.
    """
    lots_given = bool(readings.lot.names)
    readings = times_for_lots(readings)
    levels = levels_of(readings)
    machines = readings.machine.used()
    worth = _WORTH * explained.set
    parts = {i: _Part.of(readings, levels, i, worth) for i in machines}
    aim = float(np.median([part.level for part in parts.values()])) if target is None else target
    enough = enough_readings()
    odd = _odd_lots(readings, levels, explained)
    findings = tuple(
        _finding(readings, levels, parts[i], i, explained, aim, worth, enough, odd)
        for i in machines
    )
    named = {readings.lot.names[j]: level for j, level in odd.items()}
    return Diagnosis(
        findings, explained, aim, target is not None, worth, enough, levels, named, lots_given
    )


@dataclass(frozen=True)
class _Part:
    """A machine's readings with the shape found; level: now, mm; clean: rows that are no misread;
    left: what shape and level leave of them."""

    shape: Shape
    level: float
    clean: np.ndarray
    left: Floats
    lots_taken_off: bool

    @staticmethod
    def of(readings: Readings, levels: Levels, machine: int, worth: float) -> _Part:
        rows = readings.rows_of(machine)
        day, rest = readings.day[rows], levels.rest[rows]
        lots = np.unique(readings.lot.codes[rows])
        taken = bool(lots.size) and bool(np.all(lots >= 0)) and bool(np.all(levels.lot_known[lots]))
        changes = [one.day for one in readings.events if one.machine == machine]
        tool = readings.tool.codes[rows]
        changes += [float(at) for at in day[1:][np.diff(tool) != 0]]
        clean = np.ones(day.size, dtype=bool)
        shape = shape_of(day, rest, worth, changes)
        for _ in range(2):
            left = rest - shape.fitted
            centre = np.median(left[clean])
            spread = 1.4826 * np.median(np.abs(left[clean] - centre))
            far = np.abs(left - centre) > _MISREAD * max(spread, 1e-3)
            if not far.any() or far.sum() > max(1, int(_MISREAD_SHARE * day.size)):
                break
            if np.array_equal(clean, ~far):
                break
            clean = ~far
            inner = shape_of(day[clean], rest[clean], worth, changes)
            fitted = np.interp(day, day[clean], inner.fitted)
            shape = Shape(inner.kind, inner.change, inner.chance, inner.at_day, fitted,
                          inner.parameters)  # fmt: skip
        left = (rest - shape.fitted)[clean]
        level = float(left.mean() + shape.fitted[-1])
        return _Part(shape, level, clean, left - left.mean(), taken)


def _finding(
    readings: Readings, levels: Levels, part: _Part, machine: int, explained: Explained,
    target: float, worth: float, enough: int, odd: dict[int, float],
) -> Finding:  # fmt: skip
    rows = readings.rows_of(machine)
    n = int(part.clean.sum())
    freedom = max(n - part.shape.parameters, 1)
    variance = float(part.left @ part.left) / freedom
    lot = 0.0 if part.lots_taken_off else explained.lot
    allowed = explained.seen**2 + lot**2
    spread_chance = float(chi2_above(freedom * variance / (_SLACK**2 * allowed), freedom))
    excluded = float(chi2_below(freedom * variance / (_EXCLUDED**2 * allowed), freedom))
    runs = max(np.unique(readings.lot.codes[rows]).size, 1)
    se = math.sqrt(variance / n + explained.lot**2 * (1.57 if part.lots_taken_off else 1.0) / runs)
    deviation = part.level - target
    reach = _WORTH * math.hypot(explained.set, se)
    mine = {int(code) for code in np.unique(readings.lot.codes[rows])}
    lots = tuple((readings.lot.names[j], level) for j, level in odd.items() if j in mine)

    clear = excluded < _CHANCE_EXCLUDED
    off = abs(deviation) > reach
    more = 0
    if spread_chance < _CHANCE_SPREAD and n >= 5:
        verdict = SPREAD
    elif n < enough and not (clear and (part.shape.kind != STEADY or off)):
        verdict, more = NOT_ENOUGH, enough - n
    elif not clear:
        verdict, more = NOT_ENOUGH, _more_for(variance, allowed, freedom)
    elif part.shape.kind == TREND:
        verdict = DRIFT
    elif part.shape.kind == STEP or off:
        verdict = OFFSET
    elif lots:
        verdict = LOT
    else:
        verdict = IN_CONTROL
    low, high = (
        freedom * variance / chi2_quantile(share, freedom) - allowed for share in (0.975, 0.025)
    )
    return Finding(
        machine=readings.machine.names[machine], line=readings.line_of[machine], verdict=verdict,
        readings=n, mean=part.level, deviation=deviation, deviation_se=se,
        spread=math.sqrt(variance), unexplained=math.sqrt(max(variance - allowed, 0.0)),
        unexplained_low=math.sqrt(max(low, 0.0)), unexplained_high=math.sqrt(max(high, 0.0)),
        spread_chance=spread_chance, shape=part.shape, lots=lots, more=more,
        misreads=tuple(int(line) for line in readings.file_line[rows][~part.clean]),
        also=_also(verdict, deviation, off, part.shape, lots)
        + _by_spring_age(verdict, readings.spring_age[rows], levels.rest[rows])
        + ((_TOO_STEADY,) if n >= enough and variance < (0.5 * explained.reading) ** 2 else ()),
    )  # fmt: skip


def _more_for(variance: float, allowed: float, freedom: int) -> int:
    """Readings still needed until scatter like this is either called or excluded."""
    ratio = variance / allowed
    for n in range(freedom + 1, 5_000):
        called = chi2_above(n * ratio / _SLACK**2, n) < _CHANCE_SPREAD
        cleared = chi2_below(n * ratio / _EXCLUDED**2, n) < _CHANCE_EXCLUDED
        if called or cleared:
            return n - freedom
    return 5_000


def _also(
    verdict: str, deviation: float, off: bool, shape: Shape, lots: Sequence[tuple[str, float]]
) -> tuple[str, ...]:
    said = []
    if verdict == SPREAD and off and deviation < 0.0:
        said.append(f"It also reads {-deviation:.3f} mm low, which the same play can do: "
                    "do not deepen the set before the play is found.")  # fmt: skip
    if verdict == SPREAD and shape.kind != STEADY:
        said.append(f"Its level moves by {shape.change:+.3f} mm as well.")
    if verdict in (OFFSET, DRIFT) and lots:
        said.append(f"Sheet lots stand out too: {', '.join(name for name, _ in lots[:3])}.")
    return tuple(said)


def _by_spring_age(verdict: str, age: Floats, rest: Floats) -> tuple[str, ...]:
    """What the age of the spring has to do with a trend, where it is known."""
    known = np.isfinite(age)
    if verdict != DRIFT or known.sum() < 10 or np.ptp(age[known]) < 1.0:
        return ()
    slope = float(np.polyfit(age[known], rest[known], 1)[0])
    alike = float(np.corrcoef(age[known], rest[known])[0, 1])
    return (f"Over the age of its spring it moves by {10.0 * slope:+.3f} mm in 10 days "
            f"(correlation {alike:+.2f}).",)  # fmt: skip


def _odd_lots(readings: Readings, levels: Levels, explained: Explained) -> dict[int, float]:
    """Lots whose level is beyond what known scatter of the sheet explains, with the level."""
    known = int(levels.lot_known.sum())
    if known == 0:
        return {}
    limit = normal_limit(0.5 * _CHANCE_LOT / known) * np.hypot(explained.lot, levels.lot_se)
    far = np.abs(levels.lot) > limit
    return {int(j): float(levels.lot[j]) for j in np.flatnonzero(far & levels.lot_known)}
