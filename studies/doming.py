"""The command `domemargin doming`: tooling and setting to depth, and what depth costs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from studies.doming_study import DomingStudy

TOOLING = typer.Argument(
    metavar="TOOLING", help="A tooling file (TOML) or the name of ready tooling."
)


def doming(
    tooling: Annotated[str, TOOLING],
    parts: Annotated[
        bool, typer.Option("--parts", help="What each part of the formed state does to reversal.")
    ] = False,
    budget: Annotated[
        bool,
        typer.Option("--budget", help="Slopes of depth and its cost, and how to win 0.10 mm."),
    ] = False,
    study: Annotated[
        Path | None,
        typer.Option(metavar="STUDY.toml", help="Solve many variants of the tooling (TOML)."),
    ] = None,
    workers: Annotated[int, typer.Option(help="Processes for --study.")] = 2,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Solve --study on a Dask cluster instead."),
    ] = None,
    case_limit: Annotated[
        float, typer.Option(metavar="SECONDS", help="Longest time for one case of --study.")
    ] = 60.0,
    rescue: Annotated[
        bool, typer.Option("--rescue", help="Keep what can be read of a damaged store of --study.")
    ] = False,
    animation: Annotated[
        bool, typer.Option("--animation", help="Also draw the stroke as doming.gif.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for the files; default results/<name>/."),
    ] = None,
    json_only: Annotated[
        bool,
        typer.Option(
            "--json", help="One JSON object on standard output; files only where --out says so."
        ),
    ] = False,
) -> None:
    """Form a bottom: depth, springback, thinning, force, reversal."""
    import json
    import sys

    from profiles.errors import InputError
    from profiles.tooling_files import load_tooling
    from studies.runs import run_folder, write_figure, write_json

    station = load_tooling(tooling)
    if not 1 <= workers <= 256:
        text = f"--workers is {workers}; it must lie in 1 to 256"
        raise InputError(text, "--workers", str(workers), "1 to 256")
    if study is not None:
        from studies.doming_study import load_doming_study

        if json_only and out is None:
            raise InputError("--study needs --out with --json", "--out", "missing", "a folder")
        plan = load_doming_study(study, station)
        _study(plan, run_folder(out, station.name), workers, cluster, case_limit, rescue)
        return
    folder = None if json_only and out is None else run_folder(out, station.name)

    from fea.doming import solve
    from studies.printing import announce_compiling

    announce_compiling()
    from studies.doming_frames import Film

    film = Film()
    formed, record = solve(
        station, reversal="parts" if parts else "formed", watch=film.take if animation else None
    )
    costs = None
    if budget and record.kind == "formed":
        from studies.doming_budget import depth_budget

        costs = depth_budget(record)
    data = record.to_dict() | {"budget": None if costs is None else costs.to_dict()}
    files: list[Path] = []
    if folder is not None:
        files = [folder / "doming.json"]
        write_json(data, files[0])
        if formed.stages:
            from studies.doming_figure import doming_figure

            files.append(folder / "doming.png")
            write_figure(doming_figure(formed, record), files[-1])
        if animation:
            from studies.doming_frames import write_animation

            files.append(folder / "doming.gif")
            write_animation(formed, film, files[-1])
    if json_only:
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        from studies.doming_text import print_doming

        print_doming(record, costs, files)
    if record.kind != "formed":
        print(f"domemargin: the forming could not be carried on: {record.reason}", file=sys.stderr)
        raise typer.Exit(1)


def _study(
    plan: DomingStudy,
    folder: Path,
    workers: int,
    cluster: str | None,
    case_limit: float,
    rescue: bool,
) -> None:
    from functools import partial

    from studies.commands import _worker_errors, rescued_store
    from studies.doming_study import doming_task, write_doming_table
    from studies.doming_text import print_study
    from studies.engines import Cluster, Processes
    from studies.options import in_range
    from studies.progress import Reporter
    from studies.runner import run_task

    in_range(case_limit, "--case-limit", 1, 86400)
    store = folder / "doming-study.sqlite"
    if rescue:
        rescued_store(store)
    engine = partial(Processes, workers) if cluster is None else partial(Cluster, cluster)
    with Reporter() as reporter, _worker_errors():
        outcome = run_task(doming_task(plan), store, engine, reporter, limit=case_limit)
    if outcome.interrupted:
        raise typer.Exit(130)
    write_doming_table(folder / "doming-study.csv", plan, store)
    formed = outcome.counts.get("formed", 0)
    print_study(plan, (formed, outcome.planned - formed, outcome.planned - outcome.solved), folder)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(doming)
