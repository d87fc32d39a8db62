"""Levels of machines, sheet lots and operators in depth readings, told apart robustly.

A machine that is out must not move the levels of the lots it ran, so levels are medians over the
other factors of the means of cells (median polish: Tukey, Exploratory Data Analysis, 1977).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from domemargin.studies.readings.readings import Floats, Ints, Labels, Readings

_ROUNDS = 8
_MACHINES = 3  # that must share a lot, or an operator, to tell its level from theirs


@dataclass(frozen=True)
class Levels:
    """Levels in mm.

    lot, lot_se : of each sheet lot over the middle one, with standard error; 0 where it cannot be
    told from the machines.  lot_known : whether it can.
    operator, operator_se : the same of who measured.
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
    """The readings with times in the place of sheet lots that are not given.

    What moves all machines of a line together, be it a lot or who gauged, then shows as the level
    of a time.  A time is as long as a machine needs for `fewest` readings, and at least
    `shortest` (days).
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


def levels_of(readings: Readings) -> Levels:
    """Levels of lots and operators; each is worth what several machines agree on."""
    machine, lot, operator = readings.machine, readings.lot, readings.operator
    sizes = (len(machine.names), len(lot.names) + 1, len(operator.names) + 1)
    # -1, no name, is a group of its own at the end
    which = (machine.codes, lot.codes % sizes[1], operator.codes % sizes[2])
    cell, inverse = np.unique(np.ravel_multi_index(which, sizes), return_inverse=True)
    count = np.bincount(inverse)
    mean = np.bincount(inverse, weights=readings.depth) / count
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
    for i, rows in enumerate(groups):
        if rows.size > 1:
            spread = 1.4826 * np.median(np.abs(left[rows] - np.median(left[rows])))
            errors[i] = 1.2533 * spread / np.sqrt(np.unique(machine[rows]).size)
    return errors


def _connected(lot: Ints, machine: Ints, line_of: tuple[str, ...], lots: int) -> Ints:
    """A number for each lot, the same where lots were run on one line: their levels compare."""
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
