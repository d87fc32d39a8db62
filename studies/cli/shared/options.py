"""Options that many commands have."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder for the files; default results/<name>/."),
]
JsonOption = Annotated[
    bool,
    typer.Option(
        "--json", help="One JSON object on standard output; files only where --out says so."
    ),
]
JsonOnlyOption = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output instead of words.")
]
