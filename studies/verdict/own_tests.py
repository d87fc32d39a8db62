"""Own reversal tests from a CSV file.

The first line names the columns: "pressure (psi)" with its unit; optional bottom (a ready profile
or a profile file beside the tests), lot, stopped (yes: the can held that pressure and was not
taken further; "> 95" says the same), "gauge error (psi)", and dimensions that differ from the
bottom's, such as "bottom gauge (mm)" or "dome depth (mm)".  A row that cannot be read is set aside
and listed.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from domemargin.profiles import InputError, Profile, parse_quantity
from domemargin.profiles.errors import brief, brief_path
from domemargin.profiles.files.contents import content_of
from domemargin.studies.readings.doubts import as_utf8
from domemargin.studies.study.varied import VARIABLE, bottom_at, check_value, kind_of

_HEADER = re.compile(r"\s*(.*?)\s*(?:[(\[]\s*([^)\]]*?)\s*[)\]])?\s*")
_ALIKE = {
    "pressure": "pressure", "reversal": "pressure", "reversal pressure": "pressure",
    "bottom": "bottom", "profile": "bottom", "lot": "lot", "coil": "lot",
    "stopped": "stopped", "held": "stopped", "gauge error": "rig", "pressure error": "rig",
    "gauge": "bottom_gauge", "depth": "dome_depth", "yield": "yield_strength",
}  # fmt: skip
_IGNORED = ("can", "date", "time", "operator", "remark", "remarks", "comment", "machine", "note")
_YES, _NO = ("yes", "y", "x", "1", "true"), ("no", "n", "0", "false", "")
LOW, HIGH = 0.05, 5.0  # MPa, of a tested can
MOST_TESTS = 500


@dataclass(frozen=True)
class Test:
    """One can.

    line : in the file.  profile : its bottom.  pressure : at which it reversed or, stopped,
    that it held, MPa.  rig : standard error of the pressure gauge, MPa.
    """

    __test__ = False  # no test of pytest's

    line: int
    profile: Profile
    lot: str
    pressure: float
    stopped: bool
    rig: float


@dataclass(frozen=True)
class OwnTests:
    """tests : that can be used.  aside : (line, reason) of rows that cannot.  notes : on the
    file."""

    tests: tuple[Test, ...]
    aside: tuple[tuple[int, str], ...]
    notes: tuple[str, ...] = ()


def read_tests(path: Path | str, base: Profile | None = None) -> OwnTests:
    """Tests of a file.

    base : the bottom of rows that name none.  Raises InputError if the file as a whole cannot be
    used: not there, no table, no pressure with a unit, or no row that can be read.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"the tests {brief_path(path)} cannot be read: {why}", "TESTS") from None
    if content_of(raw) not in ("", "a table of columns (CSV)"):
        raise InputError(
            f"the tests {brief_path(path)} are {content_of(raw)}, no table of columns (CSV)",
            "TESTS",
        )
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raw = raw.decode("utf-16", errors="replace").encode()
    raw, notes = as_utf8(raw.removeprefix(b"\xef\xbb\xbf"))
    text = raw.decode("utf-8", errors="replace")
    head = text.split("\n", 1)[0]
    delimiter = max(";,\t", key=head.count)
    if "\0" in text or (delimiter not in head and not re.search("pressure", head, re.IGNORECASE)):
        raise InputError(
            f"the tests {brief_path(path)} are no table; the first line must name the columns, "
            'with "pressure (psi)" among them',
            "TESTS",
        )
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    columns = _columns(rows[0], path)
    tests: list[Test] = []
    aside: list[tuple[int, str]] = []
    profiles: dict[str, Profile] = {}
    for line, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            if len(row) != len(rows[0]):
                raise InputError(f"it has {len(row)} fields, the header has {len(rows[0])}")
            tests.append(_test(line, row, columns, path, base, profiles, delimiter == ";"))
        except InputError as error:
            aside.append((line, str(error)))
    if not tests:
        first = f": line {aside[0][0]}: {aside[0][1]}" if aside else ""
        raise InputError(
            f"the tests {brief_path(path)} hold no test that can be used{first}", "TESTS"
        )
    if len(tests) > MOST_TESTS:
        raise InputError(
            f"the tests {brief_path(path)} are {len(tests)}; at most {MOST_TESTS} can be used",
            "TESTS",
        )
    return OwnTests(tuple(tests), tuple(aside), tuple(notes))


