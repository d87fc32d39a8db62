"""The command `domemargin doming`: tooling and setting to depth, and what depth costs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from domemargin.studies.cli.shared.options import JsonOption, OutOption
from domemargin.studies.cli.shared.reports import ReportOption, write_words_report
from domemargin.studies.cli.shared.solvers import rescued_store, solvers, worker_errors

if TYPE_CHECKING:
    from domemargin.fea.doming.record import DomingRecord
    from domemargin.fea.stroke.stages import Formed
    from domemargin.studies.doming.study import DomingStudy
    from domemargin.studies.figures.moving.film import Film
    from domemargin.studies.study.engines import Engine

TOOLING = typer.Argument(
    metavar="TOOLING", help="A tooling file (TOML) or the name of ready tooling."
)


def doming(
    tooling: Annotated[str, TOOLING],
    parts: Annotated[
        bool, typer.Option("--parts", help="Effect of each part of the formed state on reversal.")
    ] = False,
    budget: Annotated[
        bool,
        typer.Option("--budget", help="Slopes of depth and its cost, and how to gain 0.10 mm."),
    ] = False,
    study: Annotated[
        Path | None,
        typer.Option(metavar="STUDY.toml", help="Solve many variants of the tooling (TOML)."),
    ] = None,
    workers: Annotated[
        str | None, typer.Option("--workers", metavar="N", help="Processes for --study.  [2]")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Solve --study on a Dask cluster instead."),
    ] = None,
    case_limit: Annotated[
        str,
        typer.Option(metavar="SECONDS", help="Longest time for one case of --study, 1 to 86400."),
    ] = "60",
    rescue: Annotated[
        bool, typer.Option("--rescue", help="Keep what can be read of a damaged store of --study.")
    ] = False,
    animation: Annotated[
        bool, typer.Option("--animation", help="Also draw the stroke as doming.gif.")
    ] = False,
    tilt: Annotated[
        str, typer.Option(metavar="ANGLE", help='Tilt of the die, such as "0.1 deg".')
    ] = "0 deg",
    offset: Annotated[
        str, typer.Option(metavar="LENGTH", help='Die off centre, such as "0.05 mm".')
    ] = "0 mm",
    make_report: ReportOption = False,
    out: OutOption = None,
    share_band: Annotated[
        bool,
        typer.Option("--share-band", help="Form and reverse with kinematic shares of 0 to 0.6."),
    ] = False,
    json_only: JsonOption = False,
) -> None:
    """Form a bottom: depth, springback, thinning, force, reversal."""
    import json
    import sys
    from dataclasses import asdict

    from domemargin.profiles.errors import InputError
    from domemargin.profiles.limits import check
    from domemargin.profiles.quantities import parse_quantity
    from domemargin.profiles.tooling.files import load_tooling
    from domemargin.studies.cli.shared.runs import run_folder
    from domemargin.studies.options import in_range

    station = load_tooling(tooling)
    engine = solvers(workers, cluster, 2)
    limit = float(in_range(case_limit, "--case-limit", 1, 86400))
    turned, shifted = (
        parse_quantity(text, kind, f"--{name}")
        for text, kind, name in ((tilt, "angle", "tilt"), (offset, "length", "offset"))
    )
    check("misaligned.tilt", turned, "--tilt")
    check("misaligned.offset", shifted, "--offset")
    if study is not None:
        from domemargin.studies.doming.study import load_doming_study

        if json_only and out is None:
            raise InputError("--study needs --out with --json", "--out", "missing", "a folder")
        plan = load_doming_study(study, station)
        _study(plan, run_folder(out, station.name), engine, limit, rescue)
        return
    without = json_only and out is None and not make_report
    folder = None if without else run_folder(out, station.name)

    from domemargin.fea.doming.doming import solve
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    from domemargin.studies.figures.moving.film import Film

    film = Film()
    formed, record = solve(
        station, reversal="parts" if parts else "formed", watch=film.take if animation else None
    )
    costs = None
    if budget and record.kind == "formed":
        from domemargin.studies.doming.budget import depth_budget

        costs = depth_budget(record)
    sides = None
    if (turned or shifted) and record.kind == "formed":
        from domemargin.fea.doming.misaligned import misaligned

        sides = misaligned(station, formed, turned, shifted)
    band = None
    if share_band and record.kind == "formed":
        from domemargin.fea.doming.kinematic import formed_band

        band = formed_band(station)
    data = record.to_dict() | {
        "kinematic_band": None if band is None else asdict(band),
        "budget": None if costs is None else costs.to_dict(),
        "misaligned": None if sides is None else asdict(sides),
    }
    files = [] if folder is None else _write(folder, data, formed, record, film)
    if make_report and folder is not None and formed.stages:
        from domemargin.studies.figures.doming import doming_figure
        from domemargin.studies.report.heads import doming_alt, doming_head
        from domemargin.studies.text.doming import print_doming

        files.append(
            write_words_report(
                folder, *doming_head(record), lambda: print_doming(record, costs, [], sides),
                [(doming_figure(formed, record), doming_alt(record))], record.caution,
            )
        )  # fmt: skip
    if json_only:
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        from domemargin.studies.text.doming import print_doming

        print_doming(record, costs, files, sides, band)
    if record.kind != "formed":
        print(f"domemargin: the forming could not be carried on: {record.reason}", file=sys.stderr)
        raise typer.Exit(1)
    from domemargin.fea.core.record import UNANSWERED

    failed = [one for one in record.reversal.items() if one[1].kind in UNANSWERED]
    if failed:
        name, found = failed[0]
        print(f"domemargin: the reversal could not be found ({name}): {found.reason}",
              file=sys.stderr)  # fmt: skip
        raise typer.Exit(1)


def _write(
    folder: Path, data: dict[str, Any], formed: Formed, record: DomingRecord, film: Film
) -> list[Path]:
    """The files of one solve: data, and as far as the solve came figure, profile and film."""
    from domemargin.profiles.files.writing import dump_profile
    from domemargin.studies.cli.shared.runs import write_figure, write_json
    from domemargin.studies.doming.formed_profile import formed_profile
    from domemargin.studies.whole_files import write_whole

    files = [folder / "doming.json"]
    write_json(data, files[0])
    if formed.stages:
        from domemargin.studies.figures.doming import doming_figure

        files.append(folder / "doming.png")
        write_figure(doming_figure(formed, record), files[-1])
    if (bottom := formed_profile(formed, record.tooling)) is not None:
        files.append(folder / "formed.toml")
        write_whole(files[-1], dump_profile(bottom))
    if film.frames:
        from domemargin.studies.figures.doming_frames import write_animation

        files.append(folder / "doming.gif")
        write_animation(formed, film, files[-1])
    return files


def _study(
    plan: DomingStudy,
    folder: Path,
    engine: Callable[[], Engine],
    limit: float,
    rescue: bool,
) -> None:
    import sys

    from domemargin.profiles.errors import brief_path
    from domemargin.studies.cli.shared.progress import Reporter
    from domemargin.studies.doming.study import doming_task, write_doming_table
    from domemargin.studies.study.runner import run_task
    from domemargin.studies.text.doming import print_study

    store = folder / "doming-study.sqlite"
    if rescue:
        rescued_store(store)
    old = folder / "doming-study.jsonl"
    if old.exists() and not store.exists():
        text = f"{brief_path(old)} is of an earlier version and is no longer read"
        print(f"domemargin: {text}; all cases are solved anew", file=sys.stderr)
    with Reporter() as reporter, worker_errors():
        outcome = run_task(doming_task(plan), store, engine, reporter, limit=limit)
    if outcome.interrupted:
        raise typer.Exit(130)
    write_doming_table(folder / "doming-study.csv", plan, store)
    formed = outcome.counts.get("formed", 0)
    print_study(plan, (formed, outcome.planned - formed, outcome.planned - outcome.solved), folder)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(doming)
