"""Depth readings of a plant as plain arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Bools, Floats, Ints


@dataclass(frozen=True)
class Labels:
    """A column of names: names, and for each row the index of its name, -1 where it has none."""

    codes: Ints
    names: tuple[str, ...]

    def at(self, rows: Bools | Ints) -> Labels:
        """The same for some of the rows."""
        return replace(self, codes=self.codes[rows])

    def used(self) -> list[int]:
        """The indices of names that occur."""
        return [int(code) for code in np.unique(self.codes) if code >= 0]


def labels(values: Sequence[str]) -> Labels:
    """Labels of a list of names; "" is none."""
    names, codes = np.unique(np.asarray(values, dtype=str), return_inverse=True)
    found = codes.astype(np.int64)
    if names.size and names[0] == "":
        return Labels(found - 1, tuple(str(name) for name in names[1:]))
    return Labels(found, tuple(str(name) for name in names))


def no_labels(rows: int) -> Labels:
    """A column without names."""
    return Labels(np.full(rows, -1, dtype=np.int64), ())


@dataclass(frozen=True)
class SetAside:
    """A rejected row: its line in the file (the header is line 1) and the reason."""

    line: int
    reason: str


@dataclass(frozen=True)
class Event:
    """A logged action on a machine: index of the machine, time (days since the first reading)."""

    machine: int
    day: float
    what: str


@dataclass(frozen=True)
class Readings:
    """Readings in the order of machine and then of time; every array has one entry a reading.

    depth : dome depth, mm.  day : days since `start` (ISO 8601).
    machine : name, with its line before it where lines are given.  line_of : line of a machine.
    lot : of sheet.  tool : die or tool in the machine.  operator : who measured.  can : which can,
    where cans were measured more than once.
    spring_age : days, nan where not given.  reversal : own test of that can, MPa, nan if none.
    file_line : where the reading stands in its file.
    set_aside : rejected rows.  notes : further remarks on the file.
    """

    depth: Floats
    day: Floats
    start: str
    machine: Labels
    line_of: tuple[str, ...]
    lot: Labels
    tool: Labels
    operator: Labels
    can: Labels
    spring_age: Floats
    reversal: Floats
    file_line: Ints
    events: tuple[Event, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return self.depth.size

    def at(self, rows: Bools | Ints) -> Readings:
        """Some of the readings."""
        changes: dict[str, Any] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, Labels):
                changes[field.name] = value.at(rows)
            elif isinstance(value, np.ndarray):
                changes[field.name] = value[rows]
        return replace(self, **changes)

    def rows_of(self, machine: int) -> slice:
        """Indices of the readings of a machine."""
        codes = self.machine.codes
        return slice(int(np.searchsorted(codes, machine)),
                     int(np.searchsorted(codes, machine, side="right")))  # fmt: skip

    @property
    def days(self) -> float:
        """From the first reading to the last, days."""
        return float(np.ptp(self.day)) if len(self) else 0.0
