"""Commands for a plant: depth readings, and the pressure that a drink requires."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from domemargin.profiles.errors import InputError
from domemargin.studies.cli.calibrate import CalibrationOption, calibration_in
from domemargin.studies.cli.shared.options import JsonOption, OutOption
from domemargin.studies.cli.shared.reports import ReportOption, write_words_report


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(carbonation)
    app.command()(readings)
    app.command()(plant)


def carbonation(
    carbonation: Annotated[
        str,
        typer.Argument(metavar="CARBONATION", help='Carbon dioxide, "2.6 vol" or "5.1 g/L".'),
    ],
    stage: Annotated[
        list[str] | None,
        typer.Option(
            metavar="STAGE",
            help='Part of the can\'s history, such as "pasteurising 62 C"; may be repeated.  '
            '["store 38 C"]',
        ),
    ] = None,
    fill: Annotated[str, typer.Option(metavar="VOLUME", help="Drink in the can.")] = "355 mL",
    headspace: Annotated[
        str, typer.Option(metavar="VOLUME", help="Gas over it when filled.")
    ] = "20 mL",
    filled_at: Annotated[
        str, typer.Option(metavar="TEMPERATURE", help="Temperature of the drink when filled.")
    ] = "4 C",
    air: Annotated[
        str, typer.Option(metavar="VOLUME", help="Air left in the headspace, at 1 atm.")
    ] = "0 mL",
    altitude: Annotated[
        str, typer.Option(metavar="HEIGHT", help="Of the stages that name none.")
    ] = "0 m",
    formula: Annotated[
        str, typer.Option(metavar="NAME", help="Solubility: iapws, van-t-hoff or beer.")
    ] = "iapws",
    json_only: JsonOption = False,
) -> None:
    """The pressure that a carbonated drink requires of the bottom.  Give it to --require."""
    from domemargin.studies.carbonation import required_pressure
    from domemargin.studies.text.bottom.carbonation import (
        can_of,
        quantity,
        required_data,
        required_lines,
        stage_of,
    )

    can = can_of(carbonation, fill, headspace, filled_at, air)
    height = quantity(altitude, "altitude", "--altitude")
    stages = tuple(stage_of(text, height) for text in stage or ("store 38 C",))
    required = required_pressure(can, stages, formula)
    if json_only:
        _print_json(required_data(required))
        return
    from domemargin.fea.core.record import CAUTION

    for line in (*required_lines(required), "", *_wrapped(CAUTION)):
        print(line)


def readings(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="Readings, .csv or .parquet: time, machine, depth (mm); optional line, lot, tool, "
            "operator, can, event, spring age (days), reversal (psi).",
        ),
    ],
    target: Annotated[
        str | None,
        typer.Option(metavar="DEPTH", help="Depth aimed at.  [the median of the machines]"),
    ] = None,
    tolerance: Annotated[
        str | None,
        typer.Option(metavar="RANGE", help='Such as "10.1 mm to 10.3 mm"; gives capability.'),
    ] = None,
    profile: Annotated[
        str | None,
        typer.Option(metavar="PROFILE", help="The bottom; with --require gives pressures."),
    ] = None,
    require: Annotated[
        str | None, typer.Option(metavar="PRESSURE", help='Pressure to hold, such as "90 psi".')
    ] = None,
    margin: Annotated[
        str | None, typer.Option(metavar="PERCENT", help="Margin wanted over it.  [0 %]")
    ] = None,
    gauge: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Standard deviation of the depth gauge, if measured.  [from repeated cans; else "
            "0.004 mm is assumed, for the diagnosis only]",
        ),
    ] = None,
    doming: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help="doming.json of `domemargin doming TOOLING --budget`: slopes and remedies.  "
            "[a first study]",
        ),
    ] = None,
    ailing: Annotated[
        str | None,
        typer.Option(
            metavar="PERCENT",
            help="Share of faulty machines, for the chance that a verdict is right.  [10 %]",
        ),
    ] = None,
    calibration: CalibrationOption = None,
    make_report: ReportOption = False,
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """A verdict for every machine from depth readings.  With a profile also its pressure."""
    from domemargin.studies.cli.shared.readings_options import question_of

    own = calibration_in(calibration)
    question = question_of(target, tolerance, require, margin, gauge, doming, ailing)
    bottom = None
    if profile is not None:
        from domemargin.profiles.files.loading import load_profile

        bottom = load_profile(profile)
    if (bottom is None) != (question.required is None):
        option, other = ("--require", "--profile") if bottom is None else ("--profile", "--require")
        raise InputError(f"{option} needs {other} as well: pressures come from both", option)
    if own is not None and bottom is None:
        raise InputError("--calibration needs --profile and --require as well", "--calibration")
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.diagnosis.report import report_data, report_of
    from domemargin.studies.readings.file import read_readings

    seen = read_readings(file)
    without = json_only and out is None and not make_report
    folder = None if without else run_folder(out, f"readings {file.stem}")
    report = report_of(seen, question, bottom, own)
    data = report_data(report)
    files: list[Path] = []
    if folder is not None:
        from domemargin.studies.figures.readings import readings_figure
        from domemargin.studies.readings.tables import write_machines, write_set_aside
        from domemargin.studies.text.shift import write_shift

        names = ("readings.json", "machines.csv", "set_aside.csv", "readings.png", "shift.txt")
        files = [folder / name for name in names]
        write_json(data, files[0])
        write_machines(data, files[1])
        write_set_aside(seen, files[2])
        figure = readings_figure(report)
        write_figure(figure, files[3])
        write_shift(report, files[4])
        if make_report:
            from domemargin.fea.core.record import CAUTION
            from domemargin.studies.report.heads import readings_alt, readings_head
            from domemargin.studies.text.readings_print import report_lines

            files.append(
                write_words_report(
                    folder, *readings_head(report, file.name),
                    lambda: print("\n".join(report_lines(report))),
                    [(figure, readings_alt(report))], CAUTION,
                )
            )  # fmt: skip
    if json_only:
        _print_json(data)
        return
    from domemargin.studies.text.readings_print import report_lines

    for line in report_lines(report, files):
        print(line)


def plant(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to, .csv or .parquet.")],
    seed: Annotated[str, typer.Option(metavar="N", help="Another plant for every number.")] = "1",
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace FILE where it is there already.")
    ] = False,
) -> None:
    """Write readings of an invented plant, to try `readings` on."""
    from domemargin.studies.text.plant_file import write_plant

    for line in write_plant(file, seed, overwrite):
        print(line)


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 80)


def _print_json(data: object) -> None:
    # ASCII, so that it gets through any encoding of standard output
    sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
