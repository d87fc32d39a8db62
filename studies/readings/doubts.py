"""Doubtful content of a file of readings: copies, similar names, decimal commas, encodings."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.readings.readings import Labels

_DIGITS = re.compile(r"\s*\d+\s*")
_TEXT_BYTES = bytes(range(32, 256)) + b"\t\r\n"


def as_utf8(raw: bytes) -> tuple[bytes, list[str]]:
    """Bytes of a text file as UTF-8, with a note where another encoding was taken.

    A file that is not UTF-8 is read as Windows-1252, which contains the letters of latin-1; bytes
    that are invalid there too become the replacement character.
    """
    try:
        raw.decode("utf-8")
        return raw, []
    except UnicodeDecodeError:
        pass
    head = raw[:100_000]
    if len(head.translate(None, _TEXT_BYTES)) > 0.01 * len(head):
        return raw.decode("utf-8", errors="replace").encode(), []
    note = "The file is no UTF-8 and was read as Windows-1252 (latin-1): check names with accents."
    try:
        return raw.decode("cp1252").encode(), [note]
    except UnicodeDecodeError:
        return raw.decode("latin-1").encode(), [note]


def names_alike(labels: Labels, what: str) -> list[str]:
    """A note where names differ only in case, spaces, dashes or leading zeros."""
    groups: dict[str, list[str]] = defaultdict(list)
    for name in labels.names:
        bare = re.sub(r"[\s_.\-]+", "", name.casefold())
        groups[re.sub(r"(?<!\d)0+(?=\d)", "", bare)].append(name)
    alike = [group for group in groups.values() if len(group) > 1]
    if not alike:
        return []
    shown = "; ".join(" and ".join(repr(name) for name in group[:3]) for group in alike[:3])
    more = f" and {len(alike) - 3} more" if len(alike) > 3 else ""
    return [f"Names of {what} are nearly alike and were kept apart: {shown}{more}."]


def split_numbers(depth: Any, after: Any, event: bool) -> Any:
    """Rows in which a decimal comma without quotes has cut a depth in two; (rows,) bool, or None.

    depth : texts of the depth.  after : texts of the next column.  event : whether the next column
    names an event, which is never a number alone; in another column most rows must be split.
    """
    whole = depth.str.fullmatch(_DIGITS.pattern).to_numpy(dtype=bool)
    if not whole.any():
        return None
    digits = np.zeros(whole.size, dtype=bool)
    digits[whole] = after[whole].str.fullmatch(_DIGITS.pattern).to_numpy(dtype=bool)
    given = (depth.str.strip() != "").to_numpy(dtype=bool)
    if not digits.any() or not (event or 2 * digits.sum() > given.sum()):
        return None
    return digits


def copies_of(
    machine: Ints, day: Floats, depth: Floats, others: Callable[[], list[Ints]], dates_only: bool
) -> tuple[Any, int]:
    """Readings that are repeated in the file, and the number of possible further copies.

    Cans of one subgroup share their time, and by chance their depth.  Rows are copies where more
    pairs of one time agree than pairs of two times do.

    machine, day, depth : (n,) sorted by machine and day; others : gives the other columns, asked
    for only where times are shared.  dates_only : times without hours.
    Returns (n,) bool or None, and the number of equal rows that were kept.
    """
    import pandas as pd

    same = (np.diff(machine) == 0) & (np.diff(day) == 0.0)
    if not same.any():
        return None, 0
    near = np.append(False, same) | np.append(same, False)
    columns = [machine, day, depth, *others()]
    rows = pd.DataFrame({i: column[near] for i, column in enumerate(columns)})
    again = rows.duplicated().to_numpy()
    if not again.any():
        return None, 0
    together = rows.groupby([0, 1]).size().to_numpy(dtype=float)
    alike = rows.groupby(list(rows.columns)).size().to_numpy(dtype=float)
    share = float(np.sum(alike * (alike - 1.0)) / np.sum(together * (together - 1.0)))
    apart = (np.diff(machine) == 0) & (np.diff(day) > 0.0)
    if not apart.any():
        chance = 1.0 if dates_only else 0.0
    else:
        chance = float(np.mean(np.diff(depth)[apart] == 0.0))
    if share <= 2.0 * chance + 0.05:
        return None, int(again.sum())
    copies = np.zeros(machine.size, dtype=bool)
    copies[np.flatnonzero(near)[again]] = True
    return copies, 0
