"""Levels of machines, sheet lots and operators in depth readings, separated robustly.

A machine that is off must not shift the levels of the lots it ran, so levels are medians over the
other factors of the means of cells (median polish: Tukey, Exploratory Data Analysis, 1977).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.readings.readings import Labels, Readings

_ROUNDS = 8
_SLOPE_FEWEST = 12  # readings of a machine for a slope
_MACHINES = 3  # that must share a lot, or an operator, to tell its level from theirs


@dataclass(frozen=True)
class Levels:
    """Levels in mm.

    lot, lot_se : of each sheet lot over the middle one, with standard error; 0 where it cannot be
    separated from the machines.  lot_known : whether it can.
    operator, operator_se : the same for operators.
    rest : (n,) readings less lot and operator, the machine's own level left in.
    """

    lot: Floats
    lot_se: Floats
    lot_known: np.ndarray
    operator: Floats
    operator_se: Floats
    rest: Floats


def times_for_lots(
    readings: Readings, fewest: float = 4.0, shortest: float = 1.0 / 3.0
) -> Readings:
    """The readings with periods of time in place of sheet lots that are not given.

    A change common to all machines of a line, by a lot or an operator, then shows as the level of a
    period.  A period is as long as a machine needs for `fewest` readings, and at least `shortest`
    (days).
    """
    if readings.lot.names or readings.days <= 0.0:
        return readings
    machines = max(len(readings.machine.used()), 1)
    length = max(shortest, fewest * readings.days * machines / len(readings))
    times = max(int(readings.days / length), 1)
    if times < 2:
        return readings
    lines = sorted(set(readings.line_of))
    line = np.array([lines.index(name) for name in readings.line_of])[readings.machine.codes]
    first = float(readings.day.min())
    block = np.minimum(((readings.day - first) / readings.days * times).astype(int), times - 1)
    names = tuple(
        f"{name} day {first + (i + 0.5) * readings.days / times:.1f}".strip()
        for name in lines
        for i in range(times)
    )
    return replace(readings, lot=Labels(line * times + block, names))


def hours_for_operators(readings: Readings, fewest: int = 30) -> Readings:
    """The readings with the hour of the day in place of operators that are not given.

    A change that returns every day on all machines, by operator or heat, then shows as the level of
    an hour.  The day is cut so that each part has `fewest` readings, and into 3 at least.
    """
    if readings.operator.names or len(readings) < 3 * fewest or readings.days < 2.0:
        return readings
    parts = next(k for k in (24, 12, 6, 3) if k == 3 or len(readings) >= k * fewest)
    start = datetime.fromisoformat(readings.start)
    first = (start.hour * 3600 + start.minute * 60 + start.second) / 86400.0
    part = (((readings.day + first) % 1.0) * parts).astype(np.int64) % parts
    each = 24 // parts
    names = tuple(f"{k * each:02}:00 to {(k + 1) * each:02}:00" for k in range(parts))
    return replace(readings, operator=Labels(part, names))


def trends_of_few(readings: Readings, alike: float) -> Floats:
    """Movement of machines that move differently from most of their line; (n,) mm, 0 for others.

    A movement of most machines of a line is assigned to sheet or gauge, so that weak springs on
    half the machines do not appear as lots.  alike : trends over the record that count as one, mm.
    """
    codes, n = readings.machine.codes, len(readings.machine.names)
    count = np.maximum(np.bincount(codes, minlength=n), 1)
    span = max(readings.days, 1e-9)
    t = (readings.day - (np.bincount(codes, readings.day, n) / count)[codes]) / span
    square = np.bincount(codes, t**2, n)
    slope = np.bincount(codes, t * readings.depth, n) / np.maximum(square, 1e-12)
    slope[(count < _SLOPE_FEWEST) | (square < 0.02 * count)] = 0.0
    own = np.zeros(n)
    for line in set(readings.line_of):
        mine = np.flatnonzero([one == line for one in readings.line_of])
        if mine.size < _MACHINES:
            continue
        near = np.abs(slope[mine][:, None] - slope[mine][None, :]) < alike
        # the largest group, of groups alike in size the one that moves least
        first = min(range(mine.size), key=lambda i: (-near[i].sum(), abs(slope[mine][i])))
        common = float(np.median(slope[mine][near[first]])) if 2 * near[first].sum() >= mine.size \
            else 0.0  # fmt: skip
        rest = slope[mine] - common
        own[mine] = np.where(np.abs(rest) > alike, rest, 0.0)
    return np.asarray(own[codes] * t)


def levels_of(readings: Readings, moved: Floats | None = None) -> Levels:
    """Levels of lots and operators, on which several machines agree.

    moved : (n,) known movement of each machine's level over its record, mm.
    """
    machine, lot, operator = readings.machine, readings.lot, readings.operator
    depth = readings.depth if moved is None else readings.depth - moved
    sizes = (len(machine.names), len(lot.names) + 1, len(operator.names) + 1)
    # -1, no name, is a group of its own at the end
    which = (machine.codes, lot.codes % sizes[1], operator.codes % sizes[2])
    cell, inverse = np.unique(np.ravel_multi_index(which, sizes), return_inverse=True)
    count = np.bincount(inverse)
    mean = np.bincount(inverse, weights=depth) / count
    m, j, o = np.unravel_index(cell, sizes)
    groups = [_groups(index, size) for index, size in zip((m, j, o), sizes)]
    known = [
        np.array([np.unique(m[rows]).size >= _MACHINES for rows in group]) for group in groups[1:]
    ]
    known[0][-1] = known[1][-1] = False
    if sum(rows.size > 0 for rows in groups[2]) < 2:
        known[1][:] = False
    level = [np.zeros(size) for size in sizes]
    centres = _connected(j, m, readings.line_of, sizes[1])
    for _ in range(_ROUNDS):
        level[0] = _medians(mean - level[1][j] - level[2][o], groups[0])
        lots = _medians(mean - level[0][m] - level[2][o], groups[1]) * known[0]
        level[1] = _centred(lots, centres, known[0])
        people = _medians(mean - level[0][m] - level[1][j], groups[2]) * known[1]
        level[2] = _centred(people, np.zeros(sizes[2], dtype=int), known[1])
    left = mean - level[0][m] - level[1][j] - level[2][o]
    rest = readings.depth - level[1][which[1]] - level[2][which[2]]
    return Levels(
        level[1][:-1], _errors(left, m, groups[1])[:-1], known[0][:-1],
        level[2][:-1], _errors(left, m, groups[2])[:-1], rest,
    )  # fmt: skip


def _groups(index: Ints, size: int) -> list[Ints]:
    """Cells of each level."""
    order = np.argsort(index, kind="stable")
    ends = np.searchsorted(index[order], np.arange(size + 1))
    return [order[ends[i] : ends[i + 1]] for i in range(size)]


def _medians(values: Floats, groups: list[Ints]) -> Floats:
    return np.array([np.median(values[rows]) if rows.size else 0.0 for rows in groups])


def _errors(left: Floats, machine: Ints, groups: list[Ints]) -> Floats:
    """Standard error of a median over machines, each machine's cells taken as one."""
    errors = np.zeros(len(groups))
    # three cells say little of their own spread: never less than that of all cells
    common = 1.4826 * float(np.median(np.abs(left))) if left.size else 0.0
    for i, rows in enumerate(groups):
        if rows.size > 1:
            spread = 1.4826 * np.median(np.abs(left[rows] - np.median(left[rows])))
            errors[i] = 1.2533 * max(spread, common) / np.sqrt(np.unique(machine[rows]).size)
    return errors


def _connected(lot: Ints, machine: Ints, line_of: tuple[str, ...], lots: int) -> Ints:
    """A number for each lot, equal for lots that share machines: their levels can be compared."""
    lines = sorted(set(line_of))
    of_line = np.array([lines.index(line) for line in line_of])[machine]
    group = np.arange(len(lines))
    for j in range(lots):
        mine = np.unique(group[of_line[lot == j]])
        for other in mine[1:]:
            group[group == other] = mine[0]
    number = np.zeros(lots, dtype=int)
    for j in range(lots):
        on = of_line[lot == j]
        number[j] = group[on[0]] if on.size else 0
    return number


def _centred(values: Floats, number: Ints, known: np.ndarray) -> Floats:
    """Levels over the middle one of their group; of two, over their mean."""
    out = values.copy()
    for one in np.unique(number[known]):
        mine = known & (number == one)
        out[mine] -= np.median(values[mine])
    return out
