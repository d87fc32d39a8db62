"""The readings of an invented plant as a file, and the plant's faults in words."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief, brief_path
from domemargin.studies.diagnosis.plant_generator import CAUSES, Plant, draw_cause, generate
from domemargin.studies.options import in_range
from domemargin.studies.whole_files import can_be_file, write_whole


def write_plant(path: Path, seed: int | str, overwrite: bool = False) -> list[str]:
    """Write readings of an invented plant; returns its faults in words.

    overwrite : replace another file of that name, which may hold real readings.
    Raises InputError for another ending than .csv or .parquet, a path where nothing can be
    written, a file that is there already, and a negative seed.
    """
    import pandas as pd

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
    for kind in CAUSES[1:5]:  # of one machine each; lots and operators affect all
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
        f"{len(made):,} readings of an invented plant, aimed at {plant.target} mm. Its faults:",
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
