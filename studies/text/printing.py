"""How commands print with rich: width, plain tables, the files written."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

WIDTH = 80


def narrow_console() -> Console:
    """Standard output, at most WIDTH columns."""
    console = Console(highlight=False, soft_wrap=False)
    if console.width > WIDTH:
        console.width = WIDTH
    return console


def plain_table(*sides: str) -> Table:
    """A table without lines and heads; sides : "left" or "right" of each column."""
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
    for side in sides:
        table.add_column(justify="right" if side == "right" else "left")
    return table


def spaced(name: str) -> str:
    """A name of the code as people write it."""
    return name.replace("_", " ")


def print_files(console: Console, files: Sequence[Path]) -> None:
    """The files written, a line each."""
    if not files:
        return
    console.print()
    for file in files:
        console.print(Text(f"Wrote {file}"), soft_wrap=True)


def announce_compiling() -> None:
    """Say, on a terminal, that the first solve on a machine takes longer than any after it."""
    if not sys.stderr.isatty():
        return
    from domemargin.fea.compiled import is_compiled, is_kept
    from domemargin.fea.shell.newton import converge

    if is_kept(converge) and not is_compiled(converge):
        print("Compiling the solver for this machine, once: about 20 s.", file=sys.stderr)
