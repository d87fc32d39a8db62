"""Tables of a report of readings as files."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from domemargin.studies.readings.readings import Readings
from domemargin.studies.whole_files import cells, write_whole

_NUMBERS = ("readings", "mean_mm", "from_target_mm", "spread_mm", "unexplained_mm", "more_needed")


def write_machines(data: dict[str, Any], path: Path) -> None:
    """One row a machine: verdict, numbers, evidence."""
    rows = [
        ["machine", "line", "verdict", *(n.replace("_mm", " (mm)") for n in _NUMBERS),
         "cpk", "pressure (MPa)", "share below", "evidence"]
    ]  # fmt: skip
    for one in data["machines"]:
        pressure = one.get("calibrated") or one.get("pressure") or {}
        rows.append(
            [one["machine"], one["line"], one["verdict"],
             *(f"{one[name]:.6g}" for name in _NUMBERS),
             *(f"{value:.4g}" if value is not None else "" for value in (
                 one.get("capability", {}).get("cpk", [None])[0], pressure.get("mpa"),
                 pressure.get("below", [None])[0])),
             one["evidence"]]
        )  # fmt: skip
    _write_rows(rows, path)


def write_set_aside(readings: Readings, path: Path) -> None:
    """Every rejected row, with its line and the reason."""
    rows = [(one.line, one.reason) for one in readings.set_aside]
    _write_rows([("line", "reason"), *rows], path)


def _write_rows(rows: Iterable[Iterable[object]], path: Path) -> None:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(cells(row) for row in rows)
    write_whole(path, text.getvalue())
