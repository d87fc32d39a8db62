"""The folder of a run: where it lies and what is written into it."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import json
import os
import re
import tempfile
import unicodedata
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief_path
from domemargin.profiles.units import PSI
from domemargin.studies.whole_files import why, write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from domemargin.fea.core.record import Curve

_LONGEST = 60  # letters of a folder's name
RESULTS = Path("results")  # under the folder the command is run in


def slug(name: str) -> str:
    """A name as a folder name: letters and digits of any script, in lower case, and dashes."""
    plain = unicodedata.normalize("NFC", name).casefold()
    whole = re.sub(r"[\W_]+", "-", plain).strip("-")
    if len(whole) <= _LONGEST:
        return whole or "unnamed"
    # names with the same beginning belong to different studies
    tail = hashlib.sha256(whole.encode()).hexdigest()[:8]
    return f"{whole[: _LONGEST - 9].strip('-')}-{tail}"


def run_folder(out: Path | None, name: str) -> Path:
    """The folder of a run: `out`, or the slug of a name in results/.

    It is made when the first file is written, so that a command that is rejected leaves none.
    Raises InputError where no files can be made in it.
    """
    folder = RESULTS / slug(name) if out is None else out
    try:
        there = next(part for part in (folder, *folder.absolute().parents) if os.path.lexists(part))
        if there.is_symlink() and not there.exists():
            raise FileNotFoundError(0, "it is a link to nothing")
        with contextlib.suppress(FileNotFoundError):
            os.lstat(folder)  # a name may be too long for the file system
        with tempfile.TemporaryFile(dir=there):
            pass
    except (OSError, ValueError) as error:
        raise InputError(
            f"--out is {brief_path(folder)}, where nothing can be written: {why(error)}",
            "--out",
            str(folder),
        ) from None
    return folder


def write_json(data: dict[str, Any], path: Path) -> None:
    """Write a record as UTF-8 JSON."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1)
    # one line per list of numbers: a curve of 100 states is not worth 100 lines
    text = re.sub(r"\[[^][{}\"]*\]", lambda m: re.sub(r"\s+", " ", m[0]), text)
    write_whole(path, text + "\n")


def write_curve(curve: Curve, path: Path) -> None:
    """Write a path as CSV, one state a row, the units in the header."""
    columns = {
        "pressure (psi)": curve.pressure_mpa / PSI,
        "pressure (MPa)": curve.pressure_mpa,
        "dome centre travel (mm)": curve.centre_travel_mm,
        "stand ring growth (mm)": curve.stand_growth_mm,
        "swept volume (mm3)": curve.swept_volume_mm3,
        "negative pivots (-)": curve.negative_pivots,
    }
    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(columns)
    for row in zip(*columns.values()):
        table.writerow(f"{value:.7g}" for value in row)
    write_whole(path, text.getvalue())


def write_figure(figure: Figure, path: Path) -> None:
    """Write a figure as PNG; a letter that its font lacks becomes a box."""
    # level 3 of zlib takes half the time of the default for a file a tenth larger
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing")
        drawn = io.BytesIO()
        figure.savefig(drawn, format="png", pil_kwargs={"compress_level": 3})
    write_whole(path, drawn.getvalue())
