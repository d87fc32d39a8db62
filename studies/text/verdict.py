"""Interval, verdict and budget in words and as data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.profiles.units import PSI
from domemargin.studies.verdict.budget import IN_DOUBT, NOT_KNOWN, SAFE

if TYPE_CHECKING:
    from rich.console import Console

    from domemargin.studies.verdict.budget import Answer, Verdict
    from domemargin.studies.verdict.calibration import Calibration

COLOURS = {SAFE: "green", IN_DOUBT: "dark_orange3"}
_SHOWN = 6  # parts of a budget
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


def print_budget(console: Console, answer: Answer) -> None:
    """What the uncertainty comes from, largest first, and what would narrow it."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    table.add_column("Uncertainty from")
    table.add_column("psi", justify="right")
    table.add_column("share", justify="right")
    table.add_column("source")
    table.add_column("narrowed by")
    for part, share in list(zip(answer.parts, answer.shares()))[:_SHOWN]:
        if share >= _COUNTS:
            table.add_row(part.name, f"{part.standard / PSI:.2f}", f"{100.0 * share:.0f} %",
                          part.source, part.narrows)  # fmt: skip
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
