"""Verdicts on growth in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.profiles.units import PSI
from domemargin.studies.text.verdict import COLOURS
from domemargin.studies.verdict.growth import KNOWN, LEAST, GrowthVerdict

if TYPE_CHECKING:
    from rich.console import Console


def print_growth_verdicts(console: Console, found: Sequence[GrowthVerdict]) -> None:
    """A line on each limit."""
    if not found:
        return
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    table.add_column("Limit (mm)")
    for head in ("limit", "best", "interval"):
        table.add_column(head, justify="right")
    table.add_column("verdict")
    for one in found:
        asked = one.asked
        side = "at least" if asked.name in LEAST else "at most"
        table.add_row(
            f"{KNOWN[asked.name]} at {asked.pressure / PSI:.4g} psi",
            f"{side} {asked.limit:.4g}",
            "-" if one.value is None else f"{one.value:.2f}",
            f"{_end(one.strong)} to {_end(one.weak)}",
            Text(one.word, style=f"bold {COLOURS.get(one.word, 'red')}"),
        )
    console.print(table)
    for reason in dict.fromkeys(one.reason for one in found if one.reason):
        console.print(Text(f"{reason[0].upper()}{reason[1:]}."))
    console.print()


def _end(value: float | None) -> str:
    return "reversal" if value is None else f"{value:.2f}"


def growth_data(found: Sequence[GrowthVerdict]) -> list[dict[str, Any]]:
    """Verdicts on growth, ready for JSON; lengths mm, pressures MPa."""
    return [asdict(one) for one in found]
