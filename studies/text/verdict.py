"""Interval, verdict, budget, own tests and growth limits in words and as data."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.fea.core.record import CAUTION
from domemargin.profiles.units import PSI
from domemargin.studies.readings.calibration import LEVEL_KNOWN
from domemargin.studies.verdict.budget import IN_DOUBT, NOT_KNOWN, SAFE
from domemargin.studies.verdict.growth import KNOWN, LEAST, GrowthVerdict

if TYPE_CHECKING:
    from rich.console import Console

    from domemargin.studies.verdict.budget import Answer, Verdict
    from domemargin.studies.verdict.calibration import Calibration
    from domemargin.studies.verdict.own_tests import OwnTests

COLOURS = {SAFE: "green", IN_DOUBT: "dark_orange3"}
_SHOWN = 6  # parts of a budget
_ASIDE = 5  # lines set aside that are listed
_COUNTS = 0.005  # share of the variance below which a part is not printed


def verdict_words(verdict: Verdict) -> str:
    """The verdict and the margin with its interval."""
    if verdict.word == NOT_KNOWN:
        return f"{verdict.word}, {verdict.reason}"
    assert verdict.margin is not None
    assert verdict.low is not None
    if verdict.high is None:
        return f"{verdict.word}, margin above {100.0 * verdict.margin:+.1f} %"
    low, high = 100.0 * verdict.low, 100.0 * verdict.high
    return f"{verdict.word}, margin {100.0 * verdict.margin:+.1f} % ({low:+.1f} to {high:+.1f} %)"


def interval_psi(answer: Answer) -> str:
    """The interval in psi."""
    if answer.least:
        return f"above {answer.low / PSI:.1f} psi"
    return f"{answer.low / PSI:.1f} to {answer.high / PSI:.1f} psi"


BUDGET_HEADS = ("Uncertainty from", "psi", "share", "source", "narrowed by")


def budget_rows(answer: Answer) -> tuple[tuple[str, ...], ...]:
    """The parts of the uncertainty that count, largest first: a row each under BUDGET_HEADS."""
    return tuple(
        (part.name, f"{part.standard / PSI:.2f}", f"{100.0 * share:.0f} %", part.source,
         part.narrows)
        for part, share in list(zip(answer.parts, answer.shares()))[:_SHOWN]
        if share >= _COUNTS
    )  # fmt: skip


def print_budget(console: Console, answer: Answer) -> None:
    """What the uncertainty comes from, largest first, and what would narrow it."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for head in BUDGET_HEADS:
        table.add_column(head, justify="right" if head in ("psi", "share") else "left")
    for row in budget_rows(answer):
        table.add_row(*row)
    console.print(table)
    for note in answer.notes:
        console.print(Text(f"{note[0].upper()}{note[1:]}."))


def answer_data(answer: Answer | None, verdict: Verdict | None) -> dict[str, Any]:
    """Interval, budget and verdict, ready for JSON; pressures in MPa."""
    data: dict[str, Any] = {"answer": None, "verdict": None}
    if answer is not None:
        data["answer"] = {
            "pressure_mpa": answer.pressure,
            "computed_mpa": answer.computed,
            "standard_uncertainty_mpa": answer.standard,
            "low_mpa": answer.low,
            "high_mpa": None if math.isinf(answer.high) else answer.high,
            "at_least": answer.least,
            "budget": [
                {
                    "name": part.name,
                    "kind": part.kind,
                    "standard_mpa": part.standard,
                    "share": share,
                    "source": part.source,
                    "narrowed_by": part.narrows,
                }
                for part, share in zip(answer.parts, answer.shares())
            ],
            "notes": list(answer.notes),
        }
    if verdict is not None:
        data["verdict"] = {
            "word": verdict.word,
            "required_mpa": verdict.required,
            "margin": verdict.margin,
            "low": verdict.low,
            "high": verdict.high,
            "reason": verdict.reason,
        }
    return data


def calibration_words(calibration: Calibration) -> str:
    """Level and slope of a calibration in one line."""
    level = 100.0 * math.expm1(calibration.level)
    stopped = f", {calibration.stopped} of them stopped" if calibration.stopped else ""
    return (
        f"{calibration.tests} own tests{stopped}: measured over modelled {level:+.1f} % "
        f"± {100.0 * calibration.level_sd:.1f} %, slope {calibration.slope:.2f} ± "
        f"{calibration.slope_sd:.2f}, cans scatter by {100.0 * calibration.noise:.1f} %"
    )


def calibration_lines(made: Calibration, read: OwnTests, file: Path) -> list[str]:
    """What own tests say of the model, at most 80 columns wide."""
    model = math.exp(made.centre)
    real, standard = made.applied(model)
    stopped = f", {made.stopped} stopped before reversal" if made.stopped else ""
    lots = "1 lot" if made.lots == 1 else f"{made.lots} lots"
    rows = [
        f"{made.tests} tests of {lots}{stopped}",
        f"Level   {100.0 * math.expm1(made.level):+.1f} % of the model, "
        f"± {100.0 * made.level_sd:.1f} % (without tests ± {100.0 * LEVEL_KNOWN:.0f} %)",
        f"Slope   {made.slope:.2f} ± {made.slope_sd:.2f} of the model's",
        f"Cans    scatter by {100.0 * made.noise:.1f} %",
        f"So {model / PSI:.1f} psi of the model stand for {real / PSI:.1f} ± {standard / PSI:.1f} "
        "psi.",
    ]
    notes = list(read.notes) + [f"{text[0].upper()}{text[1:]}." for text in made.said]
    notes += [f"Line {line} is set aside: {reason}." for line, reason in read.aside[:_ASIDE]]
    if len(read.aside) > _ASIDE:
        notes.append(f"{len(read.aside) - _ASIDE} more lines are set aside.")
    for note in notes:
        rows += ["", *textwrap.wrap(note, 80)]
    return [*rows, "", f"Wrote {file}", *textwrap.wrap(CAUTION, 80)]


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
