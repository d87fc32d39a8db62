"""Points of a contour from a CSV or Parquet file; bad rows are set aside and listed."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Bools, Floats, Ints
from domemargin.profiles.errors import InputError, brief, brief_path
from domemargin.profiles.files.contents import content_of
from domemargin.profiles.quantities import parse_quantity

MOST_BYTES = 60_000_000
MOST_POINTS = 1_000_000
LEAST_POINTS = 60
SPAN = (4.0, 260.0)  # mm across that a trace of a bottom may have
_ACROSS = ("r", "radius", "x", "radial", "r position", "x position")
_UP = ("z", "height", "axial", "z position", "y", "h")
_HEADER = re.compile(r"\s*(.*?)\s*(?:[(\[]\s*([^)\]]*?)\s*[)\]])?\s*")
_NUMBER = re.compile(r"[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?")
_TABLE = "a table of columns r and z, .csv or .parquet"


@dataclass(frozen=True)
class Points:
    """A contour as read.

    x, z : (n,) mm, in the order and the frame of the file.  line : (n,) where each stands in the
    file.  set_aside : (line, reason) of rows that could not be read.
    """

    x: Floats
    z: Floats
    line: Ints
    set_aside: tuple[tuple[int, str], ...] = ()

    def at(self, keep: Bools | Ints) -> Points:
        """Some of the points."""
        return Points(self.x[keep], self.z[keep], self.line[keep], self.set_aside)


def bytes_of(path: Path, what: str, most: int, hint: str = "") -> bytes:
    """The content of a file of at most so many bytes.

    what : the file in words, such as "the trace a.csv".  hint : what to do about one too large.
    Raises InputError.
    """
    try:
        size = path.stat().st_size
        if size > most:
            raise InputError(
                f"{what} has {size / 1e6:.0f} MB; it must have at most {most / 1e6:.0f} MB{hint}",
                "FILE",
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"there is no {what.removeprefix('the ')}", "FILE") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"{what} cannot be read: {why}", "FILE") from None


def check_span(x: Floats, z: Floats) -> None:
    """Reject points (n,) in mm that are too far apart, or too few, for a bottom: InputError."""
    across = float(np.ptp(x))
    if not SPAN[0] <= across <= SPAN[1]:
        raise InputError(
            f"the trace spans {across:.4g} mm across; it must span {SPAN[0]:g} to {SPAN[1]:g} "
            "mm: check the unit",
            "FILE",
            f"{across:.4g} mm",
            f"{SPAN[0]:g} to {SPAN[1]:g} mm",
        )
    distinct = np.unique(np.round(np.stack((x, z), 1), 6), axis=0).shape[0]
    if distinct < LEAST_POINTS:
        raise InputError(
            f"the trace has {distinct} points that differ; it must have at least {LEAST_POINTS}",
            "FILE",
        )


def read_points(path: Path, unit: str | None = None) -> Points:
    """Points of a file that ends in .csv, .txt, .dat or .parquet.

    unit : of both columns, such as "mm"; where None the headers must name it, as in "r (mm)".
    Raises InputError in one sentence where the file as a whole cannot be used.
    """
    given = brief_path(path)
    raw = bytes_of(path, f"the trace {given}", MOST_BYTES)
    if path.suffix.lower() == ".parquet" or raw[:4] == b"PAR1":
        names, columns, lines, bad = _parquet(raw, given)
    else:
        names, columns, lines, bad = _text(raw, given)
    across, up = _columns(names, columns, given)
    factors = [_factor(names[i], unit, given) for i in (across, up)]
    x, z = columns[across] * factors[0], columns[up] * factors[1]
    good = np.isfinite(x) & np.isfinite(z)
    bad = bad + [(int(lines[i]), "r or z is no number") for i in np.flatnonzero(~good)]
    if np.count_nonzero(good) < LEAST_POINTS:
        raise InputError(
            f"the trace {given} holds {np.count_nonzero(good)} points that can be read; it must "
            f"hold at least {LEAST_POINTS}",
            "FILE",
        )
    if np.count_nonzero(good) > MOST_POINTS:
        raise InputError(
            f"the trace {given} holds {np.count_nonzero(good)} points; it must hold at most "
            f"{MOST_POINTS}",
            "FILE",
        )
    return Points(x[good], z[good], lines[good], tuple(sorted(bad)))


_Read = tuple[list[str], list[Floats], Ints, list[tuple[int, str]]]


def _parquet(raw: bytes, given: str) -> _Read:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(io.BytesIO(raw))
    except (pa.ArrowException, ValueError, OSError, OverflowError) as error:
        why = str(error).splitlines()[0][:120]
        raise InputError(f"the trace {given} is no Parquet file: {why}", "FILE") from None
    names, columns = [], []
    for i, field in enumerate(table.schema):
        kind = field.type
        if pa.types.is_integer(kind) or pa.types.is_floating(kind):
            stated = (field.metadata or {}).get(b"unit", b"").decode(errors="replace")
            names.append(f"{field.name} ({stated})" if stated else field.name)
            columns.append(table.column(i).cast(pa.float64()).to_numpy().astype(float))
    return names, columns, np.arange(1, table.num_rows + 1, dtype=np.int64), []


def _text(raw: bytes, given: str) -> _Read:
    found = content_of(raw)
    if found not in ("", "a table of columns (CSV)"):
        raise InputError(f"the trace {given} is {found}; it must be {_TABLE}", "FILE")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    else:
        text = raw.decode("utf-8-sig", errors="replace")
    head = text[:100_000]
    strange = sum(head.count(c) for c in ("\ufffd", "\0"))
    if strange > 0.01 * len(head):
        raise InputError(f"the trace {given} is no text; it must be {_TABLE}", "FILE")
    rows = [(i, line.strip()) for i, line in enumerate(text.splitlines(), 1)]
    rows = [(i, line) for i, line in rows if line and not line.startswith(("#", "%", "//"))]
    if not rows:
        raise InputError(f"the trace {given} is empty; it must be {_TABLE}", "FILE")
    first = rows[0][1]
    mark = next((m for m in (";", "\t", ",") if m in first), None)
    if mark == "," and "." not in first and _NUMBER.fullmatch(first.split(",")[0].strip()):
        # 1,5 2,5 : a decimal comma between blanks
        mark = None if len(first.split()) > 1 else ","

    def cut(line: str) -> list[str]:
        parts = line.split(mark) if mark else line.split()
        return [part.strip().strip('"').strip() for part in parts]

    names = cut(first)
    named = not all(_NUMBER.fullmatch(part) for part in names if part)
    if len(names) < 2:
        raise InputError(
            f"the trace {given} starts with {brief(first[:40])}; it must be {_TABLE}", "FILE"
        )
    body = rows[1:] if named else rows
    if not named:
        names = [str(i + 1) for i in range(len(names))]
    bad: list[tuple[int, str]] = []
    values, lines = [], []
    for i, line in body:
        parts = cut(line)
        if len(parts) != len(names):
            bad.append((i, f"it has {len(parts)} fields in place of {len(names)}"))
            continue
        values.append([_number(part, mark) for part in parts])
        lines.append(i)
    table = np.array(values, dtype=float).reshape(len(values), len(names))
    return names, [table[:, j] for j in range(len(names))], np.array(lines, dtype=np.int64), bad


def _number(text: str, mark: str | None) -> float:
    if not _NUMBER.fullmatch(text) or ("," in text and mark == ","):
        return float("nan")
    return float(text.replace(",", "."))


def _columns(names: list[str], columns: list[Any], given: str) -> tuple[int, int]:
    """Which columns are r (or x) and z."""
    plain = []
    for name in names:
        match = _HEADER.fullmatch(name)
        plain.append(match[1].casefold() if match else name.casefold())
    if len(names) == 2 and plain == ["1", "2"]:
        return 0, 1
    if {"x", "y", "z"} <= set(plain):
        flat = [n for n in "xyz" if _width(columns[plain.index(n)]) < 1e-3]
        if len(flat) != 1:
            raise InputError(
                f"the trace {given} holds points in space (x, y and z all vary); it must hold one "
                "meridian, columns r and z",
                "FILE",
            )
        across, up = (n for n in "xyz" if n not in flat)
        return plain.index(across), plain.index(up)
    across = next((plain.index(n) for n in _ACROSS if n in plain), None)  # type: ignore[assignment]
    up = next((plain.index(n) for n in _UP if n in plain), None)  # type: ignore[assignment]
    if across is None or up is None or across == up:
        shown = ", ".join(brief(n[:30]) for n in names[:6]) or "none of numbers"
        raise InputError(
            f"the trace {given} has the columns {shown}; it must have r (or x) and z, with the "
            "unit in brackets",
            "FILE",
        )
    return int(across), int(up)


def _width(values: Floats) -> float:
    good = values[np.isfinite(values)]
    return float(np.ptp(good)) if good.size else 0.0


def _factor(name: str, unit: str | None, given: str) -> float:
    """mm in one unit of a column; what is asked for wins over the header only if it has none."""
    match = _HEADER.fullmatch(name)
    stated = match[2] if match else None
    if stated is None and unit is None:
        raise InputError(
            f"the trace {given} names no unit; give it in the header, as in 'r (mm)', or as "
            "--unit mm",
            "--unit",
            "missing",
            "a unit of length",
        )
    if stated is not None and unit is not None and stated != unit:
        raise InputError(
            f"--unit is {brief(unit)}, but the column {brief(name)} of the trace {given} states "
            f"{brief(stated)}; leave one of the two out",
            "--unit",
        )
    written = stated if stated is not None else unit
    return parse_quantity(f"1 {written}", "length", f"the unit of the trace {given}")