def _columns(header: list[str], path: Path) -> list[tuple[str, str]]:
    """(name, unit) of each column; "" for one that is passed over."""
    found = []
    for cell in header:
        match = _HEADER.fullmatch(cell.strip().strip('"'))
        label, unit = (match[1], match[2] or "") if match else (cell, "")
        plain = " ".join(re.sub(r"[_\s]+", " ", label).lower().split())
        name = _ALIKE.get(plain, plain.replace(" ", "_"))
        if name not in ("pressure", "bottom", "lot", "stopped", "rig") and name not in VARIABLE:
            if plain and plain not in _IGNORED:
                raise InputError(
                    f"the column {brief(cell)} of {brief_path(path)} is not known; it must be "
                    "pressure, bottom, lot, stopped, gauge error, or a dimension with its unit",
                    "TESTS",
                )
            name = ""
        needs = name in ("pressure", "rig") or (name in VARIABLE and kind_of(name) != "number")
        if needs and not unit:
            raise InputError(
                f"the column {brief(cell)} of {brief_path(path)} has no unit; write it as "
                f'"{label} ({"psi" if name in ("pressure", "rig") else "mm"})"',
                "TESTS",
            )
        found.append((name, unit))
    names = [name for name, _ in found if name]
    if "pressure" not in names:
        raise InputError(
            f'the tests {brief_path(path)} have no column "pressure (psi)"; it is needed', "TESTS"
        )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise InputError(f"the tests {brief_path(path)} have two columns of {twice}", "TESTS")
    return found


def _test(
    line: int, row: list[str], columns: list[tuple[str, str]], path: Path, base: Profile | None,
    profiles: dict[str, Profile], comma: bool,
) -> Test:  # fmt: skip
    cells: dict[str, tuple[str, str]] = {
        name: (cell.strip(), unit) for cell, (name, unit) in zip(row, columns) if name
    }
    text, unit = cells["pressure"]
    above = re.match(r"\s*(>=?|≥|at least)\s*", text)
    stopped = above is not None
    pressure = _number(text[above.end() :] if above else text, unit, "pressure", "pressure", comma)
    if not LOW <= pressure <= HIGH:
        raise InputError(f"pressure is {text} {unit}; it must lie in {LOW:g} to {HIGH:g} MPa")
    word = cells.get("stopped", ("", ""))[0].lower()
    if word not in (*_YES, *_NO):
        raise InputError(f"stopped is {brief(word)}; it must be yes or no")
    stopped = stopped or word in _YES
    rig = 0.0
    if cells.get("rig", ("", ""))[0]:
        rig = _number(*cells["rig"], "pressure", "gauge error", comma)
        if not 0.0 <= rig <= 0.2 * pressure:
            raise InputError("gauge error must lie in 0 to 20 % of the pressure")
    bottom = _bottom(cells.get("bottom", ("", ""))[0], path, base, profiles)
    point: dict[str, float] = {}
    for name, (cell, own) in cells.items():
        if name in VARIABLE and cell:
            kind = kind_of(name)
            point[name] = _number(cell, own, kind, name.replace("_", " "), comma)
            check_value(name, point[name], name)
    key = f"{bottom.name}\0{sorted(point.items())}"
    if key not in profiles:
        profiles[key] = bottom_at(bottom, point) if point else bottom
    return Test(line, profiles[key], cells.get("lot", ("", ""))[0], pressure, stopped, rig)


def _number(text: str, unit: str, kind: str, field: str, comma: bool) -> float:
    """A cell in internal units; InputError if it is no number."""
    plain = text.replace(",", ".") if comma or re.fullmatch(r"-?\d+,\d+", text) else text
    if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", plain):
        raise InputError(f"{field} is {brief(text)}; it must be a number")
    return float(plain) if kind == "number" else parse_quantity(f"{plain} {unit}", kind, field)


def _bottom(name: str, path: Path, base: Profile | None, known: dict[str, Any]) -> Profile:
    from domemargin.profiles import load_profile

    if not name:
        if base is None:
            raise InputError("it names no bottom; add a column bottom, or give --profile")
        return base
    if name not in known:
        beside = path.parent / name
        known[name] = load_profile(beside if beside.is_file() else name)
    found: Profile = known[name]
    return found
