"""What is wrong with a machine: verdicts from depth readings and from explained scatter.

The order of the verdicts matters: scatter that sheet and setting do not explain is reported
first, because more set on a machine with play hides the play, loads the drive and causes split
bottoms.  A level, a step or a trend is only reported as the cause where such scatter is excluded.
Every machine needs enough readings for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.diagnosis.levels import (
    Levels,
    hours_for_operators,
    levels_of,
    times_for_lots,
    trends_of_few,
)
from domemargin.studies.diagnosis.scatter import Explained
from domemargin.studies.diagnosis.shape import CLEAR, Shape, Step, shape_of
from domemargin.studies.diagnosis.spread import Spread, enough_readings, spread_of
from domemargin.studies.readings.readings import Readings
from domemargin.studies.tails import chi2_quantile, normal_limit

IN_CONTROL = "in control"
OFFSET = "offset"
DRIFT = "trend"
SMALL_STEP = "small step"
SMALL_DRIFT = "small drift"
LOT = "lot"
SPREAD = "spread not explained"
NOT_ENOUGH = "not enough data"
VERDICTS = (IN_CONTROL, OFFSET, DRIFT, SMALL_STEP, SMALL_DRIFT, LOT, SPREAD, NOT_ENOUGH)

_WORTH = 3.5  # standard deviations of the set: smaller shifts are within the accuracy of setting
# of the set as well: a step that no log shows where such are rare, where they are not, and a trend
_RARE, _USUAL, _SMALL_TREND = 2.5, 5.0, 2.0
_USUAL_TREND, _LARGE_TREND = 3.0, 4.5  # where they are not; a trend below is a small drift
_LEAD, _LEAD_STEPPED = 9.0, 15.0  # by which a drift must fit better than steps; beside steps
_RARE_SHARE = 0.15  # of machines that step without a log, above which such steps are usual
_CHANCE_LOT = 5e-4  # chance that one lot or more stands out where all scatter as known
_WELL_LOGGED = 4.0  # steps where a change is logged to one without
_OPERATORS = 0.003  # mm between operators where they are not recorded; common practice, no source
_FEWEST_SPREAD = 20  # readings for a verdict of scatter
_FINE = 0.0015  # mm: rounding to less adds no scatter worth counting
_MISREAD, _MISREAD_SHARE = 6.0, 0.01
_TOO_STEADY = (
    "It scatters less than the gauge alone should: a gauge that sticks, or readings written down "
    "without one."
)


@dataclass(frozen=True)
class Finding:
    """Verdict on a machine and the numbers behind it; lengths in mm.

    verdict : what to check first.  causes : all causes found, the verdict first.
    readings : number used.  mean, deviation : present level, and its distance from the target.
    deviation_se : standard error of that distance.
    spread : standard deviation from can to can, without lots, operators and shape.
    unexplained, unexplained_low, unexplained_high : part of it not explained by sheet, process and
    gauge, with 95 % limits.  spread_chance : probability of such spread if all were explained.
    far : cans far beyond what is explained.
    effective : number of independent readings with the same information: correlated readings repeat
    each other.
    shape : how depth moves over the record.  lots : sheet lots that stand out, with levels.
    more : readings still needed, if the verdict is NOT_ENOUGH.
    misreads : file lines of readings far off, which were left out.
    also : further findings, in sentences.
    """

    machine: str
    line: str
    verdict: str
    causes: tuple[str, ...]
    readings: int
    mean: float
    deviation: float
    deviation_se: float
    spread: float
    unexplained: float
    unexplained_low: float
    unexplained_high: float
    spread_chance: float
    far: int
    effective: float
    shape: Shape
    step: Step | None = None
    lots: tuple[tuple[str, float], ...] = ()
    more: int = 0
    misreads: tuple[int, ...] = ()
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Diagnosis:
    """Verdicts of all machines.

    target : depth aimed at, mm; target_given : whether it was given, else it is the median of the
    machines.
    worth : smallest shift that matters, mm.  enough : readings a machine needs for a verdict.
    odd_lots : lots whose level is beyond what known scatter of the sheet explains, with the level;
    lots_given : whether lots were given, else times replace them.
    unlogged : smallest step that counts where no change is logged, mm.
    people_given : whether operators were given, else hours of the day replace them; people : their
    names.
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
    unlogged: float
    people_given: bool
    people: tuple[str, ...]

    def loose(self, line: str) -> bool:
        """Whether more than half of a line's machines, of three or more, scatter beyond what is
        explained: gauge or sheet is then a more likely cause than so many drives."""
        mine = [one.verdict == SPREAD for one in self.findings if one.line == line]
        return len(mine) >= 3 and 2 * sum(mine) > len(mine)


