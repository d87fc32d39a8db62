"""Slopes in words: what a change of each input does to the answers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from domemargin.fea.bottom.slopes import PRESSURE, ranked
from domemargin.profiles.units import PSI
from domemargin.studies.text.printing import spaced

if TYPE_CHECKING:
    from rich.console import Console

    from domemargin.fea.core.record import Record, Slope


def answer_words(quantity: str) -> str:
    """The name of an answer as people say it, with its unit."""
    name, _, at = quantity.partition(" at ")
    words = {
        PRESSURE: "reversal pressure (psi)",
        "first_yield_mpa": "first yield (psi)",
        "wave_onset_flow_mpa": "onset of waves (psi)",
        "wave_onset_deformation_mpa": "onset of waves, deformation theory (psi)",
        "stand_growth_mm": "stand ring growth (mm)",
        "centre_travel_mm": "dome centre growth (mm)",
        "permanent_stand_growth_mm": "permanent stand ring growth (mm)",
        "permanent_centre_travel_mm": "permanent dome centre growth (mm)",
    }[name]
    return f"{words} at {float(at.split()[0]) / PSI:.4g} psi" if at else words


def in_shown_unit(quantity: str, change: float) -> float:
    """A change of an answer in the unit of `answer_words`: psi or mm."""
    return change / PSI if quantity.endswith("_mpa") else change


def number_words(value: float, error: float) -> tuple[str, str]:
    """A value and its error with the decimals that the error leaves."""
    size = max(error, 1e-3 * abs(value), 1e-9)
    places = min(max(0, 1 - math.floor(math.log10(size))), 6)
    return f"{value:+.{places}f}", f"± {error:.{places}f}"


def print_slopes(console: Console, record: Record) -> None:
    """The slopes of the reversal pressure, largest first, and those of the other answers."""
    found = record.slopes or ()
    console.print()
    console.print(Text("Slopes of the reversal pressure"))
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
    for side in ("left", "right", "left", "left"):
        table.add_column(justify="right" if side == "right" else "left")
    for one in ranked(found):
        assert one.change is not None
        assert one.error is not None
        scale = one.per / PSI
        value, error = number_words(one.change / PSI, one.error * scale)
        table.add_row(spaced(one.name), value, error, f"psi per {one.per_words}")
    console.print(table)
    for one in found:
        if one.quantity == PRESSURE and one.change is None:
            console.print(Text(f"{spaced(one.name)}: no slope: {one.reason}"))
    others = [q for q in dict.fromkeys(one.quantity for one in found) if q != PRESSURE]
    if others:
        console.print()
        console.print(Text("What moves the other answers most"))
        table = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
        for _ in range(2):
            table.add_column()
        for quantity in others:
            table.add_row(answer_words(quantity), Text(leading_words(ranked(found, quantity))))
        console.print(table)


def leading_words(found: Sequence[Slope]) -> str:
    """The two largest slopes of an answer in a line."""
    parts = []
    for one in found[:2]:
        assert one.change is not None
        change = in_shown_unit(one.quantity, one.change)
        parts.append(f"{change:+.2g} per {one.per_words} of {spaced(one.name)}")
    return ", ".join(parts)
