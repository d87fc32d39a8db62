"""The command `domemargin waviness`: pressure lost by waves round the can."""

from __future__ import annotations

from typing import Annotated

import typer

from domemargin.studies.options import settings_of, whole

PROFILE = typer.Argument(
    metavar="PROFILE", help="A profile file (TOML) or the name of a ready profile."
)


def waviness(
    profile: Annotated[str, PROFILE],
    waves: Annotated[
        str, typer.Option(metavar="N", help="Number of waves round the can, 1 to 40.")
    ] = "2",
    amplitude: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LENGTH",
            help="Height of the waves, zero to peak; may be repeated.  [5, 10, 20 and 50 um]",
        ),
    ] = None,
    json_only: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output.")
    ] = False,
) -> None:
    """Reversal pressure lost by waviness round the can."""
    import json
    import sys
    from dataclasses import asdict, replace

    from domemargin.profiles import parse_quantity
    from domemargin.profiles.files.loading import load_profile

    bottom = load_profile(profile)
    number = whole(waves, "--waves")
    texts = amplitude or ["5 um", "10 um", "20 um", "50 um"]
    heights = [parse_quantity(text, "length", "--amplitude") for text in texts]
    settings = replace(settings_of(), follow=False)

    from domemargin.fea.around.waviness import waviness as solve
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    found = solve(bottom, number, heights, settings)
    kind, reason = found[0].kind, found[0].reason
    if json_only:
        shape = {name: getattr(found[0], name).tolist() for name in ("radial", "axial", "hoop")}
        keep = ("amplitude_mm", "pressure_mpa", "share_lost")
        data = {
            "name": bottom.name,
            "kind": kind,
            "reason": reason,
            "waves": number,
            "reversal_pressure_mpa": found[0].reversal_pressure_mpa,
            "growth": found[0].growth,
            "costs": [{name: asdict(entry)[name] for name in keep} for entry in found],
            "shape": shape,
            "caution": found[0].caution,
        }
        sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
    elif kind == "found":
        from domemargin.studies.text.bottom.summary import print_waviness

        print_waviness(bottom, found)
    if kind != "found":
        print(f"domemargin: {reason}", file=sys.stderr)
        raise typer.Exit(1)
