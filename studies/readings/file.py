"""Depth readings from a CSV or Parquet file: units declared, bad rows set aside and listed.

Columns, in any order, names in any case: time (ISO 8601, or day and month before the year),
machine, depth with its unit as in "depth (mm)"; optional line, lot (of sheet), tool, operator, can,
event, "spring age (days)", "reversal (psi)".  A row with an event needs no depth.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles import InputError, parse_quantity
from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.errors import brief, brief_path
from domemargin.profiles.files.contents import content_of
from domemargin.profiles.limits import LIMITS
from domemargin.studies.readings.doubts import as_utf8, copies_of, names_alike, split_numbers
from domemargin.studies.readings.readings import Event, Labels, Readings, SetAside, no_labels
from domemargin.studies.readings.times import times_of

if TYPE_CHECKING:
    import pandas as pd

NEEDED = ("time", "machine", "depth")
NAMES = ("line", "lot", "tool", "operator", "can", "event")
NUMBERS = {"depth": "length", "spring age": "time", "reversal": "pressure"}
KNOWN = (*NEEDED, *NAMES, "spring age", "reversal")
_DAYS = {"days": 1.0, "day": 1.0, "d": 1.0, "weeks": 7.0, "hours": 1.0 / 24.0, "h": 1.0 / 24.0}
_RANGES = {
    "depth": (*LIMITS["shape.dome_depth"][1:], "mm"),
    "spring age": (0.0, 10_000.0, "days"),
    "reversal": (0.01, 5.0, "MPa"),
}
_HEADER = re.compile(r"\s*(.*?)\s*(?:[(\[]\s*([^)\]]*?)\s*[)\]])?\s*")
_EMPTY = "depth is empty"
_SHOWN = 40  # characters of a value in a reason


@dataclass(frozen=True)
class _Sheet:
    """Columns as written in the file; file_line : line of each row; bad : rows with a wrong number
    of fields; comma : whether numbers are written with a decimal comma; notes : on the file as a
    whole."""

    columns: dict[str, Any]
    file_line: Ints
    bad: list[SetAside]
    comma: bool = False
    notes: tuple[str, ...] = ()


def read_readings(path: Path | str) -> Readings:
    """Readings of a file that ends in .csv, .txt or .parquet.

    Raises InputError if the file as a whole cannot be used: it does not exist, is of another
    kind, lacks a column or a unit, or holds no valid row.
    """
    path = Path(path)
    try:
        sheet = _parquet(path) if path.suffix.lower() == ".parquet" else _csv(path)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"the readings {brief_path(path)} cannot be read: {why}", "FILE") from None
    return _checked(sheet, path)


def _csv(path: Path) -> _Sheet:
    import pyarrow as pa
    import pyarrow.csv as csv

    raw = path.read_bytes()
    found = content_of(raw)
    if found not in ("", "a table of columns (CSV)"):
        raise InputError(
            f"the readings {brief_path(path)} are {found}; they must be a table of columns, "
            ".csv or .parquet",
            "FILE",
        )
    if raw[:4] in (b"\xff\xfe\0\0", b"\0\0\xfe\xff"):
        raw = raw.decode("utf-32", errors="replace").encode()
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raw = raw.decode("utf-16", errors="replace").encode()
    raw = raw.removeprefix(b"\xef\xbb\xbf").replace(b"\0", b"?")
    raw, notes = as_utf8(raw)
    text = raw[:100_000].decode(errors="ignore")
    if text.count("\ufffd") + text.count("?") > max(0.1 * len(text), 50):
        raise InputError(
            f"the readings {brief_path(path)} are no text; they must be a table of columns, "
            ".csv or .parquet",
            "FILE",
        )
    head = raw.split(b"\n", 1)[0].decode().strip("\r")
    delimiter = max(",;\t", key=head.count)
    wrong: list[tuple[int, str]] = []

    def skip(row: Any) -> str:
        fields = f"it has {row.actual_columns} fields, the header has {row.expected_columns}"
        wrong.append((row.number, fields))
        return "skip"

    if not raw.strip():
        raise InputError(
            f"the readings {brief_path(path)} are empty; the first line must name the columns: "
            f"{', '.join(NEEDED)} and others",
            "FILE",
        )
    names = [part.strip().strip('"') for part in head.split(delimiter)]
    if len(names) < 2:
        raise InputError(
            f"the readings {brief_path(path)} start with {brief(head[:_SHOWN])}; "
            f"the first line must name the columns: {', '.join(NEEDED)} and others",
            "FILE",
        )
    texts = {name: pa.string() for name in names}
    try:
        table = csv.read_csv(
            pa.BufferReader(raw),
            read_options=csv.ReadOptions(use_threads=False, block_size=1 << 24),
            parse_options=csv.ParseOptions(
                delimiter=delimiter, invalid_row_handler=skip, ignore_empty_lines=False
            ),
            convert_options=csv.ConvertOptions(column_types=texts, strings_can_be_null=False),
        )
    except pa.ArrowInvalid as error:
        raise InputError(
            f"the readings {brief_path(path)} are no table of columns: {_first(error)}", "FILE"
        ) from None
    skipped = np.array([number for number, _ in wrong], dtype=np.int64)
    line = np.arange(2, 2 + table.num_rows + skipped.size, dtype=np.int64)
    line = np.delete(line, skipped - 2) if skipped.size else line
    columns = {name: table.column(i) for i, name in enumerate(table.column_names)}
    bad = [SetAside(number, reason) for number, reason in wrong]
    return _Sheet(columns, line, bad, delimiter == ";", tuple(notes))


def _parquet(path: Path) -> _Sheet:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(path)
    except (pa.ArrowException, ValueError, OverflowError) as error:
        raise InputError(
            f"the readings {brief_path(path)} are no Parquet file: {_first(error)}", "FILE"
        ) from None
    columns = {}
    for i, field in enumerate(table.schema):
        unit = (field.metadata or {}).get(b"unit", b"").decode(errors="replace")
        name = f"{field.name} ({unit})" if unit and "(" not in field.name else field.name
        columns[name] = table.column(i)
    return _Sheet(columns, np.arange(2, 2 + table.num_rows, dtype=np.int64), [])


def _plain(table: Any, found: dict[str, str], path: Path) -> dict[str, Any]:
    """The columns that are used, each as numbers, times or text.  Raises InputError for others."""
    import pyarrow as pa

    columns = {}
    for name, written in found.items():
        column = table[written]
        kind = column.type
        numeric = pa.types.is_integer(kind) or pa.types.is_floating(kind)
        # a number for a time or a name is its digits
        if not (numeric and name in NUMBERS) and not pa.types.is_temporal(kind):
            try:
                column = column.cast(pa.string())
            except pa.ArrowException:
                needed = "numbers" if name in NUMBERS else "text"
                raise InputError(
                    f"column {name!r} of the readings {brief_path(path)} holds {str(kind)[:40]}; "
                    f"it must hold {needed}",
                    name, str(kind), needed,
                ) from None  # fmt: skip
        columns[written] = column
    return columns


def _first(error: Exception) -> str:
    """The first sentence of an error of another library."""
    return str(error).splitlines()[0].split(". ")[0].rstrip(".")[:200]


def _checked(sheet: _Sheet, path: Path) -> Readings:
    found, units, notes = _header(list(sheet.columns), path)
    sheet = replace(sheet, columns=_plain(sheet.columns, found, path))
    rows = sheet.file_line.size
    reasons = np.full(rows, None, dtype=object)

    def reject(bad: Any, why: Any) -> None:
        """Record a reason for rows without one."""
        if not np.any(bad):
            return
        for row in np.flatnonzero(bad & (reasons == None)):  # noqa: E711  elementwise
            reasons[row] = why(row) if callable(why) else why

    notes = [*sheet.notes, *notes]
    _refuse_split(sheet, found, units, reject)
    event = _names(sheet, found, "event", rows)
    without = event.codes >= 0  # rows that may have no depth
    numbers = {}
    for name in NUMBERS:
        if name in found:
            text = sheet.columns[found[name]]
            numbers[name] = _numbers(text, units[name], name, reject, sheet.comma, without)
        else:
            numbers[name] = np.full(rows, np.nan)
    time, time_text, more = times_of(sheet.columns[found["time"]], reject)
    notes += more
    machine, line_of = _machines(sheet, found, rows)
    reject(machine.codes < 0, "machine is empty")
    good = reasons == None  # noqa: E711  elementwise
    set_aside = sheet.bad + [
        SetAside(int(sheet.file_line[row]), str(reasons[row]))
        for row in np.flatnonzero(~good)
        if machine.codes[row] >= 0 or str(time_text.iloc[row]).strip() or reasons[row] != _EMPTY
    ]  # an empty line holds no data
    set_aside.sort(key=lambda one: one.line)
    measured = good & ~np.isnan(numbers["depth"])
    if not measured.any():
        why = f"; line {set_aside[0].line}: {set_aside[0].reason}" if set_aside else ""
        raise InputError(
            f"the readings {brief_path(path)} hold no row that can be used ({rows} rows read){why}",
            "FILE",
        )
    day, start = _days(time, good)
    order = np.flatnonzero(measured)
    order = order[np.lexsort((day[order], machine.codes[order]))]
    changes = [
        Event(int(machine.codes[row]), float(day[row]), event.names[event.codes[row]])
        for row in np.flatnonzero(good & (event.codes >= 0))
    ]
    every = {name: _names(sheet, found, name, rows) for name in ("lot", "tool", "operator", "can")}
    for what, column in (("machines", machine), ("lots", every["lot"]),
                         ("operators", every["operator"])):  # fmt: skip
        notes += names_alike(column, what)
    copies, kept = copies_of(
        machine.codes[order], day[order], numbers["depth"][order],
        lambda: [column.codes[order] for column in every.values()],
        bool(np.all(day[order] % 1.0 == day[order[0]] % 1.0)),
    )  # fmt: skip
    if copies is not None:
        set_aside += [
            SetAside(int(line), "it repeats another row: same time, machine, depth and all else")
            for line in sheet.file_line[order[copies]]
        ]
        set_aside.sort(key=lambda one: one.line)
        order = order[~copies]
    elif kept:
        notes.append(f"{kept} rows are like another in time, machine and depth; as many as may be "
                     "by chance where cans share a time, and all were kept.")  # fmt: skip
    return Readings(
        depth=numbers["depth"][order], day=day[order], start=start,
        machine=machine.at(order), line_of=line_of,
        **{name: column.at(order) for name, column in every.items()},
        spring_age=numbers["spring age"][order], reversal=numbers["reversal"][order],
        file_line=sheet.file_line[order], events=tuple(changes),
        set_aside=tuple(set_aside), notes=tuple(notes),
    )  # fmt: skip


def _refuse_split(
    sheet: _Sheet, found: dict[str, str], units: dict[str, float], reject: Any
) -> None:
    """Set aside depths that a decimal comma without quotes has cut in two."""
    import pyarrow as pa

    names = list(sheet.columns)
    place = names.index(found["depth"]) + 1
    # whole numbers are what depths in micrometres are
    if sheet.comma or place >= len(names) or units["depth"] < 1.0:
        return
    columns = [sheet.columns[name] for name in names[place - 1 : place + 1]]
    if not all(pa.types.is_string(column.type) for column in columns):
        return
    import pyarrow.compute as pc

    if not pc.any(pc.match_substring_regex(columns[0], r"^\s*\d+\s*$")).as_py():
        return
    depth, after = (column.to_pandas().astype(object).fillna("") for column in columns)
    split = split_numbers(depth, after, names[place] == found.get("event"))
    if split is not None:
        reject(split, lambda row: (
            f"depth is {_cut(depth.iloc[row])} and {_cut(after.iloc[row])} follows: a decimal "
            "comma without quotes has cut it in two"
        ))  # fmt: skip


def _header(names: list[str], path: Path) -> tuple[dict[str, str], dict[str, float], list[str]]:
    """Known column -> its name in the file; factor of its unit; notes on columns not used."""
    found: dict[str, str] = {}
    units: dict[str, float] = {}
    unknown = []
    for written in names:
        match = _HEADER.fullmatch(written)
        assert match is not None
        name = match[1].casefold().replace("_", " ")
        if name not in KNOWN:
            unknown.append(written)
            continue
        if name in found:
            raise InputError(f"the readings have two columns {name!r}; one is needed", name)
        found[name] = written
        if name in NUMBERS:
            units[name] = _factor(name, match[2] or "")
    missing = [name for name in NEEDED if name not in found]
    if missing:
        there = ", ".join(name[:24] for name in names[:12])[:160]
        raise InputError(
            f"the readings {brief_path(path)} have no column {missing[0]!r} "
            f"(found: {there}); needed are {', '.join(NEEDED)}",
            missing[0], "", ", ".join(NEEDED),
        )  # fmt: skip
    return found, units, [f"column {name!r} is not used" for name in unknown]


def _factor(name: str, unit: str) -> float:
    """What one unit of a column is in mm, MPa or days."""
    if NUMBERS[name] == "time":
        if unit.casefold() in _DAYS:
            return _DAYS[unit.casefold()]
        allowed = "days, weeks or hours"
        raise InputError(
            f"the unit of column {name!r} is {brief(unit)}; it must be {allowed}, "
            f'as in "{name} (days)"',
            name, unit, allowed,
        )  # fmt: skip
    example = "depth (mm)" if name == "depth" else "reversal (psi)"
    if not unit:
        raise InputError(
            f'column {name!r} has no unit; its header must declare one, as in "{example}"', name
        )
    try:
        return parse_quantity(f"1 {_unit(unit)}", NUMBERS[name], name)
    except InputError:
        allowed = f"a unit of {NUMBERS[name]}"
        raise InputError(
            f'the unit of column {name!r} is {brief(unit)}; it must be {allowed}, '
            f'as in "{example}"',
            name, unit, allowed,
        ) from None  # fmt: skip


def _unit(unit: str) -> str:
    """A unit with the micro sign, Greek mu or capitals that spreadsheets make of it."""
    plain = re.sub("[\u00b5\u03bc\u039c](?=[mM]$)", "u", unit)
    known = {"mm": "mm", "cm": "cm", "um": "um", "in": "in", "psi": "psi", "bar": "bar",
             "mpa": "MPa", "kpa": "kPa"}  # fmt: skip
    return known.get(plain.casefold(), plain)


def _numbers(
    column: Any, factor: float, name: str, reject: Any, comma: bool, without: Any
) -> Floats:
    """A column of numbers in internal units; other values are rejected."""
    import pandas as pd
    import pyarrow as pa

    values: Floats
    if pa.types.is_integer(column.type) or pa.types.is_floating(column.type):
        text = column.to_pandas()
        values = text.to_numpy(dtype=float) * factor
        empty = np.isnan(values)
    else:
        text = column.cast(pa.string()).to_pandas().astype(object).fillna("")
        if comma:
            text = text.str.replace(",", ".", regex=False)
        values = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float) * factor
        empty = (text.str.strip() == "").to_numpy() if np.isnan(values).any() else np.isnan(values)
    low, high, unit = _RANGES[name]
    if name == "depth":
        reject(empty & ~without, _EMPTY)
    reject(~empty & ~np.isfinite(values),
           lambda row: f"{name} is {_cut(text.iloc[row])}; it must be a number")  # fmt: skip
    reject(np.isfinite(values) & ~((values >= low) & (values <= high)),
           lambda row: f"{name} is {values[row]:.6g} {unit}; "
                       f"it must be {low:g} to {high:g} {unit}")  # fmt: skip
    return values


def _names(sheet: _Sheet, found: dict[str, str], name: str, rows: int) -> Labels:
    """A column of names; spaces around a name are ignored."""
    import pandas as pd
    import pyarrow as pa

    if name not in found:
        return no_labels(rows)
    column = sheet.columns[found[name]].cast(pa.string()).combine_chunks().dictionary_encode()
    raw = [str(one or "").strip() for one in column.dictionary.to_pylist()]
    codes, names = pd.factorize(np.array(raw, dtype=object), sort=True)
    shift = 1 if len(names) and names[0] == "" else 0
    index = column.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
    known = np.append(codes.astype(np.int64) - shift, -1)  # -1 picks the last: none
    return Labels(known[index], tuple(str(one) for one in names[shift:]))


def _machines(sheet: _Sheet, found: dict[str, str], rows: int) -> tuple[Labels, tuple[str, ...]]:
    """Machines, separated by line as well, and the line of each."""
    machine = _names(sheet, found, "machine", rows)
    if "line" not in found:
        return machine, ("",) * len(machine.names)
    line = _names(sheet, found, "line", rows)
    width = len(machine.names) + 1
    pair = np.where(machine.codes < 0, -1, (line.codes + 1) * width + machine.codes)
    kept, codes = np.unique(pair, return_inverse=True)
    shift = 1 if kept.size and kept[0] < 0 else 0
    names, lines = [], []
    for one in kept[shift:]:
        on = line.names[one // width - 1] if one >= width else ""
        names.append(f"{on} {machine.names[one % width]}".strip())
        lines.append(on)
    return Labels(codes.astype(np.int64) - shift, tuple(names)), tuple(lines)


def _days(time: pd.Series, good: Any) -> tuple[Floats, str]:
    """Days since the first valid time, and that time."""
    start = time[good].min()
    return ((time - start).dt.total_seconds() / 86400.0).to_numpy(dtype=float), start.isoformat()


def _cut(value: object) -> str:
    return brief(str(value)[:_SHOWN])
