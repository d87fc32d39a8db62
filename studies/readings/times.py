"""Times as plants write them: ISO 8601, or day and month before the year where that is clear."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles.errors import brief

if TYPE_CHECKING:
    import pandas as pd

FIRST_YEAR, LAST_YEAR = 1990, 2100
AS = "2025-03-01T06:30"
_SHORTEST = 8  # characters of a date, as 20250301: a year or a month alone is no time
_DAY_FIRST = (
    r"^\s*(\d{1,2})([./-])(\d{1,2})[./-](\d{4})"
    r"(?:[ T,]+(\d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?))?\s*$"
)


def times_of(column: Any, reject: Any) -> tuple[pd.Series, pd.Series, list[str]]:
    """Times (UTC, NaT where there is none), their texts, and notes.

    column : of the file, text or times.  reject : called with the rows that have no time and why.
    """
    import pandas as pd
    import pyarrow as pa

    text = column.to_pandas()
    time = pd.to_datetime(text, errors="coerce", format="ISO8601", utc=True)
    notes: list[str] = []
    if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
        import pyarrow.compute as pc

        short = pc.less(pc.utf8_length(column), _SHORTEST)
        if pc.any(short).as_py():
            time = time.mask(short.to_pandas().fillna(True).astype(bool).to_numpy())
        missing = time.isna().to_numpy()
        if missing.any():
            time, notes = _other_order(text, time, missing, reject)
    year = time.dt.year
    odd = ((year < FIRST_YEAR) | (year > LAST_YEAR)).to_numpy()
    reject(odd, lambda row: f"time is {_cut(text.iloc[row])}; "
                            f"its year must lie in {FIRST_YEAR} to {LAST_YEAR}")  # fmt: skip
    if odd.any():
        time = time.mask(odd)
    reject(time.isna().to_numpy(), lambda row: f"time is {_cut(text.iloc[row])}; "
                                               f"it must be as {AS}")  # fmt: skip
    return time, text, notes


def _other_order(
    text: pd.Series, time: pd.Series, missing: Any, reject: Any
) -> tuple[pd.Series, list[str]]:
    """Times with the year last; the file itself shows whether day or month comes first."""
    import pandas as pd

    parts = text[missing].astype(str).str.extract(_DAY_FIRST)
    parts = parts[parts[0].notna()]
    if parts.empty:
        return time, []
    first, second = parts[0].astype(int), parts[2].astype(int)
    dots = bool((parts[1] == ".").all())  # dots are written by those who put the day first
    day_first = bool((first > 12).any()) or dots
    month_first = bool((second > 12).any())
    rows = np.zeros(len(text), dtype=bool)
    rows[parts.index.to_numpy()] = True
    if day_first == month_first:
        why = "in some rows the day comes first, in others the month" if day_first else \
            "whether the day or the month comes first cannot be seen"  # fmt: skip
        reject(rows, lambda row: f"time is {_cut(text.iloc[row])}: {why}; write it as {AS}")
        return time, []
    day, month = (first, second) if day_first else (second, first)
    written = (
        parts[3] + "-" + month.astype(str).str.zfill(2) + "-" + day.astype(str).str.zfill(2)
        + " " + parts[4].fillna("00:00")
    )  # fmt: skip
    found = pd.to_datetime(written, errors="coerce", format="mixed", utc=True)
    time = time.copy()
    time[found.index] = found
    order = "day" if day_first else "month"
    return time, [f"Times such as {text[parts.index[0]]!r} were read with the {order} first."]


def _cut(value: object) -> str:
    return brief(str(value)[:40])
