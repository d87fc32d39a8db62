"""What the study commands print, at most 80 columns wide, and the same as JSON."""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.fea.core.record import CAUTION
from domemargin.profiles.limits import shown
from domemargin.profiles.units import PSI
from domemargin.profiles.unusual import unusual
from domemargin.studies.margin.tolerable import MORE_THAN, NOT_HELD, Tolerable
from domemargin.studies.study.cases import SOLVED, STATES
from domemargin.studies.study.sampling import count
from domemargin.studies.study.table import PRESSURE
from domemargin.studies.study.varied import column_of, kind_of, title_of
from domemargin.studies.text.printing import narrow_console, plain_table, print_files
from domemargin.studies.text.scatter import interval_words, print_rare, rare_data, share_words
from domemargin.studies.text.verdict import (
    answer_data,
    calibration_words,
    interval_psi,
    verdict_words,
)
from domemargin.studies.text.words import duration, one_line
from domemargin.studies.verdict.answer import answer_of
from domemargin.studies.verdict.budget import COVERAGE, verdict_of
from domemargin.studies.verdict.table import counts, counts_words

if TYPE_CHECKING:
    from domemargin.studies.margin.compare import Comparison
    from domemargin.studies.margin.margin import MarginReport
    from domemargin.studies.margin.scatter import ScatterReport
    from domemargin.studies.study.runner import Outcome
    from domemargin.studies.study.study import Study

_REASONS = 6


def print_outcome(study: Study, outcome: Outcome, files: Sequence[Path]) -> None:
    """The result of a run."""
    console = narrow_console()
    console.print(Text(one_line(study.name), style="bold"))
    for note in unusual(study.profile):
        console.print(Text(f"Unusual: {note}"))
    if outcome.interrupted:
        console.print(Text("Interrupted; run the same command again to go on.", style="bold"))
    speed = f", {outcome.solved / outcome.seconds:.1f} a second" if outcome.solved else ""
    took = f" in {duration(outcome.seconds)}{speed}" if outcome.solved else ""
    console.print(Text(f"{outcome.planned} cases planned, {outcome.solved} solved now{took}"))
    if outcome.workers_lost:
        console.print(Text(f"{outcome.workers_lost} workers were lost and replaced"))
    table = plain_table("right", "left")
    for state, number in sorted(outcome.counts.items(), key=lambda item: -item[1]):
        table.add_row(str(number), STATES.get(state, "not solved yet"))
    console.print(table)
    print_reasons(console, outcome.reasons)
    print_files(console, files)
    if not outcome.interrupted and set(outcome.counts) & set(SOLVED):
        folder = outcome.store.parent
        console.print(Text(f"Next: domemargin margin {shlex.quote(str(folder))}"), soft_wrap=True)
    console.print(Text(CAUTION, style="italic"))


def print_reasons(console: Any, reasons: Sequence[tuple[str, str, int]]) -> None:
    """Why cases have no answer; reasons that differ only in numbers are merged."""
    alike: dict[tuple[str, str], tuple[str, int, bool]] = {}
    for state, reason, number in reasons:
        kind = state, re.sub(r"\d[\d.]*(e[-+]?\d+)?", "#", reason).replace("-#", "#")
        first, before, _ = alike.get(kind, (reason, 0, False))
        alike[kind] = first, before + number, kind in alike
    for (state, _), (reason, number, several) in list(alike.items())[:_REASONS]:
        lead = "for one, " if several else ""
        what = STATES.get(state, state)
        console.print(Text(f"{number} x {what}: {lead}{one_line(reason, 200)}"))
    if len(alike) > _REASONS:
        console.print(Text(f"and {len(alike) - _REASONS} more reasons in the table"))


def outcome_data(outcome: Outcome) -> dict[str, Any]:
    """An outcome, ready for JSON."""
    return {**asdict(outcome), "store": str(outcome.store), "caution": CAUTION}


def print_studies(ready: Mapping[str, Study]) -> None:
    """The ready studies, one line each."""
    table = plain_table("left", "left", "right")
    table.show_header = True
    for column, head in zip(table.columns, ("name", "study", "cases")):
        column.header = head
    for name, study in ready.items():
        cases = str(count(study)) if study.varied else "scatter"
        table.add_row(name, Text(one_line(study.name)), cases)
    narrow_console().print(table)


