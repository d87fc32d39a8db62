"""The command line.  Every command reads its inputs, makes one call and reports.

Exit status: 0 an answer, also one that says not safe; 1 a solve that could not be carried on, or
a missing system library; 2 an invalid input, with one sentence on standard error and
nothing written.  Everything heavy is imported where it is needed: a cold command has a budget.
"""

from __future__ import annotations

import atexit
import gc
import json
import logging
import sys
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from domemargin.fea.errors import SolveError
from domemargin.profiles.errors import InputError, brief_path
from domemargin.studies.cli import best, calibrate, commands, doming, readings_commands
from domemargin.studies.cli.batch import batch
from domemargin.studies.cli.calibrate import CalibrationOption, calibration_in
from domemargin.studies.cli.live import live
from domemargin.studies.cli.metal import metal
from domemargin.studies.cli.shared.options import JsonOption, OutOption
from domemargin.studies.cli.shared.reports import ReportOption, write_reversal_report
from domemargin.studies.cli.trace import trace
from domemargin.studies.cli.uneven import uneven
from domemargin.studies.cli.waviness import waviness

app = typer.Typer(
    help="At what internal pressure does the domed bottom of a can reverse?",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

ProfileArgument = Annotated[
    str,
    typer.Argument(metavar="PROFILE", help="A profile file (TOML) or the name of a ready profile."),
]
WavesOption = Annotated[
    str | None,
    typer.Option(
        metavar="N",
        help="Look at 1 to N waves around the circumference; 0 leaves them out.  [20]",
    ),
]


def main() -> None:
    """Run the command line; errors of the user end in one sentence and a status, not a trace."""
    # a command makes 350 000 objects that stay to its end: searching them for unused ones, while
    # they are made and when the process ends, took a fifth of its time
    gc.set_threshold(500_000)
    atexit.register(gc.freeze)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a name may not fit the terminal's encoding
    warnings.showwarning = _warn
    # where no folder can be written matplotlib says at length that it takes a temporary one
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    try:
        sys.exit(app(prog_name="domemargin", standalone_mode=False) or 0)
    except InputError as error:
        sys.exit(_fail(str(error), 2))
    except SolveError as error:
        sys.exit(_fail(f"the solve could not be carried on: {error.reason}", 1))
    except _USAGE as error:
        sys.exit(_misused(error))
    except KeyboardInterrupt:
        sys.exit(_fail("interrupted", 130))
    except OSError as error:
        from domemargin.studies.whole_files import why

        name = "" if error.filename is None else f"{brief_path(error.filename)} "
        sys.exit(_fail(f"a file {name}cannot be read or written: {why(error)}", 2))


# typer keeps the click that it is built on to itself
_USAGE: type[Any] = typer.BadParameter.__mro__[2]


def _misused(error: Any) -> int:
    """One sentence on an option or argument that is not known, missing or no number."""
    if len(sys.argv) < 2:
        error.show()  # no command at all: the list of commands
        return 2
    context = getattr(error, "ctx", None)
    text = " ".join(str(error.format_message()).split()).rstrip(".")
    if len(text) > 200:
        text = f"{text[:130]}...{text[-60:]}"
    command = context.command_path if context is not None else "domemargin"
    return _fail(f"{text}; `{command} --help` lists what is known", 2)


def _warn(message: Warning | str, *_: Any, **__: Any) -> None:
    """A warning as a sentence, without the line of code that it comes from."""
    print(f"domemargin: warning: {message}", file=sys.stderr)


def _fail(sentence: str, status: int) -> int:
    print(f"domemargin: {sentence}", file=sys.stderr)
    return status


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        print(f"domemargin {version('domemargin')}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """At what internal pressure does the domed bottom of a can reverse?"""


@app.command()
def reversal(
    profile: Annotated[
        list[str],
        typer.Argument(
            metavar="PROFILE...",
            help="Profile files (TOML) or names of ready profiles; many give one table.",
        ),
    ],
    require: Annotated[
        str | None, typer.Option(metavar="PRESSURE", help='Pressure to hold, such as "90 psi".')
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PRESSURE",
            help="Pressure at which growth is wanted; may be repeated.  [60 psi and 90 psi]",
        ),
    ] = None,
    resolution: Annotated[
        str | None,
        typer.Option(metavar="PERCENT", help="Allowed error of mesh, layers and steps.  [0.2 %]"),
    ] = None,
    ceiling: Annotated[
        str | None,
        typer.Option(metavar="PRESSURE", help="Where to stop looking for a reversal.  [4 MPa]"),
    ] = None,
    waves: WavesOption = None,
    model: Annotated[
        str,
        typer.Option(
            metavar="MODEL",
            help="shell; solid, slower, to judge it by; or both.  [shell]",
            show_default=False,
        ),
    ] = "shell",
    slopes: Annotated[
        bool,
        typer.Option("--slopes", help="How fast the answers move with each dimension and value."),
    ] = False,
    calibration: CalibrationOption = None,
    growth_limit: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LIMIT",
            help='Growth that is allowed, such as "permanent-ring 0.5 mm at 60 psi" or '
            '"depth-left 9.8 mm"; may be repeated.',
        ),
    ] = None,
    uncertain: Annotated[
        list[str] | None,
        typer.Option(
            metavar="INPUT",
            help='Standard uncertainty of an input, such as "bottom_gauge 0.003 mm"; may be '
            "repeated.",
        ),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option(
            metavar="TEMPERATURE",
            help='Of the bottom, such as "65 degC": weaker metal when warm.  [the profile\'s]',
        ),
    ] = None,
    length: Annotated[
        bool,
        typer.Option(
            "--length", help="Also solve without the metal's length: how much rests on it."
        ),
    ] = False,
    report: ReportOption = False,
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """The reversal pressure of a bottom, its curve and a figure."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.profiles.files.section import GmshUnavailableError
    from domemargin.studies.cli.shared.runs import run_folder, write_curve, write_figure, write_json
    from domemargin.studies.options import at_temperature, models_of, settings_of

    if len(profile) > 1:
        if slopes or uncertain or growth_limit or model != "shell":
            raise InputError(
                "--slopes, --uncertain, --growth-limit and --model go with one profile; several "
                "were given",
                "PROFILE",
            )
        settings = settings_of(require, at or (), resolution, ceiling, waves)
        batch(profile, settings, calibration_in(calibration), out, json_only)
        return
    bottom = at_temperature(load_profile(profile[0]), temperature)
    models = models_of(model, bottom)
    settings = settings_of(require, at or (), resolution, ceiling, waves)
    tests = calibration_in(calibration)
    without = json_only and out is None and not report
    folder = None if without else run_folder(out, bottom.name)

    from domemargin.fea.bottom.reversal import reversal as solve
    from domemargin.profiles.unusual import unusual
    from domemargin.studies.text.printing import announce_compiling
    from domemargin.studies.text.verdict import answer_data, growth_data
    from domemargin.studies.verdict.answer import answer_of_record, known_of, verdict_of_record
    from domemargin.studies.verdict.growth import growth_verdicts, parse_limit

    known = known_of(uncertain or (), bottom)
    limits = [parse_limit(text, settings.required) for text in growth_limit or ()]
    announce_compiling()
    try:
        records = [solve(bottom, settings, model=name) for name in models]
    except GmshUnavailableError as error:
        raise typer.Exit(_fail(str(error), 1)) from None
    if slopes or known:
        from domemargin.fea.bottom.slopes import with_slopes

        names = None if slopes else known
        records[0] = with_slopes(records[0], replace(settings, model=models[0]), names)
    record = records[0]
    from domemargin.studies.text.bottom.metal_notes import metal_notes

    notes = metal_notes(record, settings, length)
    grown = growth_verdicts(record, settings, limits, answer_of_record(record, tests, known))
    every = [
        one.to_dict()
        | answer_data(answer_of_record(one, tests, known), verdict_of_record(one, tests, known))
        | {"unusual": list(unusual(bottom)), "growth_limits": growth_data(grown)}
        for one in records
    ]
    every[0] |= notes.data
    data = every[0] if len(records) == 1 else dict(zip(models, every, strict=True))
    files: list[Path] = []
    if folder is not None:
        from domemargin.studies.figures.reversal import reversal_figure

        files = [folder / name for name in ("record.json", "curve.csv", "reversal.png")]
        write_json(data, files[0])
        write_curve(record.curve, files[1])
        write_figure(reversal_figure(record, tests, known), files[2])
        if record.slopes and slopes:
            from domemargin.studies.figures.slopes import slopes_figure

            files.append(folder / "slopes.png")
            write_figure(slopes_figure(record), files[-1])
        if report:
            files.append(write_reversal_report(folder, record, settings, profile[0], tests, known))
    if json_only:
        _print_json(data)
    else:
        from domemargin.studies.text.bottom.summary import print_reversal

        judge = records[1] if len(records) > 1 else None
        print_reversal(record, files, judge, tests, known, slopes, grown, notes.rows)
    from domemargin.fea.core.record import KINDS, UNANSWERED

    for one in records:
        if one.kind in UNANSWERED:
            raise typer.Exit(_fail(f"{KINDS[one.kind]}: {one.reason}", 1))


@app.command()
def waves(
    profile: ProfileArgument,
    waves: WavesOption = None,
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """Onset pressure by number of waves, and the first mode in 3D."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.options import settings_of

    bottom = load_profile(profile)
    settings = settings_of(waves=waves)
    if settings.waves < 1:
        raise InputError("--waves is '0'; it must lie in 1 to 100", "--waves", "0", "1 to 100")
    folder = None if json_only and out is None else run_folder(out, bottom.name)

    from domemargin.fea.bottom.onsets import wave_onsets
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    record = wave_onsets(bottom, settings)
    data = record.to_dict()
    files: list[Path] = []
    failed = ""
    if folder is not None:
        from domemargin.studies.figures.moving.mode_picture import RenderError, mode_picture
        from domemargin.studies.figures.waves import waves_figure

        picture = None
        if record.mode is not None:
            try:
                picture = mode_picture(record.outline, record.mode, bottom.chain.heel_height + 4.0)
            except RenderError as error:
                failed = str(error)
        files = [folder / name for name in ("waves.json", "waves.png")]
        write_json(data, files[0])
        write_figure(waves_figure(record, picture), files[1])
    if json_only:
        _print_json(data)
    else:
        from domemargin.studies.text.bottom.summary import print_waves

        print_waves(record, files)
    if record.kind == "not_converged":
        raise typer.Exit(_fail(f"the solve could not be carried on: {record.reason}", 1))
    if failed:
        raise typer.Exit(_fail(failed, 1))


@app.command()
def profile(
    profile: ProfileArgument,
    mesh: Annotated[
        Path | None,
        typer.Option(metavar="FILE.vtu", help="Write the section as a mesh of quads (VTU)."),
    ] = None,
    dxf: Annotated[
        Path | None,
        typer.Option(metavar="FILE.dxf", help="Write the dimensioned section as a drawing (DXF)."),
    ] = None,
    can_height: Annotated[
        str, typer.Option(metavar="LENGTH", help="Height of the can body, for its mass.")
    ] = "115 mm",
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """Draw and dimension a bottom without solving."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder, write_figure

    bottom = load_profile(profile)
    if mesh is not None:
        from domemargin.studies.cli.shared.section_file import check_mesh_path

        check_mesh_path(mesh)
    from domemargin.profiles.mass import HEIGHTS, mass_of
    from domemargin.studies.options import ranged

    mass = mass_of(bottom, ranged(can_height, "length", "--can-height", *HEIGHTS, "mm"))
    if dxf is not None:
        from domemargin.studies.cli.shared.section_file import check_drawing_path

        check_drawing_path(dxf)
    folder = None if json_only and out is None else run_folder(out, bottom.name)
    files: list[Path] = []
    mesh_words = ""
    if mesh is not None:
        from domemargin.profiles.files.section import GmshUnavailableError
        from domemargin.studies.cli.shared.section_file import section_file

        try:
            mesh_words = section_file(bottom, mesh)
        except GmshUnavailableError as error:
            raise typer.Exit(_fail(str(error), 1)) from None
        files.append(mesh)
    if dxf is not None:
        from domemargin.profiles.files.drawing import drawing_text
        from domemargin.studies.whole_files import write_whole

        write_whole(dxf, drawing_text(bottom))
        files.append(dxf)
    if folder is not None:
        from domemargin.studies.figures.drawing import profile_figure

        files.append(folder / "profile.png")
        write_figure(profile_figure(bottom), files[-1])
    from domemargin.studies.text.bottom.summary import print_profile, profile_data

    if json_only:
        _print_json(profile_data(bottom, mass))
    else:
        print_profile(bottom, mass, files, mesh_words)


@app.command()
def profiles() -> None:
    """List the ready profiles."""
    from domemargin.profiles.files.loading import load_profile, ready_profiles
    from domemargin.studies.text.bottom.summary import print_profiles

    print_profiles({name: load_profile(name) for name in ready_profiles()})


def _print_json(data: dict[str, Any]) -> None:
    # ASCII, so that it gets through any encoding of standard output
    sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")


app.command()(live)
app.command()(waviness)
app.command()(trace)
app.command()(uneven)
app.command()(metal)
readings_commands.register(app)
calibrate.register(app)
commands.register(app)
best.register(app)
doming.register(app)
