"""Commands that ask many solves: study, margin, compare, scatter.  Each makes one call."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from domemargin.profiles.errors import InputError, brief_path
from domemargin.studies.cli.calibrate import CalibrationOption, calibration_in
from domemargin.studies.cli.shared.options import JsonOnlyOption, OutOption
from domemargin.studies.cli.shared.reports import ReportOption, write_words_report
from domemargin.studies.cli.shared.solvers import rescued_store, solvers, worker_errors

if TYPE_CHECKING:
    from domemargin.studies.study.study import Study

StudyArgument = Annotated[
    str, typer.Argument(metavar="FILE", help="A study file (TOML) or the name of a ready study.")
]
ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", metavar="PROFILE", help="Another base bottom than the file's."),
]
RequireOption = Annotated[
    str | None,
    typer.Option("--require", metavar="PRESSURE", help="Another pressure to hold than the file's."),
]
WorkersOption = Annotated[
    str | None,
    typer.Option("--workers", metavar="N", help="Processes.  [as many as there are cores]"),
]
ClusterOption = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="Solve on a Dask cluster instead."),
]
ErrorOption = Annotated[
    str,
    typer.Option("--error", metavar="PRESSURE", help="Most error of the surrogate."),
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (study, studies, margin, compare, scatter):
        app.command()(command)


def study(
    file: StudyArgument,
    profile: ProfileOption = None,
    require: RequireOption = None,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    out: OutOption = None,
    rescue: Annotated[
        bool,
        typer.Option("--rescue", help="Keep what can be read of a damaged store, solve the rest."),
    ] = False,
    case_limit: Annotated[
        str,
        typer.Option("--case-limit", metavar="S", help="Longest time for a case, 1 to 86400 s."),
    ] = "60",
    calibration: CalibrationOption = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """Solve all cases of a study; run it again to go on."""
    from domemargin.studies.cli.shared.runs import run_folder
    from domemargin.studies.options import in_range

    limit = float(in_range(case_limit, "--case-limit", 1, 86400))
    engine = solvers(workers, cluster)
    tests = calibration_in(calibration)
    asked = _study(file, profile, require)
    if not asked.varied:
        raise InputError("vary is missing; this study is for `domemargin scatter`", "vary")
    folder = run_folder(out, asked.name)
    store = folder / "study.sqlite"
    if rescue:
        rescued_store(store)

    from domemargin.studies.cli.shared.progress import Reporter
    from domemargin.studies.study.runner import run_study
    from domemargin.studies.study.store import StoreError
    from domemargin.studies.study.table import export, study_in
    from domemargin.studies.text.printing import announce_compiling
    from domemargin.studies.text.study import outcome_data, print_outcome
    from domemargin.studies.verdict.table import with_verdicts

    if store.exists():
        with contextlib.suppress(StoreError):  # a run says what is wrong with it
            held = study_in(store).name
            if held != asked.name:
                print(f"domemargin: {str(folder)!r} held the study {held!r}; its cases stay in the "
                      "store, its tables are replaced", file=sys.stderr)  # fmt: skip
    announce_compiling()
    with Reporter() as reporter, worker_errors():
        outcome = run_study(asked, store, engine, on_progress=reporter, limit=limit)
    files = []
    if not outcome.interrupted:
        files = [folder / "cases.csv", folder / "cases.parquet"]
        for to in files:
            export(store, to, partial(with_verdicts, study=asked, calibration=tests))
    if json_only:
        _print_json(outcome_data(outcome))
    else:
        print_outcome(asked, outcome, [store, *files])
    if outcome.interrupted:
        raise typer.Exit(130)


def studies() -> None:
    """List the ready studies."""
    from domemargin.studies.study.study_file import load_study, ready_studies
    from domemargin.studies.text.study import print_studies

    print_studies({name: load_study(name) for name in ready_studies()})


def margin(
    result: Annotated[Path, typer.Argument(metavar="RESULT", help="The folder of a study's run.")],
    at_margin: Annotated[
        str, typer.Option("--margin", metavar="PERCENT", help="Margin that must be left.")
    ] = "0 %",
    require: RequireOption = None,
    error: ErrorOption = "0.5 psi",
    calibration: CalibrationOption = None,
    workers: WorkersOption = None,
    make_report: ReportOption = False,
    out: OutOption = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """Tolerable depth loss of a study, slopes, what matters most."""
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.margin.margin import margin_report, store_in
    from domemargin.studies.options import ranged, required_pressure, share
    from domemargin.studies.text.study import margin_data, print_margin

    engine = solvers(workers, None)
    wanted = share(at_margin, "--margin", most=1.0)
    required = None if require is None else required_pressure(require, "--require")
    most_error = ranged(error, "pressure", "--error", 1e-6, 1.0, "MPa")
    tests = calibration_in(calibration)
    store = store_in(result)
    folder = run_folder(store.parent if out is None else out, "margin")
    with worker_errors():
        report = margin_report(store, wanted, required, most_error, engine, calibration=tests)
    data = margin_data(report)
    files = [folder / "margin.json", folder / "margin.png"]
    write_json(data, files[0])
    from domemargin.studies.figures.margin import margin_figure

    figure = margin_figure(report)
    write_figure(figure, files[1])
    if make_report:
        from domemargin.studies.report.heads import margin_alt, margin_head

        files.append(
            write_words_report(folder, *margin_head(report), lambda: print_margin(report, ()),
                               [(figure, margin_alt(report))], report.caution)
        )  # fmt: skip
    if json_only:
        _print_json(data)
    else:
        print_margin(report, files)


def compare(
    first: Annotated[
        str, typer.Argument(metavar="A", help="A profile, or the folder of a study's run.")
    ],
    second: Annotated[
        str, typer.Argument(metavar="B", help="Another profile, or the same study of another.")
    ],
    require: RequireOption = None,
    calibration: CalibrationOption = None,
    make_report: ReportOption = False,
    out: OutOption = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """Two bottoms, each by itself or over the same study."""
    if not _is_result(first) and not _is_result(second):
        _compare_bases(first, second, require, calibration, out, json_only)
        return
    for one, other in ((first, second), (second, first)):
        if _is_result(one) and not _is_result(other):
            raise InputError(
                f"{brief_path(one)} is a study's result and {brief_path(other)} is none; compare "
                "two profiles, or two results of one study",
                "compare",
            )
    if require is not None:
        raise InputError("--require goes with two profiles; a study has its own", "--require")
    from domemargin.studies.cli.shared.runs import run_folder, write_figure
    from domemargin.studies.figures.compare import compare_figure
    from domemargin.studies.figures.style import styled
    from domemargin.studies.margin.compare import compare as compared
    from domemargin.studies.text.study import comparison_data, print_comparison
    from domemargin.studies.whole_files import write_whole

    comparison = compared(Path(first), Path(second), calibration_in(calibration))
    name = f"{comparison.a.profile.name} against {comparison.b.profile.name}"
    folder = run_folder(out, name)
    figure = compare_figure(comparison)
    files = [folder / "compare.pdf", folder / "compare.png"]
    with styled():
        drawn = io.BytesIO()
        figure.savefig(drawn, format="pdf")
    write_whole(files[0], drawn.getvalue())
    write_figure(figure, files[1])
    if make_report:
        from domemargin.studies.report.heads import compare_alt, compare_head

        files.append(
            write_words_report(
                folder, *compare_head(comparison), lambda: print_comparison(comparison, ()),
                [(figure, compare_alt(comparison))], comparison.caution,
            )
        )  # fmt: skip
    if json_only:
        _print_json(comparison_data(comparison))
    else:
        print_comparison(comparison, files)


def _is_result(text: str) -> bool:
    """Whether an argument means a study's result: a folder, or a store."""
    path = Path(text)
    try:
        return path.is_dir() or path.suffix == ".sqlite"
    except (OSError, ValueError):
        return False