def print_margin(report: MarginReport, files: Sequence[Path]) -> None:
    """Tolerable losses, slopes, indices."""
    console = narrow_console()
    study = report.study
    console.print(Text(f"{one_line(study.name)}: {one_line(study.profile.name)}", style="bold"))
    pressure = report.table[PRESSURE]
    known = int(pressure.notna().sum())
    left = report.counts.get("", 0)
    unfinished = f"; {left} are not solved yet" if left else ""
    console.print(
        Text(f"{known} of {len(report.table)} cases have a reversal pressure{unfinished}")
    )
    print_reasons(console, report.reasons)
    if study.required is not None and report.target is not None:
        asked = f"Required {study.required / PSI:.4g} psi"
        if report.wanted:
            asked += f" and a margin of {100.0 * report.wanted:g} %: {report.target / PSI:.4g} psi"
        held = int((report.table["pressure_best_mpa"] >= report.target).sum())
        console.print(Text(f"{asked}, which {held} of {known} hold by the best estimate"))
        console.print(Text(f"By the interval: {counts_words(counts(report.table))}"))
        if report.calibration is not None:
            console.print(Text(f"With {calibration_words(report.calibration)}"))
            outside = report.calibration.outside(study.profile)
            if outside:
                console.print(Text(f"It does not hold for the base bottom: {outside}"))
        _print_losses(console, report.tolerable)
        _print_loss_doubt(console, report)
    _print_slopes(console, report)
    _print_indices(console, report)
    print_files(console, files)
    console.print(Text(report.caution, style="italic"))


def _print_losses(console: Any, losses: Sequence[Tolerable]) -> None:
    if not losses:
        return
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    names = list(losses[0].at)
    for name in names:
        table.add_column(title_of(name), justify="right")
    table.add_column("no loss (psi)", justify="right")
    table.add_column("tolerable loss (mm)", justify="right")
    table.add_column("error (mm)", justify="right")
    rejected = []
    columns = [
        _same_decimals([shown(t.at[name], kind_of(name), 5).split(" ")[0] for t in losses])
        for name in names
    ]
    for i, found in enumerate(losses):
        here = [column[i] for column in columns]
        bare = "-" if found.pressure is None else f"{found.pressure / PSI:.2f}"
        if found.loss is None and found.reason == NOT_HELD:
            table.add_row(*here, bare, "none: too low", "-")
        elif found.loss is None and found.reason.startswith(MORE_THAN):
            table.add_row(*here, bare, found.reason.split(" mm")[0], "-")
        elif found.loss is None:
            table.add_row(*here, bare, "-", "-")
            rejected.append((here, found.reason))
        else:
            error = "-" if found.error is None else f"{found.error:.4f}"
            table.add_row(*here, bare, f"{found.loss:.3f}", error)
    console.print()
    console.print(Text(f"Tolerable depth loss ({title_of(losses[0].rule).rsplit(' (', 1)[0]}), "
                       "by solves of finer resolution"))  # fmt: skip
    console.print(table)
    if any(found.reason == NOT_HELD for found in losses):
        console.print(Text("Too low: the requirement is not held even with no depth lost."))
    if any(found.reason.startswith(MORE_THAN) for found in losses):
        console.print(Text("More than: held up to the largest loss looked at."))
    for here, reason in rejected:
        console.print(Text(f"{', '.join(here) or 'base bottom'}: {reason}"))


def _print_loss_doubt(console: Any, report: MarginReport) -> None:
    """How far the uncertainty of the pressure itself moves a loss."""
    rule = report.tolerable[0].rule if report.tolerable else ""
    slope = next((s.psi for s in report.slopes if s.name == rule and s.psi), None)
    if slope is None or report.target is None:
        return
    target = report.target
    answer = answer_of(report.study.profile, target, 0.0, calibration=report.calibration)
    if answer is None:
        return
    by = COVERAGE * answer.standard / answer.pressure * target / PSI
    moved = by / abs(slope) * 0.01
    console.print(Text(
        f"The 95 % interval of the pressure, ± {by:.1f} psi, moves every loss by ± {moved:.2f} mm: "
        "all alike, up or down."
    ))  # fmt: skip


