"""Shares of cans in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.profiles.limits import shown
from domemargin.profiles.units import PSI
from domemargin.studies.study.varied import column_of, kind_of, title_of
from domemargin.studies.text.printing import plain_table

if TYPE_CHECKING:
    from rich.console import Console

    from domemargin.studies.margin.rare_line import RareReport

PERCENT, MILLION = ("%", 100.0), ("in a million", 1e6)


def unit_of(share: float) -> tuple[str, float]:
    """Percent, or cans of a million for shares that are small."""
    return PERCENT if share >= 0.001 else MILLION


def share_words(share: float) -> str:
    """A share of cans as people say it."""
    word, factor = unit_of(share) if share > 0.0 else PERCENT
    return f"{factor * share:.3g} {word}"


def interval_words(low: float, high: float) -> str:
    """Two shares in the unit of the larger, to two figures of their distance."""
    word, factor = unit_of(high)
    low, high = factor * low, factor * high
    places = max(0, 1 - math.floor(math.log10(high - low))) if high > low else 0
    return f"{low:.{places}f} to {high:.{places}f} {word}"


def print_rare(console: Console, report: RareReport, required: float) -> None:
    """The share by the likeliest failing can, and what that can is like."""
    rare = report.rare
    console.print()
    console.print(Text("Rare failures", style="bold"))
    table = plain_table("left", "left")
    if rare.share is not None:
        assert rare.low is not None
        assert rare.high is not None
        assert rare.variation is not None
        table.add_row(f"Below {required / PSI:.4g} psi", Text(share_words(rare.share), "bold"))
        table.add_row("", f"95 % interval {interval_words(rare.low, rare.high)}, of the drawing")
        by = f"coefficient of variation {100.0 * rare.variation:.0f} %"
        if not rare.reached:
            by += ", more than was aimed at: take it for an order of size"
        table.add_row("", by)
    if rare.reason:
        table.add_row("To know", rare.reason)
    table.add_row("By", f"{rare.solves} solves in {report.seconds:.1f} s of one core")
    if report.unanswered:
        table.add_row("", f"{report.unanswered} of them without an answer, counted as failing")
    console.print(table)
    for i, parts in enumerate(report.combinations):
        console.print()
        console.print(Text(
            f"{'Likeliest' if i == 0 else 'Next'} failing can, "
            f"{rare.points[i].distance:.2f} standard deviations from the middle one"
        ))  # fmt: skip
        rows = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
        for head in ("", "there", "middle", "away", "spread assumed"):
            rows.add_column(head, justify="left" if head in ("", "spread assumed") else "right")
        for part in sorted(parts, key=lambda part: -abs(part.away)):
            kind = kind_of(part.name)
            rows.add_row(
                title_of(part.name).rsplit(" (", 1)[0], shown(part.value, kind, 5),
                shown(part.usual, kind, 5), f"{part.away:+.2f}", part.tail,
            )  # fmt: skip
        console.print(rows)
    if report.combinations:
        console.print(Text(
            "A share this small rests on the tails: no plant has measured them that far out."
        ))  # fmt: skip


def rare_data(report: RareReport) -> dict[str, Any]:
    """Rare failures, ready for JSON; angles in degrees."""
    rare = report.rare

    def of(name: str, value: float) -> float:
        return math.degrees(value) if kind_of(name) == "angle" else value

    return {
        "share_below": rare.share,
        "interval_95": None if rare.low is None else [rare.low, rare.high],
        "variation": rare.variation,
        "reached": rare.reached,
        "first_order_share": rare.first_order,
        "solves": rare.solves,
        "unanswered": report.unanswered,
        "reason": rare.reason,
        "combinations": [
            {
                "distance": point.distance,
                "quantities": [
                    {
                        "quantity": column_of(part.name),
                        "value": of(part.name, part.value),
                        "mean": of(part.name, part.usual),
                        "deviations": part.away,
                        "assumed": part.tail,
                    }
                    for part in parts
                ],
            }
            for point, parts in zip(rare.points, report.combinations)
        ],
    }
