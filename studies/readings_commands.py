"""Commands about what a plant measures: gauge readings, and the pressure a drink asks for."""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

JsonOption = Annotated[
    bool,
    typer.Option(
        "--json", help="One JSON object on standard output; files only where --out says so."
    ),
]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(carbonation)


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
    """The pressure that a carbonated drink asks of the bottom, for --require."""
    from studies.carbonation import required_pressure
    from studies.carbonation_text import can_of, quantity, required_data, required_lines, stage_of

    can = can_of(carbonation, fill, headspace, filled_at, air)
    height = quantity(altitude, "altitude", "--altitude")
    stages = tuple(stage_of(text, height) for text in stage or ("store 38 C",))
    required = required_pressure(can, stages, formula)
    if json_only:
        _print_json(required_data(required))
        return
    from fea.record import CAUTION

    for line in (*required_lines(required), "", *_wrapped(CAUTION)):
        print(line)


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 80)


def _print_json(data: object) -> None:
    # ASCII, so that it gets through any encoding of standard output
    sys.stdout.write(json.dumps(data, allow_nan=False) + "\n")
