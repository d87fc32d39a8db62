"""Tests of a metal as they come: CSV tables with units in the header, one or more specimens.

Columns, in any order; delimiter comma, semicolon or tab:

    specimen                   what a row belongs to; without it, all rows are one specimen
    direction (deg)            angle of the pull to the rolling direction
    engineering strain (%)     or true strain; % or -
    engineering stress (MPa)   or true stress; MPa, GPa, kPa, psi, ksi or N/mm2
    width strain (%)           of a pulled strip, of the same kind as the strain: gives the r-value
    curvature (1/mm), moment (N)   in place of strain and stress: bending of wide sheet, moment in
                               N mm per mm of width; 1/mm or 1/m

A strain that turns back, or a curvature, is a reverse test.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError, brief, brief_path

_UNITS: dict[str, dict[str, float]] = {
    "strain": {"%": 0.01, "-": 1.0, "mm/mm": 1.0},
    "stress": {
        "MPa": 1.0, "N/mm2": 1.0, "GPa": 1e3, "kPa": 1e-3,
        "psi": 0.006894757293168361, "ksi": 6.894757293168361,
    },
    "curvature": {"1/mm": 1.0, "1/m": 1e-3},
    "moment": {"N": 1.0, "N mm/mm": 1.0},
    "direction": {"deg": 1.0},
}  # fmt: skip
_HEAD = re.compile(r"\s*(engineering |true |)(.*?)\s*(?:\((.*?)\))?\s*")
_MOST = 50_000_000  # bytes
_LEAST = 12  # points of a specimen


@dataclass(frozen=True)
class Specimen:
    """One test.

    kind : "tensile", "reverse" or "bending".
    x, y : (n,) strain and stress (MPa), or curvature (1/mm) and moment (N); as measured.
    true : whether strain and stress are true ones.
    width : (n,) width strain, or None.  direction : degrees to the rolling direction, or None.
    """

    name: str
    kind: str
    x: Floats
    y: Floats
    true: bool
    width: Floats | None = None
    direction: float | None = None


def read_specimens(path: Path) -> tuple[Specimen, ...]:
    """The specimens of a file.  Raises InputError in one sentence."""
    shown = brief_path(path)
    try:
        if path.stat().st_size > _MOST:
            raise InputError(f"file {shown} is larger than {_MOST // 1_000_000} MB", "FILE", shown)
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"file {shown} is not there", "FILE", shown) from None
    except (UnicodeDecodeError, IsADirectoryError):
        raise InputError(
            f"file {shown} is not text; it must be a table of columns (CSV)", "FILE", shown
        ) from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if len(lines) < 2:
        raise InputError(f"file {shown} holds no rows under a header", "FILE", shown)
    mark = max(";\t,", key=lambda mark: lines[0].count(mark))
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark))
    columns, kinds = _columns(rows[0], shown)
    width = len(rows[0])
    for i, row in enumerate(rows[1:], 2):
        if len(row) != width:
            raise InputError(
                f"file {shown}, row {i} has {len(row)} fields; the header has {width}",
                "FILE",
                shown,
            )
    names = [path.stem] * (len(rows) - 1)
    if "specimen" in columns:
        names = [row[columns["specimen"][0]].strip() for row in rows[1:]]
    values = {
        name: _numbers(rows[1:], at, factor, rows[0][at], shown)
        for name, (at, factor) in columns.items()
        if name != "specimen"
    }
    order = list(dict.fromkeys(names))
    where = np.array(names)
    return tuple(
        _specimen(name or path.stem, {k: v[where == name] for k, v in values.items()}, kinds, shown)
        for name in order
    )


def _columns(header: list[str], shown: str) -> tuple[dict[str, tuple[int, float]], set[str]]:
    """Where each quantity stands and its unit; and what the header calls strain and stress."""
    found: dict[str, tuple[int, float]] = {}
    kinds: set[str] = set()
    for at, text in enumerate(header):
        match = _HEAD.fullmatch(text.replace("_", " "))
        assert match is not None
        said, name, unit = match[1].strip(), match[2].strip().lower(), match[3]
        if name == "specimen":
            found[name] = at, 1.0
            continue
        quantity = "strain" if name == "width strain" else name
        if quantity not in _UNITS:
            continue
        units = _UNITS[quantity]
        if unit is None or unit.strip() not in units:
            allowed = ", ".join(units)
            raise InputError(
                f"file {shown}: column {brief(text)} has no known unit; it must be one of "
                f"{allowed}, such as {brief(f'{name} ({next(iter(units))})')}",
                "FILE", text, allowed,
            )  # fmt: skip
        found[name] = at, units[unit.strip()]
        if said:
            kinds.add(said)
    for pair in (("strain", "stress"), ("curvature", "moment")):
        if all(name in found for name in pair):
            return found, kinds
    raise InputError(
        f"file {shown} holds no columns 'strain' and 'stress', nor 'curvature' and 'moment', with "
        "a unit in brackets",
        "FILE",
        shown,
    )


def _numbers(rows: list[list[str]], at: int, factor: float, head: str, shown: str) -> Floats:
    out = np.empty(len(rows))
    for i, row in enumerate(rows):
        text = row[at].strip()
        try:
            out[i] = float(text.replace(",", "."))
        except ValueError:
            out[i] = np.nan
        if not np.isfinite(out[i]):
            raise InputError(
                f"file {shown}, row {i + 2}: {brief(head)} is {brief(text)}; it must be a number",
                "FILE", text, "a number",
            )  # fmt: skip
    return factor * out


def _specimen(name: str, values: dict[str, Floats], kinds: set[str], shown: str) -> Specimen:
    bending = "strain" not in values
    x, y = (
        (values["curvature"], values["moment"]) if bending else (values["strain"], values["stress"])
    )
    if x.size < _LEAST:
        raise InputError(
            f"file {shown}: specimen {brief(name)} has {x.size} points; it must have "
            f"{_LEAST} or more",
            "FILE", str(x.size), f"{_LEAST} or more",
        )  # fmt: skip
    if not bending and kinds not in ({"engineering"}, {"true"}):
        raise InputError(
            f"file {shown} does not say whether strain and stress are engineering or true ones; "
            "head both columns 'engineering strain (%)', 'engineering stress (MPa)', or 'true ...'",
            "FILE",
            shown,
        )
    if not bending and (np.abs(x).max() > 2.0 or x.min() < -0.9):
        raise InputError(
            f"file {shown}: specimen {brief(name)} has a strain of {np.abs(x).max():.3g}; it must "
            "lie in -0.9 to 2: is the column in %?",
            "FILE", f"{np.abs(x).max():.3g}", "-0.9 to 2",
        )  # fmt: skip
    width = values.get("width strain")
    across = 0.0 if width is None else float(np.abs(width).max())
    if across > 0.9:
        raise InputError(
            f"file {shown}: specimen {brief(name)} has a width strain of {across:.3g}; it must be "
            "at most 0.9: is the column in %?",
            "FILE", f"{across:.3g}", "at most 0.9",
        )  # fmt: skip
    if np.ptp(x) == 0.0 or np.abs(y).max() < 1e-6:
        raise InputError(
            f"file {shown}: specimen {brief(name)} was not loaded: it is strained by the same "
            "amount throughout, or its load is zero",
            "FILE",
            name,
        )
    # turned back: not by scatter, and not by unloading only
    turned = bool((y * np.sign(y[np.argmax(np.abs(x))]) < -0.1 * np.abs(y).max()).any())
    kind = "bending" if bending else "reverse" if turned else "tensile"
    direction = values.get("direction")
    if direction is not None and np.ptp(direction) > 1e-9:
        raise InputError(
            f"file {shown}: specimen {brief(name)} has more than one direction", "FILE", name
        )
    return Specimen(
        name,
        kind,
        x,
        y,
        "true" in kinds,
        width,
        None if direction is None else float(direction[0]),
    )