def _same_decimals(numbers: Sequence[str]) -> list[str]:
    """Numbers written with as many decimals as the longest of them has."""
    if any("e" in number for number in numbers):
        return list(numbers)
    places = max(len(number.partition(".")[2]) for number in numbers)
    return [f"{float(number):.{places}f}" for number in numbers]


def _print_slopes(console: Any, report: MarginReport) -> None:
    table = plain_table("left", "right", "left")
    rejected = []
    for slope in report.slopes:
        name = title_of(slope.name).rsplit(" (", 1)[0]
        if slope.psi is None or slope.error is None:
            rejected.append(f"{name}: no slope: {slope.reason}")
        else:
            table.add_row(name, f"{slope.psi:+.4f}", f"± {slope.error:.4f} psi per {slope.per}")
    console.print()
    console.print(Text("Slopes at the base bottom"))
    console.print(table)
    for line in rejected:
        console.print(Text(line))


def _print_indices(console: Any, report: MarginReport) -> None:
    console.print()
    if report.surrogate is not None:
        console.print(Text(
            f"Surrogate of {report.surrogate.cases} cases: cross-validated error "
            f"{report.surrogate.error / PSI:.3f} psi, worst {report.surrogate.worst / PSI:.3f} psi"
        ))  # fmt: skip
    else:
        console.print(Text(f"No surrogate: {report.why_no_surrogate}"))
        console.print(Text("The designs that hold, the lightest first: domemargin rank RESULT"))
    found = report.sensitivity
    if found is None:
        return
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for head in ("Sobol' indices", "on its own", "total"):
        table.add_column(head, justify="left" if head.startswith("S") else "right")
    for index in sorted(found.indices, key=lambda index: -index.total):
        table.add_row(title_of(index.name).rsplit(" (", 1)[0],
                      f"{index.first:.3f} ± {index.first_error:.3f}",
                      f"{index.total:.3f} ± {index.total_error:.3f}")  # fmt: skip
    console.print(table)
    filled = f"all {found.of} cases have a pressure; none was filled in"
    if found.filled:
        filled = f"{found.filled} of {found.of} cases had no pressure and were filled in by it"
        if found.on == "the solver":
            filled = filled.replace("by it", "by the surrogate")
    console.print(Text(f"Of {found.on}; {filled}"))


def margin_data(report: MarginReport) -> dict[str, Any]:
    """A margin report, ready for JSON; pressures in MPa, angles in degrees."""
    s = report.surrogate
    return {
        "study": report.study.name,
        "profile": report.study.profile.name,
        "required_pressure_mpa": report.study.required,
        "margin_wanted": report.wanted,
        "counts": report.counts,
        "verdicts": counts(report.table),
        "tolerable_depth_loss": [
            {
                "at": {
                    column_of(n): math.degrees(v) if kind_of(n) == "angle" else v
                    for n, v in t.at.items()
                },
                "rule": t.rule,
                "loss_mm": t.loss,
                "error_mm": t.error,
                "reversal_pressure_mpa": t.pressure,
                "reason": t.reason,
                "solves": t.solves,
            }
            for t in report.tolerable
        ],
        "slopes": [asdict(slope) for slope in report.slopes],
        "surrogate": None
        if s is None
        else {"cases": s.cases, "error_mpa": s.error, "worst_error_mpa": s.worst},
        "why_no_surrogate": report.why_no_surrogate,
        "sobol_indices": None if report.sensitivity is None else asdict(report.sensitivity),
        "caution": report.caution,
    }


def print_comparison(comparison: Comparison, files: Sequence[Path]) -> None:
    """What differs and how the pressures compare."""
    from domemargin.studies.margin.compare import pressure_rows

    console = narrow_console()
    a, b = comparison.a.profile.name, comparison.b.profile.name
    console.print(Text(f"first:  {one_line(a)}", style="bold"))
    console.print(Text(f"second: {one_line(b)}", style="bold"))
    table = plain_table("left", "right", "right")
    table.show_header = True
    table.columns[1].header, table.columns[2].header = "first", "second"
    for row in comparison.differing:
        table.add_row(*map(Text, row))
    for row in pressure_rows(comparison):
        table.add_row(*row)
    console.print(table)
    console.print(Text(f"{comparison.both} of {comparison.points} points have both pressures"))
    print_files(console, files)
    console.print(Text(comparison.caution, style="italic"))