def diagnose(readings: Readings, explained: Explained, target: float | None = None) -> Diagnosis:
    """A verdict for every machine.

    explained : scatter that is explained (diagnosis_scatter.py).  target : depth aimed at, mm;
    without it the median of the machines' levels, which cannot show that all are off.
    """
    lots_given = bool(readings.lot.names)
    people_given = bool(readings.operator.names)
    readings = hours_for_operators(times_for_lots(readings))
    machines = readings.machine.used()
    # lots and operators with rough trends taken off, then with their movements taken off
    levels = levels_of(readings, trends_of_few(readings, _WORTH * explained.set))
    first = [_shape(readings, levels, i, explained) for i in machines]
    levels = levels_of(readings, np.concatenate([_large(one, explained) for one in first]))
    parts = {i: _Part.of(readings, levels, i, explained, not people_given) for i in machines}
    worth = _WORTH * explained.set
    aim = float(np.median([part.level for part in parts.values()])) if target is None else target
    odd = _odd_lots(readings, levels, explained)
    # a step is an exception where few machines have such, or where nearly all changes are logged
    still = [one.shape for one in parts.values() if not one.shape.trend]
    silent = [shape for shape in still if _plain_steps(shape, explained, logged=False)]
    steps = [sum(_plain_steps(shape, explained, logged) for shape in still)
             for logged in (False, True)]  # fmt: skip
    rare = len(silent) <= max(1.0, _RARE_SHARE * len(parts)) or steps[1] >= _WELL_LOGGED * steps[0]
    unlogged = (_RARE if rare else _USUAL) * explained.set
    enough = enough_readings()
    findings = tuple(
        _finding(readings, levels, parts[i], i, explained, aim, unlogged, rare, enough, odd)
        for i in machines
    )
    named = {readings.lot.names[j]: level for j, level in odd.items()}
    return Diagnosis(
        findings, explained, aim, target is not None, worth, enough, levels, named, lots_given,
        unlogged, people_given, readings.operator.names,
    )  # fmt: skip


def _plain_steps(shape: Shape, explained: Explained, logged: bool) -> int:
    """Number of clear steps no smaller than the scatter of the set, logged or not logged ones."""
    return sum(
        one.clear and one.logged == logged and abs(one.size) > explained.set for one in shape.steps
    )


def _large(shape: Shape, explained: Explained) -> Floats:
    """A movement so large that it clearly belongs to the machine, about its middle; (n,)."""
    moves = [abs(shape.trend) / _WORTH] + [abs(one.size) / 2.0 for one in shape.steps if one.clear]
    if max(moves) <= explained.set:
        return np.zeros(shape.fitted.size)
    return shape.fitted - float(np.median(shape.fitted))


@dataclass(frozen=True)
class _Part:
    """A machine's readings with the shape found; level: present level, mm; clean: rows without
    misreads; left: residuals about shape and level; spread: their scatter."""

    shape: Shape
    level: float
    clean: np.ndarray
    left: Floats
    spread: Spread
    lots_taken_off: bool

    @staticmethod
    def of(
        readings: Readings, levels: Levels, machine: int, explained: Explained, unnamed: bool
    ) -> _Part:
        rows = readings.rows_of(machine)
        day, rest = readings.day[rows], levels.rest[rows]
        lots = np.unique(readings.lot.codes[rows])
        taken = bool(lots.size) and bool(np.all(lots >= 0)) and bool(np.all(levels.lot_known[lots]))
        shape = _shape(readings, levels, machine, explained)
        rest = rest - _daily(day, rest - shape.fitted)
        left = rest - shape.fitted
        spread = 1.4826 * float(np.median(np.abs(left)))
        grain = _grain(readings.depth[rows])
        clean = np.abs(left) <= _MISREAD * max(spread, 1e-3, 0.5 * grain)
        if (~clean).sum() > max(1, int(_MISREAD_SHARE * day.size)):
            clean = np.ones(day.size, dtype=bool)
        elif not clean.all():
            changes = _changes(readings, machine)
            inner = shape_of(day[clean], rest[clean], explained.seen, changes)
            nearest = np.clip(np.cumsum(clean) - 1, 0, None)
            shape = Shape(
                inner.trend, inner.trend_error, inner.lead, inner.steps, inner.fitted[nearest],
                inner.parameters, inner.level_error, inner.part[nearest],
            )  # fmt: skip
        left = (rest - shape.fitted)[clean]
        level = float(left.mean() + shape.fitted[-1])
        left = left - left.mean()
        lot = 0.0 if taken else explained.lot
        if unnamed:
            lot = math.hypot(lot, _OPERATORS)
        found = spread_of(left, shape.parameters, explained, lot, grain)
        return _Part(shape, level, clean, left, found, taken)

    def error(self, explained: Explained, lots: int) -> float:
        """Standard error of the present level."""
        lot = explained.lot**2 * (1.57 if self.lots_taken_off else 1.0) / max(lots, 1)
        return math.hypot(self.shape.level_error, math.sqrt(lot))


