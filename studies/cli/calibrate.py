"""The command that makes a calibration of own reversal tests, and the option that takes one."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from domemargin.studies.cli.shared.options import JsonOnlyOption

if TYPE_CHECKING:
    from domemargin.studies.verdict.calibration import Calibration

CalibrationOption = Annotated[
    Path | None,
    typer.Option(
        "--calibration", metavar="FILE", help="Own tests, of `domemargin calibrate`; moves and "
        "narrows the answer.",
    ),
]  # fmt: skip


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command()(calibrate)


def calibration_in(path: Path | None) -> Calibration | None:
    """The calibration of an option.  Raises InputError."""
    if path is None:
        return None
    from domemargin.studies.verdict.calibration import load_calibration

    return load_calibration(path)


def calibrate(
    tests: Annotated[
        Path,
        typer.Argument(
            metavar="TESTS",
            help='Own reversal tests, .csv: "pressure (psi)"; optional bottom, lot, stopped, '
            '"gauge error (psi)", and dimensions such as "bottom gauge (mm)".',
        ),
    ],
    profile: Annotated[
        str | None,
        typer.Option("--profile", metavar="PROFILE", help="The bottom of rows that name none."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for the file; default results/<name>/."),
    ] = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """What own reversal tests say of the model."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder
    from domemargin.studies.verdict.own_tests import read_tests

    base = None if profile is None else load_profile(profile)
    read = read_tests(tests, base)
    folder = run_folder(out, f"calibration {tests.stem}")

    from domemargin.studies.text.printing import announce_compiling
    from domemargin.studies.text.verdict import calibration_lines
    from domemargin.studies.verdict.calibrating import calibrated
    from domemargin.studies.verdict.calibration import dumped
    from domemargin.studies.whole_files import write_whole

    announce_compiling()
    made = calibrated(read)
    file = folder / "calibration.json"
    write_whole(file, dumped(made))
    if json_only:
        aside = [{"line": line, "reason": reason} for line, reason in read.aside]
        sys.stdout.write(json.dumps({**asdict(made), "set_aside": aside}) + "\n")
        return
    for line in calibration_lines(made, read, file):
        print(line)
