"""The command `domemargin uneven`: what a bottom holds that is not the same all round."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from domemargin.studies.options import required_pressure, share, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from domemargin.fea.around.uneven import EvenBottom, UnevenPath, UnevenRecord
    from domemargin.profiles.around import Around

DEFAULTS = {
    "dome_tilt": ("0.25 deg", "0.5 deg", "1 deg"),
    "dome_offset": ("0.05 mm", "0.1 mm", "0.2 mm"),
    "ovality": ("0.1 mm", "0.2 mm", "0.4 mm"),
    "gauge_difference": ("1 %", "2 %", "4 %"),
    "yield_difference": ("2 %", "5 %", "10 %"),
}
_LIST = list[str] | None


def _amount(kind: str, words: str) -> Any:
    return typer.Option(metavar=kind, help=f"{words}; may be repeated.")


def uneven(
    profile: Annotated[
        str,
        typer.Argument(
            metavar="PROFILE", help="A profile file (TOML) or the name of a ready profile."
        ),
    ],
    tilt: Annotated[_LIST, _amount("ANGLE", "Tilt of the dome")] = None,
    offset: Annotated[_LIST, _amount("LENGTH", "Offset of the dome against the nose")] = None,
    ovality: Annotated[
        _LIST, _amount("LENGTH", "Largest less smallest diameter of the stand ring")
    ] = None,
    gauge_difference: Annotated[
        _LIST, _amount("PERCENT", "Thickest less thinnest gauge round the can, over the mean")
    ] = None,
    yield_difference: Annotated[
        _LIST, _amount("PERCENT", "The same of the yield strength, with the rolling direction")
    ] = None,
    require: Annotated[
        str | None, typer.Option(metavar="PRESSURE", help="Pressure the bottom must hold.")
    ] = None,
    tolerable: Annotated[
        str | None,
        typer.Option(
            metavar="AMOUNT",
            help="Solve for the largest tilt, offset, ovality, gauge-difference or "
            "yield-difference that holds the required pressure.",
        ),
    ] = None,
    harmonics: Annotated[
        str | None,
        typer.Option(metavar="N", help="Harmonics round the can.  [as many as it takes]"),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder for figure, 3D picture and VTU series."),
    ] = None,
    json_only: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output.")
    ] = False,
) -> None:
    """What a bottom holds that is not the same all round.

    Amounts come from [around] in the profile file, options take their place.  An option given
    several times makes a curve; without any, tilts of 0.25, 0.5 and 1 degree are solved.
    """
    import json
    import sys

    from domemargin.profiles import InputError
    from domemargin.profiles.around import Around
    from domemargin.profiles.errors import brief
    from domemargin.profiles.files.loading import load_profile

    bottom = load_profile(profile)
    texts = {
        "dome_tilt": tilt, "dome_offset": offset, "ovality": ovality,
        "gauge_difference": gauge_difference, "yield_difference": yield_difference,
    }  # fmt: skip
    given = {name: list(values) for name, values in texts.items() if values}
    must = None if require is None else required_pressure(require, "--require")
    number = None if harmonics is None else whole(harmonics, "--harmonics")
    name = None
    if tolerable is not None:
        names = {_option(name): name for name in texts}
        name = names.get(f"--{tolerable}")
        if name is None or must is None:
            allowed = ", ".join(option[2:] for option in names)
            what = brief(tolerable) if name is None else "given without --require"
            needed = f"one of {allowed}" if name is None else "given with --require"
            raise InputError(
                f"--tolerable is {what}; it must be {needed}", "--tolerable", what, needed
            )
    if not given and bottom.around is None:
        default = name or "dome_tilt"
        given = {default: list(DEFAULTS[default])}
    cases, varied = _cases(bottom.around or Around(), given)

    from domemargin.fea.around.tolerable import tolerable as solve_tolerable
    from domemargin.fea.around.uneven import even_bottom, solve_uneven
    from domemargin.fea.core.settings import Settings
    from domemargin.studies.text.bottom.uneven import print_uneven, uneven_data
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    even = even_bottom(bottom, Settings(required=must))
    solved = [solve_uneven(bottom, case, harmonics=number, even=even) for case in cases]
    found = [record for record, _ in solved]
    most = None
    if name is not None and must is not None:
        most = solve_tolerable(even, name, must, bottom.around)
    files: list[Path] = []
    if out is not None:
        files = _write(out, even, found, solved[-1][1], varied)
    if json_only:
        data = uneven_data(even, found, most)
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        from domemargin.studies.text.printing import narrow_console, print_files

        print_uneven(even, found, varied, most)
        print_files(narrow_console(), files)
    failed = [record for record in found if record.kind in ("not_converged", "not_resolved")]
    if failed:
        print(f"domemargin: {failed[0].reason}", file=sys.stderr)
        raise typer.Exit(1)


def _write(
    folder: Path,
    even: EvenBottom,
    found: Sequence[UnevenRecord],
    path: UnevenPath,
    varied: str | None,
) -> list[Path]:
    """Write uneven.png, and the states of the last bottom as VTU files with a list of them."""
    import meshio

    from domemargin.studies.cli.shared.runs import write_figure
    from domemargin.studies.figures.uneven import picture_of, series, uneven_figure
    from domemargin.studies.whole_files import whole_file, write_whole

    figure, listing = folder / "uneven.png", folder / "uneven.pvd"
    write_figure(uneven_figure(even, found, varied, picture_of(path)), figure)
    states, entries = series(path), []
    for number, (pressure, points) in enumerate(zip(states.pressures, states.points)):
        file = folder / f"uneven_{number:02d}.vtu"
        moved = {"displacement": points - states.points[0]}
        mesh = meshio.Mesh(points, [("quad", states.quads)], point_data=moved)
        with whole_file(file) as temporary:
            meshio.write(str(temporary), mesh, file_format="vtu")
        entries.append(f'<DataSet timestep="{pressure:.6g}" part="0" file="{file.name}"/>')
    head = '<?xml version="1.0"?>\n<VTKFile type="Collection" version="0.1"><Collection>\n'
    write_whole(listing, head + "\n".join(entries) + "\n</Collection></VTKFile>\n")
    return [figure, listing]


def _option(name: str) -> str:
    return "--" + name.removeprefix("dome_").replace("_", "-")


def _cases(base: Around, given: dict[str, list[str]]) -> tuple[list[Around], str | None]:
    """What is to be solved, and the amount that varies; None if nothing does."""
    from domemargin.profiles import InputError, parse_quantity
    from domemargin.profiles.limits import LIMITS

    several = [name for name, values in given.items() if len(values) > 1]
    if len(several) > 1:
        option = _option(several[1])
        raise InputError(
            f"{option} is given {len(given[several[1]])} times, and {_option(several[0])} too; "
            "only one amount may be given several times",
            option,
            f"{len(given[several[1]])} times",
            "once",
        )
    values: dict[str, list[float]] = {}
    for name, texts in given.items():
        kind = LIMITS[f"around.{name}"].kind
        values[name] = [
            share(text, _option(name)) if kind == "number"
            else parse_quantity(text, kind, _option(name))
            for text in texts
        ]  # fmt: skip
    varied = several[0] if several else (next(iter(values)) if len(values) == 1 else None)
    base = base.changed(**{name: listed[0] for name, listed in values.items() if name != varied})
    if varied is None:
        return [base], None
    return [base.changed(**{varied: value}) for value in values[varied]], varied
