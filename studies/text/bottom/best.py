"""The best bottom, and ranked designs, in words and as data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.profiles.units import PSI
from domemargin.studies.study.table import PRESSURE
from domemargin.studies.study.varied import column_of, kind_of, title_of
from domemargin.studies.text.printing import narrow_console, plain_table, print_files
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.studies.best.best import BestReport, Design
    from domemargin.studies.best.rank import Ranking

_SHOWN = 10  # designs that are printed


def _shown(name: str, value: float) -> float:
    return math.degrees(value) if kind_of(name) == "angle" else value


def _design_data(design: Design | None) -> dict[str, Any] | None:
    if design is None:
        return None
    return {
        "values": {column_of(n): _shown(n, v) for n, v in design.values.items()},
        "gauge_mm": design.gauge_mm,
        "can_g": design.can_g,
        "reversal_pressure_mpa": design.pressure_mpa,
        "limit_mpa": design.limit_mpa,
        "onset_mpa": design.onset_mpa,
        "growth_mm": design.growth_mm,
        "permanent_growth_mm": design.permanent_mm,
        "held_by": dict(design.margins),
    }


def best_data(report: BestReport) -> dict[str, Any]:
    """A report, ready for JSON."""
    return {
        "name": report.request.name,
        "aim": report.request.aim,
        "required_pressure_mpa": report.request.required,
        "can_height_mm": report.request.can_height,
        "start": _design_data(report.start),
        "best": _design_data(report.best),
        "nearest": _design_data(report.nearest),
        "ends": list(report.ends),
        "bindings": [{"limit": b.limit, "gain_per_percent": float(b.gain)}
                     for b in report.bindings],
        "sharpness": [
            {
                "quantity": s.name, "step": _shown(s.name, s.step),
                "less_mpa": s.less_mpa, "more_mpa": s.more_mpa,
            }
            for s in report.sharp
        ],
        "trade_off": [
            {"required_mpa": p, "design": _design_data(d)} for p, d in report.trade
        ],
        "finer_mpa": report.fine_mpa,
        "solid_mpa": report.solid_mpa,
        "solves": report.solves,
        "seconds": report.seconds,
        "check_seconds": report.check_seconds,
        "caution": report.caution,
    }  # fmt: skip


def print_best(report: BestReport, files: Sequence[Path]) -> None:
    """The best bottom beside the one to start from, what binds, how sharp it is, what it costs."""
    console = narrow_console()
    console.print(Text(one_line(report.request.name), style="bold"))
    shown = report.best or report.nearest
    if report.best is None:
        console.print(Text("No design within these limits holds all of them.", style="bold red"))
        if shown is None:
            console.print(Text("No point that was tried is a bottom with an answer."))
            print_files(console, files)
            return
        failed = [name for name, by in _all_margins(report, shown).items() if by < -2e-5]
        console.print(Text(f"The nearest fails by: {', '.join(failed)}"))
    assert shown is not None
    console.print()
    _print_values(console, report, shown)
    console.print()
    answer = plain_table("left", "left")
    if report.fine_mpa is not None:
        answer.add_row("Check", f"{report.fine_mpa / PSI:.1f} psi at a resolution of 0.05 %")
    if report.solid_mpa is not None:
        answer.add_row("", f"{report.solid_mpa / PSI:.1f} psi by the solid, all round")
    if report.ends:
        spread = (max(report.ends) - min(report.ends)) / abs(report.ends[0])
        ends = len(report.ends)
        words = "1 search" if ends == 1 else f"{ends} searches, ends within {100 * spread:.2g} %"
        answer.add_row("Searched", f"{words}; {report.solves} solves, {report.seconds:.0f} s")
    console.print(answer)
    if report.bindings:
        console.print()
        console.print(Text("What binds, and what 1 % of it would give of the aim:"))
        table = plain_table("left", "right")
        for row in report.bindings:
            table.add_row(row.limit, f"{100.0 * row.gain:.3f} %")
        console.print(table)
    if report.sharp:
        _print_sharp(console, report)
    if report.trade:
        console.print()
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
        for name in ("to hold", "can body", "gauge"):
            table.add_column(name, justify="right")
        for pressure, design in report.trade:
            mass = "none holds" if design is None else f"{design.can_g:.3f} g"
            gauge = "" if design is None else f"{design.gauge_mm:.4f} mm"
            table.add_row(f"{pressure / PSI:.1f} psi", mass, gauge)
        console.print(table)
    print_files(console, files)
    console.print(Text(report.caution, style="italic"))


def _all_margins(report: BestReport, design: Design) -> dict[str, float]:
    """Every limit with the share it is held by."""
    found = dict(design.margins)
    if report.request.required is not None:
        found = {"reversal pressure": design.limit_mpa / report.request.required - 1.0, **found}
        if design.onset_mpa is not None:
            asked = report.request.required * (1.0 + report.request.hold.wave_margin)
            found["waves"] = design.onset_mpa / asked - 1.0
    return found


def _print_values(console: Any, report: BestReport, shown: Design) -> None:
    start = report.start
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    table.add_column("")
    for name in ("start", "best" if report.best else "nearest"):
        table.add_column(name, justify="right")
    table.add_column("within", justify="left")

    def both(attribute: str, scale: float, form: str) -> tuple[str, str]:
        values = [None if d is None else getattr(d, attribute) for d in (start, shown)]
        a, b = ("-" if v is None else format(v / scale, form) for v in values)
        return a, b

    for name, (low, high) in report.request.ranges.items():
        at = [_shown(name, d.values[name]) if d is not None else math.nan for d in (start, shown)]
        ends = f"{_shown(name, low):.5g} to {_shown(name, high):.5g}"
        table.add_row(title_of(name), f"{at[0]:.4f}", f"{at[1]:.4f}", ends)
    required = report.request.required
    needed = "" if required is None else f"at least {required / PSI:.1f}"
    table.add_row("reversal pressure (psi)", *both("pressure_mpa", PSI, ".1f"), needed)
    table.add_row("can body (g)", *both("can_g", 1.0, ".3f"), "")
    table.add_row("per 1,000 cans (kg)", *both("can_g", 1.0, ".3f"), "")
    hold = report.request.hold
    for attribute, words, most in (
        ("growth_mm", "growth, stand ring (mm)", hold.growth),
        ("permanent_mm", "permanent growth (mm)", hold.permanent_growth),
    ):
        if getattr(shown, attribute) is not None:
            limit = "" if most is None else f"at most {most:.4g}"
            table.add_row(words, *both(attribute, 1.0, ".3f"), limit)
    console.print(table)


def _print_sharp(console: Any, report: BestReport) -> None:
    console.print()
    console.print(Text("How sharp it is: reversal pressure (psi) where one is off, all else kept:"))
    table = plain_table("left", "right", "right", "right")
    for row in report.sharp:
        ends = ["-" if p is None else f"{p / PSI:.1f}" for p in (row.less_mpa, row.more_mpa)]
        unit = {"angle": "deg", "length": "mm", "stress": "MPa"}.get(kind_of(row.name), "")
        step = f"∓ {_shown(row.name, row.step):.3g} {unit}"
        table.add_row(title_of(row.name).split(" (")[0], step, *ends)
    console.print(table)


def ranking_data(found: Ranking) -> dict[str, Any]:
    """A ranking, ready for JSON."""
    return {
        "name": found.study.name,
        "needed_mpa": found.needed_mpa,
        "can_height_mm": found.can_height_mm,
        "planned": found.planned,
        "solved": found.solved,
        "designs": found.table.to_dict("records"),
        "closest": found.closest,
        "caution": found.caution,
    }


def print_ranking(found: Ranking, files: Sequence[Path]) -> None:
    """The lightest designs that hold."""
    console = narrow_console()
    console.print(Text(one_line(found.study.name), style="bold"))
    count = len(found.table)
    console.print(Text(
        f"{count} of {found.solved} solved cases hold {found.needed_mpa / PSI:.1f} psi "
        f"({found.planned} planned)"
    ))  # fmt: skip
    if found.closest is not None:
        case, pressure = found.closest
        console.print(Text(f"Case {case} comes nearest, with {pressure / PSI:.1f} psi."))
    if count:
        console.print()
        table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="")
        for name in ("case", "can (g)", "psi", *(title_of(n) for n in found.study.names)):
            table.add_column(name, justify="right")
        for row in found.table.head(_SHOWN).to_dict("records"):
            table.add_row(
                str(int(row["case"])), f"{row['can_g']:.3f}", f"{row[PRESSURE] / PSI:.1f}",
                *(f"{row[column_of(n)]:.4g}" for n in found.study.names),
            )  # fmt: skip
        console.print(table)
        if count > _SHOWN:
            console.print(Text(f"and {count - _SHOWN} more in the table"))
    print_files(console, files)
    console.print(Text(found.caution, style="italic"))
