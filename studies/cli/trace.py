"""The command `domemargin trace`: a traced or drawn contour to a profile file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from domemargin.studies.cli.shared.options import JsonOption, OutOption

if TYPE_CHECKING:
    from domemargin.profiles import Profile


def trace(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Points r, z (.csv or .parquet), or a .dxf.")
    ],
    profile: Annotated[
        str,
        typer.Option(
            "--profile",
            metavar="PROFILE",
            help="Bottom whose gauges and metal are taken, and what the trace does not show.",
        ),
    ] = "north",
    face: Annotated[
        str, typer.Option(metavar="FACE", help="What was traced: outside, inside or mid.")
    ] = "outside",
    unit: Annotated[
        str | None,
        typer.Option(metavar="UNIT", help="Unit of the points where the header names none."),
    ] = None,
    gauge: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Gauge of the bottom.  [the profile's]")
    ] = None,
    zones: Annotated[
        str | None,
        typer.Option(metavar="N", help="Radii of the dome, 1 to 4.  [as few as fit the points]"),
    ] = None,
    layer: Annotated[
        str | None, typer.Option(metavar="NAME", help="Layer of a .dxf that holds the line.")
    ] = None,
    axis_given: Annotated[
        bool, typer.Option("--axis-given", help="r is counted from the axis: do not look for it.")
    ] = False,
    keep_misfit: Annotated[
        bool, typer.Option("--keep-misfit", help="Keep the misfit in the profile, as its offset.")
    ] = False,
    no_pressure: Annotated[
        bool, typer.Option("--no-pressure", help="Leave out the reversal pressure.")
    ] = False,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="Name of the profile.")] = None,
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """A profile file from a traced or drawn contour, with limits."""
    import json
    import sys
    from dataclasses import replace

    from domemargin.profiles.errors import InputError, brief
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.options import in_range, settings_of

    if face not in ("outside", "inside", "mid"):
        allowed = "outside, inside or mid"
        raise InputError(f"--face is {brief(face)}; it must be {allowed}", "--face", face, allowed)
    many = None if zones is None else in_range(zones, "--zones", 1, 4)
    base = _with_gauge(load_profile(profile), gauge)

    from domemargin.studies.trace.points import read_points

    drawn = file.suffix.lower() == ".dxf"
    drawn_notes: tuple[str, ...] = ()
    if drawn:
        from domemargin.studies.trace.drawn import read_drawing

        drawing = read_drawing(file, layer, unit)
        points, drawn_notes = drawing.points, drawing.notes
    elif layer is not None:
        raise InputError(f"--layer is {brief(layer)}, but only a .dxf has layers", "--layer")
    else:
        points = read_points(file, unit)
    title = name or f"{file.stem}, {'drawn' if drawn else 'traced'}"
    folder = None if json_only and out is None else run_folder(out, title)

    from domemargin.studies.text.bottom.trace import print_trace, trace_data
    from domemargin.studies.text.printing import announce_compiling
    from domemargin.studies.trace.report import profile_text, trace_report

    settings = None
    if not no_pressure:
        announce_compiling()
        settings = replace(settings_of(), follow=False)
    report = trace_report(
        points, base, face, title, many, axis_given, keep_misfit, settings=settings
    )
    report = replace(report, notes=(*drawn_notes, *report.notes))
    data = trace_data(report)
    files: list[Path] = []
    if folder is not None:
        from domemargin.studies.figures.designs.trace import trace_figure
        from domemargin.studies.whole_files import write_whole

        files = [folder / part for part in ("profile.toml", "trace.json", "trace.png")]
        write_whole(files[0], profile_text(report))
        write_json(data, files[1])
        write_figure(trace_figure(report), files[2])
        if report.aside:
            files.append(folder / "set-aside.csv")
            write_whole(files[-1], _aside_text(data["set_aside"]))
    if json_only:
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        print_trace(report, files)


def _with_gauge(base: Profile, gauge: str | None) -> Profile:
    if gauge is None:
        return base
    from domemargin.profiles import parse_quantity
    from domemargin.profiles.limits import check

    value = parse_quantity(gauge, "length", "--gauge")
    check("sheet.bottom_gauge", value, "--gauge")
    return base.replaced(bottom_gauge=value)


def _aside_text(rows: list[dict[str, object]]) -> str:
    import csv
    import io

    from domemargin.studies.whole_files import cells

    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(["line", "r (mm)", "z (mm)", "reason"])
    for row in rows:
        table.writerow(
            cells("" if row[k] is None else row[k] for k in ("line", "x", "z", "reason"))
        )
    return text.getvalue()
