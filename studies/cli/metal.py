"""The command that turns tests of a metal into its [material] table."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from domemargin.studies.cli.shared.options import JsonOption, OutOption


def metal(
    file: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE",
            help="Tests, .csv with units in the header: engineering or true strain (%), "
            "engineering or true stress (MPa), or curvature (1/mm) and moment (N); "
            "optional specimen, direction (deg), width strain (%).",
        ),
    ],
    law: Annotated[
        str,
        typer.Option(
            metavar="LAW", help="Yield curve: voce, swift, table, or best of the first two."
        ),
    ] = "best",
    gauge: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Of sheet that was bent and unbent.")
    ] = None,
    r_value: Annotated[
        str | None,
        typer.Option("--r-value", metavar="R", help="Mean r-value, where no width was measured."),
    ] = None,
    name: Annotated[
        str, typer.Option(metavar="NAME", help="What the metal is called.  [from the files]")
    ] = "",
    out: OutOption = None,
    json_only: JsonOption = False,
) -> None:
    """The metal of a bottom from tensile and reverse tests."""
    from domemargin.profiles.errors import InputError, brief
    from domemargin.profiles.files.writing import dump_material
    from domemargin.studies.cli.shared.runs import run_folder, write_figure, write_json
    from domemargin.studies.metal.answer import metal_from
    from domemargin.studies.options import ranged
    from domemargin.studies.text.bottom.metal import metal_data, print_metal
    from domemargin.studies.whole_files import write_whole

    thick = None if gauge is None else ranged(gauge, "length", "--gauge", 0.05, 2.0, "mm")
    mean_r = None
    if r_value is not None:
        try:
            mean_r = float(r_value)
        except ValueError:
            mean_r = float("nan")
        if not 0.2 <= mean_r <= 3.0:
            needed = "a number, 0.2 to 3"
            raise InputError(
                f"--r-value is {brief(r_value)}; it must be {needed}", "--r-value", r_value, needed
            )
    answer = metal_from(file, law, thick, mean_r, name)
    folder = None if json_only and out is None else run_folder(out, answer.material.name)
    data = metal_data(answer)
    files: list[Path] = []
    if folder is not None:
        from domemargin.studies.figures.metal import metal_figure

        files = [folder / each for each in ("material.toml", "metal.json", "metal.png")]
        write_whole(files[0], dump_material(answer.material, answer.pedigree))
        write_json(data, files[1])
        write_figure(metal_figure(answer, thick), files[2])
    if json_only:
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    else:
        print_metal(answer, files)