def comparison_data(comparison: Comparison) -> dict[str, Any]:
    """A comparison, ready for JSON; pressures in MPa, null where a point has none."""
    points = comparison.table.astype(object).where(comparison.table.notna(), None)
    return {
        "study": comparison.a.name,
        "first": comparison.a.profile.name,
        "second": comparison.b.profile.name,
        "differing": [
            {"quantity": name, "first": a, "second": b} for name, a, b in comparison.differing
        ],
        "points": comparison.points,
        "points_with_both_pressures": comparison.both,
        "table": points.to_dict("records"),
        "caution": comparison.caution,
    }


def print_scatter(report: ScatterReport, files: Sequence[Path]) -> None:
    """The share of cans below the requirement and the influence of each scatter."""
    console = narrow_console()
    study = report.study
    console.print(Text(f"{one_line(study.name)}: {one_line(study.profile.name)}", style="bold"))
    table = plain_table("left", "left")
    table.add_row("Required", f"{study.requirement() / PSI:.4g} psi")
    table.add_row("Cans", f"mean {report.mean / PSI:.2f} psi, standard deviation "
                          f"{report.deviation / PSI:.2f} psi")  # fmt: skip
    if report.answer is not None:
        verdict = verdict_of(report.answer, study.requirement())
        table.add_row("Mean can", f"95 % interval {interval_psi(report.answer)}")
        table.add_row("", verdict_words(verdict))
    table.add_row("Below it", Text(share_words(report.share), style="bold"))
    table.add_row("", f"95 % interval {interval_words(report.low, report.high)}")
    if report.share_sure is not None:
        least, most = report.share_sure
        table.add_row("", f"{share_words(least)} to {share_words(most)} as the level of all cans "
                          "moves through its interval")  # fmt: skip
    table.add_row("By", f"{report.cans:,} cans drawn, {report.solved:,} of {report.doubtful:,} "
                        "in doubt solved")  # fmt: skip
    if report.unanswered:
        table.add_row("", f"{report.unanswered} of them without an answer, counted as below")
    table.add_row("Surrogate", f"of {report.trained_on} cases, cross-validated error "
                               f"{report.surrogate_error / PSI:.3f} psi")  # fmt: skip
    console.print(table)
    console.print()
    matter = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    matter.add_column("Which scatter matters")
    matter.add_column("share of variance", justify="right")
    matter.add_column("below without it", justify="right")
    for entry in report.influences:
        matter.add_row(title_of(entry.index.name).rsplit(" (", 1)[0],
                       f"{entry.index.total:.3f}", share_words(entry.share_without))  # fmt: skip
    console.print(matter)
    if study.scatter is not None and study.scatter.correlations:
        console.print(Text("Shares of variance are those without the correlations."))
    if report.rare is not None:
        print_rare(console, report.rare, study.requirement())
    print_files(console, files)
    console.print(Text(report.caution, style="italic"))


def scatter_data(report: ScatterReport) -> dict[str, Any]:
    """A scatter report, ready for JSON; pressures in MPa."""
    return {
        "study": report.study.name,
        "profile": report.study.profile.name,
        "required_pressure_mpa": report.study.requirement(),
        "share_below": report.share,
        "interval_95": [report.low, report.high],
        "share_as_level_moves": report.share_sure,
        "mean_can": answer_data(
            report.answer, verdict_of(report.answer, report.study.requirement())
        ),
        "cans": report.cans,
        "mean_mpa": report.mean,
        "deviation_mpa": report.deviation,
        "surrogate_error_mpa": report.surrogate_error,
        "trained_on": report.trained_on,
        "doubtful": report.doubtful,
        "solved": report.solved,
        "unanswered": report.unanswered,
        "rare": None if report.rare is None else rare_data(report.rare),
        "influences": [asdict(entry) for entry in report.influences],
        "caution": report.caution,
    }