def _shape(readings: Readings, levels: Levels, machine: int, explained: Explained) -> Shape:
    rows = readings.rows_of(machine)
    changes = _changes(readings, machine)
    return shape_of(readings.day[rows], levels.rest[rows], explained.seen, changes)


def _changes(readings: Readings, machine: int) -> list[float]:
    """Days on which a change is logged, or another tool begins."""
    rows = readings.rows_of(machine)
    other = np.diff(readings.tool.codes[rows]) != 0
    return [one.day for one in readings.events if one.machine == machine] + [
        float(at) for at in readings.day[rows][1:][other]
    ]


def _daily(day: Floats, left: Floats) -> Floats:
    """A swing with the time of day, where readings show one: heat, or the operator; (n,)."""
    angle = 2.0 * np.pi * day
    wave = np.stack((np.sin(angle), np.cos(angle)), axis=1)
    wave -= wave.mean(axis=0)
    if day.size < 24 or np.linalg.matrix_rank(wave.T @ wave, tol=0.05 * day.size) < 2:
        return np.zeros(day.size)
    reach = 3.0 * 1.4826 * float(np.median(np.abs(left)))
    calm = np.clip(left, -reach, reach)
    fitted = np.asarray(wave @ np.linalg.solve(wave.T @ wave, wave.T @ calm))
    gain = float(fitted @ fitted)
    noise = max(float(calm @ calm) - gain, 1e-12) / (day.size - 3)
    return fitted if gain > 12.0 * noise else np.zeros(day.size)


def _grain(depth: Floats) -> float:
    """Step to which readings are rounded, mm: all their differences are multiples of it; 0 for a
    fine step, or none."""
    gaps = np.diff(np.unique(np.round(depth, 7)))
    if depth.size < 10 or gaps.size == 0:
        return 0.0
    least = float(gaps.min())
    times = gaps / least
    whole = bool(np.all(np.abs(times - np.round(times)) < 0.01))
    return least if whole and least > _FINE else 0.0