def _compare_bases(
    first: str, second: str, require: str | None, calibration: Path | None, out: Path | None,
    json_only: bool,
) -> None:  # fmt: skip
    from domemargin.fea.core.settings import Settings
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder, write_json
    from domemargin.studies.options import required_pressure

    required = None if require is None else required_pressure(require, "--require")
    tests = calibration_in(calibration)
    profiles = load_profile(first), load_profile(second)
    name = f"{profiles[0].name} against {profiles[1].name}"
    folder = None if json_only and out is None else run_folder(out, name)

    from domemargin.studies.margin.bases import bases
    from domemargin.studies.text.bases import bases_data, print_bases
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    found = bases(*profiles, Settings(required=required), tests)
    data = bases_data(found)
    files = []
    if folder is not None:
        files = [folder / "compare.json"]
        write_json(data, files[0])
    if json_only:
        _print_json(data)
    else:
        print_bases(found, files)


def scatter(
    file: StudyArgument,
    profile: ProfileOption = None,
    require: RequireOption = None,
    cans: Annotated[
        str, typer.Option(metavar="N", help="Cans drawn, 1000 to 10000000.")
    ] = "100000",
    training: Annotated[
        str, typer.Option(metavar="N", help="Cases solved for the surrogate, 16 to 4096.")
    ] = "128",
    error: ErrorOption = "0.5 psi",
    rare: Annotated[
        bool,
        typer.Option("--rare", help="Also the likeliest failing can, and shares of a millionth."),
    ] = False,
    calibration: CalibrationOption = None,
    make_report: ReportOption = False,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    out: OutOption = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """The share of cans below the required pressure.  Cans scatter as the study file says."""
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.options import in_range, ranged

    drawn = in_range(cans, "--cans", 1000, 10_000_000)
    solved = in_range(training, "--training", 16, 4096)
    engine = solvers(workers, cluster)
    asked = _study(file, profile, require)
    most_error = ranged(error, "pressure", "--error", 1e-6, 1.0, "MPa")
    asked.requirement()
    tests = calibration_in(calibration)
    if asked.scatter is None:
        raise InputError("scatter is missing from the study; give [scatter.<quantity>]", "scatter")
    folder = run_folder(out, asked.name)
    folder.mkdir(parents=True, exist_ok=True)

    from domemargin.studies.cli.shared.progress import Reporter
    from domemargin.studies.figures.scatter import scatter_figure
    from domemargin.studies.margin.scatter import Interrupted, scatter_report
    from domemargin.studies.text.study import print_scatter, scatter_data

    try:
        with Reporter() as reporter, worker_errors():
            report = scatter_report(
                asked, folder, engine, None, drawn, solved, most_error,
                on_progress=reporter, rare=rare, calibration=tests,
            )  # fmt: skip
    except Interrupted as stop:
        print(f"domemargin: {stop}", file=sys.stderr)
        raise typer.Exit(130) from None
    data = scatter_data(report)
    files = [folder / "scatter.json", folder / "scatter.png"]
    write_json(data, files[0])
    figure = scatter_figure(report)
    write_figure(figure, files[1])
    if make_report:
        from domemargin.studies.report.heads import scatter_alt, scatter_head

        files.append(
            write_words_report(folder, *scatter_head(report), lambda: print_scatter(report, ()),
                               [(figure, scatter_alt(report))], report.caution)
        )  # fmt: skip
    if json_only:
        _print_json(data)
    else:
        print_scatter(report, files)


def _study(file: str, profile: str | None, require: str | None) -> Study:
    from domemargin.studies.options import required_pressure
    from domemargin.studies.study.study_file import load_study

    required = None if require is None else required_pressure(require, "--require")
    asked = load_study(file, profile)
    return asked if required is None else replace(asked, required=required)


def _print_json(data: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
