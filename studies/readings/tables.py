"""Tables of a report of readings, and the readings of an invented plant, as files."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief, brief_path
from domemargin.studies.cli.options import in_range
from domemargin.studies.readings.readings import Readings
from domemargin.studies.whole_files import can_be_file, cells, write_whole

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
    """Every row that could not be used, with its line and the reason."""
    rows = [(one.line, one.reason) for one in readings.set_aside]
    _write_rows([("line", "reason"), *rows], path)


def _write_rows(rows: Iterable[Iterable[object]], path: Path) -> None:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(cells(row) for row in rows)
    write_whole(path, text.getvalue())


def write_plant(path: Path, seed: int | str, overwrite: bool = False) -> list[str]:
    """Write readings of an invented plant; returns in words what ails it.

    overwrite : replace another file of that name, which may hold real readings.
    Raises InputError for another ending than .csv or .parquet, a path where nothing can be
    written, a file that is there already, and a negative seed.
    """
    import pandas as pd

    from domemargin.studies.readings.plant_generator import CAUSES, Plant, draw_cause, generate

    if path.suffix not in (".csv", ".parquet"):
        raise InputError(
            f"FILE is {brief(path.name)}; its name must end in .csv or .parquet", "FILE", path.name
        )
    if not can_be_file(path):
        raise InputError(
            f"FILE is {brief_path(path)}, where no file can be written", "FILE", str(path)
        )
    rng = np.random.default_rng(in_range(seed, "--seed", 0, 2**31))
    plant = Plant()
    causes = []
    taken: set[int] = set()
    for kind in CAUSES[1:5]:  # one machine each; lots and operators touch all
        cause = draw_cause(kind, plant, rng)
        while cause.machine in taken:
            cause = draw_cause(kind, plant, rng)
        taken.add(cause.machine)
        causes.append(cause)
    made = generate(plant, tuple(causes), rng)
    line = np.array(made.line_of)[made.machine.codes]
    names = np.array([name.split(" ", 1)[1] for name in made.machine.names])
    start = pd.Timestamp(made.start).tz_localize(None)
    frame = pd.DataFrame({
        "time": (start + pd.to_timedelta(made.day, unit="D")).floor("s"),
        "line": line, "machine": names[made.machine.codes], "depth (mm)": made.depth,
        "lot": np.array(made.lot.names)[made.lot.codes],
        "operator": np.array(made.operator.names)[made.operator.codes], "event": "",
    })  # fmt: skip
    extra = [
        {"time": (start + pd.to_timedelta(one.day, unit="D")).floor("s"),
         "line": made.line_of[one.machine], "machine": names[one.machine], "event": one.what}
        for one in made.events
    ]  # fmt: skip
    if extra:
        frame = pd.concat([frame, pd.DataFrame(extra)], ignore_index=True)
        frame = frame.fillna({"lot": "", "operator": ""})
    frame = frame.sort_values("time", kind="stable")
    made_file = io.BytesIO()
    if path.suffix == ".csv":
        frame["time"] = frame["time"].dt.strftime("%Y-%m-%dT%H:%M:%S")
        made_file.write(frame.to_csv(index=False).encode())
    else:
        frame.to_parquet(made_file, index=False)
    if not overwrite and _holds_other(path, made_file.getvalue()):
        raise InputError(
            f"FILE is {brief_path(path)}, which is there already and may hold real readings; "
            "give another name, or --overwrite to replace it",
            "FILE", str(path), "a new file, or --overwrite",
        )  # fmt: skip
    write_whole(path, made_file.getvalue())
    said = [
        f"Wrote {path}",
        f"{len(made):,} readings of an invented plant, aimed at {plant.target} mm. What ails it:",
    ]
    for cause in causes:
        size = f"{cause.size:+.3f} mm"
        if cause.kind == "drive play":
            size = f"standard deviation {cause.size:.3f} mm"
        said.append(f"  {made.machine.names[cause.machine]}: {cause.kind}, {size}")
    return said


def _holds_other(path: Path, data: bytes) -> bool:
    """Whether a file is there that does not hold just these bytes."""
    try:
        return path.exists() and path.read_bytes() != data
    except OSError:
        return True