def _finding(
    readings: Readings, levels: Levels, part: _Part, machine: int, explained: Explained,
    target: float, unlogged: float, rare: bool, enough: int, odd: dict[int, float],
) -> Finding:  # fmt: skip
    rows = readings.rows_of(machine)
    n = int(part.clean.sum())
    shape, spread = part.shape, part.spread
    mine = {int(code) for code in np.unique(readings.lot.codes[rows])}
    lots = tuple((readings.lot.names[j], level) for j, level in odd.items() if j in mine)
    se = part.error(explained, len(mine))
    deviation = part.level - target
    unexplained = math.sqrt(max(spread.variance - spread.allowed, 0.0))
    found, step = _moved(part, deviation, se, explained, unlogged, rare)
    if lots:
        found.append(LOT)

    more = 0
    if n >= _FEWEST_SPREAD and spread.called:
        # play lowers the level too: an offset is only reported where play cannot cause it
        far = abs(deviation) > _WORTH * math.hypot(explained.set, se) + 1.5 * unexplained
        found = [SPREAD, *(one for one in found if one != OFFSET or far or step)]
    elif n < enough:
        found, more = [NOT_ENOUGH], enough - n
    elif not spread.excluded:
        found, more = [NOT_ENOUGH], spread.more
    elif spread.doubt and found:
        found, more = [NOT_ENOUGH], max(spread.more, n // 2)
    causes = tuple(dict.fromkeys(found)) or (IN_CONTROL,)
    low, high = (
        spread.freedom * spread.variance / float(chi2_quantile(share, spread.freedom))
        - spread.allowed
        for share in (0.975, 0.025)
    )
    aged = _by_spring_age(causes[0], readings.spring_age[rows], levels.rest[rows])
    steady = n >= enough and spread.variance < (0.5 * explained.reading) ** 2
    return Finding(
        machine=readings.machine.names[machine], line=readings.line_of[machine],
        verdict=causes[0], causes=causes, readings=n, mean=part.level, deviation=deviation,
        deviation_se=se, spread=math.sqrt(spread.variance), unexplained=unexplained,
        unexplained_low=math.sqrt(max(low, 0.0)), unexplained_high=math.sqrt(max(high, 0.0)),
        spread_chance=spread.chance, far=spread.far, effective=spread.freedom, shape=shape,
        step=step, lots=lots, more=more,
        misreads=tuple(int(line) for line in readings.file_line[rows][~part.clean]),
        also=_also(causes, deviation, shape, explained)
        + aged + ((_TOO_STEADY,) if steady else ()),
    )  # fmt: skip


def _moved(
    part: _Part, deviation: float, se: float, explained: Explained, unlogged: float, rare: bool
) -> tuple[list[str], Step | None]:
    """Verdicts from level and movement, the gravest first, and the step they refer to."""
    found: list[str] = []
    shape = part.shape
    # after a change of set both the first set and the change contribute to the error
    sets = explained.set * (math.sqrt(2.0) if shape.steps else 1.0)
    reach = _WORTH * math.hypot(sets, se)
    drift = abs(shape.trend)
    clear = drift > CLEAR * max(shape.trend_error, part.spread.trend_error)
    if drift > _LARGE_TREND * explained.set and clear:
        found.append(DRIFT)
    elif (
        drift > (_SMALL_TREND if rare else _USUAL_TREND) * explained.set and clear
        # where unlogged steps are usual, they resemble trends
        and (rare or not _plain_steps(shape, explained, logged=False))
        and shape.lead > (_LEAD_STEPPED if shape.steps else _LEAD)
    ):  # fmt: skip
        found.append(SMALL_DRIFT)
    # two settings lie further apart than one lies from its aim
    large = [
        one for one in shape.steps
        if one.clear and abs(one.size) > _WORTH * math.hypot(math.sqrt(2.0) * explained.set,
                                                            one.error)
    ]  # fmt: skip
    small = [
        one for one in shape.steps
        if one.clear and not one.logged and abs(one.size) > unlogged
    ]  # fmt: skip
    named = large or small
    step = named[-1] if named else None
    off = abs(deviation) > reach
    if off and (found or small):  # the movement may have caused the offset
        before = deviation - shape.trend - sum(one.size for one in small)
        off = abs(before) > reach and deviation * before > 0.0
    if large or off:
        found.insert(1 if found == [DRIFT] else 0, OFFSET)
    elif small:
        found.insert(1 if found == [DRIFT] else 0, SMALL_STEP)
    return found, step


def _also(
    causes: tuple[str, ...], deviation: float, shape: Shape, explained: Explained
) -> tuple[str, ...]:
    said = []
    low = deviation < -_WORTH * explained.set
    if causes[0] == SPREAD and OFFSET in causes:
        said.append("The level is off by more than play alone explains: find the play first, then "
                    "the set.")  # fmt: skip
    elif causes[0] == SPREAD and low:
        said.append(f"It also reads {-deviation:.3f} mm low, which the same play can cause: "
                    "do not deepen the set before the play is found.")  # fmt: skip
    if causes[0] == IN_CONTROL and shape.steps:
        clear = [one for one in shape.steps if one.clear and abs(one.size) > 0.5 * explained.set]
        if clear:
            most = max(clear, key=lambda one: abs(one.size))
            where = "a logged change" if most.logged else "no logged change"
            said.append(f"Its level moved by {most.size:+.3f} mm on day {most.day:.1f}, at "
                        f"{where}: within the accuracy of setting.")  # fmt: skip
    return tuple(said)


def _by_spring_age(verdict: str, age: Floats, rest: Floats) -> tuple[str, ...]:
    """How a trend depends on the age of the spring, where the age is known."""
    known = np.isfinite(age)
    if verdict not in (DRIFT, SMALL_DRIFT) or known.sum() < 10 or np.ptp(age[known]) < 1.0:
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
