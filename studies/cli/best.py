"""The commands `domemargin best` and `domemargin rank`."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from domemargin.studies.cli.shared.options import JsonOnlyOption, JsonOption, OutOption


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (best, rank):
        app.command()(command)


def best(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="What is to be best (TOML), or 'north'.")
    ],
    profile: Annotated[
        str | None,
        typer.Option("--profile", metavar="PROFILE", help="Another bottom to start from."),
    ] = None,
    no_trade: Annotated[
        bool, typer.Option("--no-trade-off", help="Leave out the curve of mass against margin.")
    ] = False,
    no_solid: Annotated[
        bool, typer.Option("--no-solid", help="Leave out the check by the solid.")
    ] = False,
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """The lightest bottom that holds, or the strongest."""
    from domemargin.studies.best.request import load_request
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json

    request = load_request(file, profile)
    folder = None if json_only and out is None else run_folder(out, request.name)

    from domemargin.studies.best.best import best_bottom
    from domemargin.studies.text.bottom.best import best_data, print_best
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    told = sys.stderr.isatty()

    def say(words: str) -> None:
        if told:
            print(f"{words} ...", file=sys.stderr)

    report = best_bottom(request, trade=not no_trade, solid=not no_solid, on_step=say)
    data = best_data(report)
    files: list[Path] = []
    if folder is not None:
        from domemargin.profiles import dump_profile
        from domemargin.studies.figures.designs.best import best_figure
        from domemargin.studies.study.varied import bottom_at
        from domemargin.studies.whole_files import write_whole

        files = [folder / "best.json", folder / "best.png"]
        write_json(data, files[0])
        write_figure(best_figure(report), files[1])
        if report.best is not None:
            from dataclasses import replace

            found = bottom_at(request.profile, report.best.values)
            files.append(folder / "best.toml")
            write_whole(files[-1], dump_profile(replace(found, name=request.name)))
    if json_only:
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        print_best(report, files)


def rank(
    result: Annotated[Path, typer.Argument(metavar="RESULT", help="The folder of a study's run.")],
    at_margin: Annotated[
        str, typer.Option("--margin", metavar="PERCENT", help="Margin that must be left.")
    ] = "0 %",
    require: Annotated[
        str | None,
        typer.Option("--require", metavar="PRESSURE", help="Another pressure to hold."),
    ] = None,
    can_height: Annotated[
        str, typer.Option(metavar="LENGTH", help="Height of the can body, for its mass.")
    ] = "115 mm",
    out: OutOption = None,
    json_only: JsonOnlyOption = False,
) -> None:
    """The designs of a study that hold, the lightest first."""
    from domemargin.profiles.mass import HEIGHTS
    from domemargin.studies.best.rank import ranking
    from domemargin.studies.cli.shared.runs import run_folder
    from domemargin.studies.margin.margin import store_in
    from domemargin.studies.options import ranged, required_pressure, share
    from domemargin.studies.text.bottom.best import print_ranking, ranking_data
    from domemargin.studies.whole_files import write_whole

    wanted = share(at_margin, "--margin", most=1.0)
    required = None if require is None else required_pressure(require, "--require")
    height = ranged(can_height, "length", "--can-height", *HEIGHTS, "mm")
    store = store_in(result)
    folder = run_folder(store.parent if out is None else out, "rank")
    found = ranking(store, wanted, required, height)
    files = [folder / "ranked.csv"]
    write_whole(files[0], found.table.to_csv(index=False))
    if json_only:
        sys.stdout.write(json.dumps(ranking_data(found), allow_nan=False) + "\n")
    else:
        print_ranking(found, files)
