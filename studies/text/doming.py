"""What the doming command prints, at most 80 columns wide."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from domemargin.fea.doming.record import ALL, DOMING_CAUTION, KINDS
from domemargin.studies.text.printing import narrow_console, plain_table, print_files, spaced
from domemargin.studies.text.units import PSI
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.fea.doming.record import DomingRecord
    from domemargin.fea.doming.reversal import FormedReversal
    from domemargin.studies.doming.budget import Budget
    from domemargin.studies.doming.study import DomingStudy

# the changes that slopes are told for, in the unit of each knob
_STEP = {
    "set": 0.1, "flange height (spacer)": 0.1, "friction": 0.01, "gauge": 0.01,
    "yield strength": 10.0, "die edge radius": 0.1, "punch nose radius": 0.1,
}  # fmt: skip
_COSTS = ("depth\nmm", "spring-\nback mm", "reversal\npsi", "thinning\npoints", "force\nkN")
STRUCK = 0.5  # of the yield strength: below, contact leaves no mark


def marks_words(record: DomingRecord) -> str:
    """Whether marks engraved in the die's centre are struck."""
    pressure, touched = record.centre_pressure_mpa, record.centre_touched
    strength = record.tooling.material.yield_strength
    if pressure is None or touched is None or strength is None:
        return "not known"
    if touched < 0.05:
        return "the die does not touch the centre: marks there are not struck"
    words = "marks are hardly struck" if pressure < STRUCK * strength else "marks are struck"
    return (
        f"{words}: {pressure:.1f} MPa on the centre ({100.0 * pressure / strength:.0f} % of "
        f"yield), {100 * touched:.0f} % of it touched"
    )


def print_doming(record: DomingRecord, budget: Budget | None, files: Sequence[Path]) -> None:
    """The summary of a doming solve."""
    console = narrow_console()
    tooling = record.tooling
    console.print(Text(one_line(tooling.name), style="bold"))
    console.print(
        Text(
            f"flange height {tooling.die.flange_height:.5g}, set {tooling.set:+.4g}, gauge "
            f"{tooling.blank.gauge:.4g} mm; clamp {tooling.clamp.force / 1e3:.4g} kN; "
            f"{tooling.material.name}"
        )
    )
    console.print()
    answer = plain_table("left", "left")
    if record.depth_mm is None:
        answer.add_row("Depth", Text(KINDS[record.kind], style="bold red"))
        answer.add_row("", record.reason)
    else:
        _add_depth(answer, record)
    console.print(answer)
    if len(record.reversal) > 1:
        _print_parts(console, record)
    if budget is not None:
        _print_budget(console, budget)
    print_files(console, files)
    console.print(Text(record.caution, style="italic"))


def _add_depth(answer: Table, record: DomingRecord) -> None:
    assert record.depth_mm is not None
    assert record.loaded_depth_mm is not None
    assert record.springback_mm is not None
    assert record.overtravel_mm is not None
    assert record.peak_force_n is not None
    assert record.punch_force_n is not None
    assert record.draw_in_mm is not None
    assert record.worst is not None
    answer.add_row("Depth", Text(f"{record.depth_mm:.3f} mm", style="bold"))
    answer.add_row(
        "", f"{record.loaded_depth_mm:.3f} mm loaded, {record.springback_mm:.3f} mm springback"
    )
    how = "the flange bottoms on the nose" if record.bottomed else "the flange does not bottom"
    answer.add_row("Stroke end", f"{how}; overtravel {record.overtravel_mm:.3f} mm")
    answer.add_row(
        "Peak force",
        f"{record.peak_force_n / 1e3:.2f} kN on the station, "
        f"{record.punch_force_n / 1e3:.2f} kN on the punch",
    )
    worst = record.worst
    answer.add_row(
        "Thinning",
        f"{100 * worst.thinning:.1f} % over 1 mm (± 0.5 points by the mesh), {spaced(worst.part)}, "
        f"r {worst.r_mm:.2f} mm",
    )
    if record.split_risk is not None and record.thinning_limit is not None:
        words = f"{record.split_risk:.2f} of the limit of {100 * record.thinning_limit:.1f} %"
        colour = (
            "red" if record.split_risk >= 1.0 else "dark_orange3" if record.split_risk > 0.8 else ""
        )
        answer.add_row("Split risk", Text(words, style=colour))
        answer.add_row("", record.thinning_limit_source)
    answer.add_row("Draw-in", f"{record.draw_in_mm:.2f} mm of metal went over the nose")
    answer.add_row("Die centre", marks_words(record))
    pressure = record.reversal_pressure_mpa
    if pressure is not None:
        answer.add_row(
            "Reversal", Text(f"{pressure / PSI:.1f} psi   {pressure:.4f} MPa", style="bold")
        )
        answer.add_row("", _reversal_words(record.reversal[ALL]))
    elif record.reversal:
        answer.add_row("Reversal", next(iter(record.reversal.values())).reason)
    if record.fitted is not None:
        fit = record.fitted
        angle = math.degrees
        answer.add_row(
            "As a profile",
            f"stand {fit['stand_diameter']:.2f}, dome radius {fit['dome_radius']:.1f}, shoulder "
            f"{fit['shoulder_radius']:.2f}, nose {fit['nose_radius']:.2f}, inner leg "
            f"{angle(fit['inner_leg_angle']):.1f} deg, outer leg "
            f"{angle(fit['outer_leg_angle']):.1f} deg (middle surface, mm; misfit "
            f"{record.misfit_mm:.3f} mm)",
        )
    worst_gap = max(abs(b.energy_gap) for b in record.balances)
    answer.add_row(
        "Solved", f"energy balance within {100 * worst_gap:.2f} %, {record.seconds:.1f} s"
    )


def _reversal_words(reversal: FormedReversal) -> str:
    if reversal.waves == 0:
        return f"{reversal.reason}; no waves round the can before"
    return reversal.reason


def _print_parts(console: Console, record: DomingRecord) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Formed state kept")
    for name in ("reversal psi", "step", "growth at 60 psi", "set-in"):
        table.add_column(name, justify="right")
    before: float | None = None
    for name, row in record.reversal.items():
        psi = None if row.reversal_pressure_mpa is None else row.reversal_pressure_mpa / PSI
        step = f"{psi - before:+.1f}" if psi is not None and before is not None else ""

        def mm(value: float | None) -> str:
            return "-" if value is None else f"{value:.2f} mm"

        shown = row.kind if psi is None else f"{psi:.1f}"
        table.add_row(name, shown, step, mm(row.growth_mm), mm(row.set_in_mm))
        before = psi
    console.print()
    console.print(table)


def _number(value: float | None, digits: int = 3) -> str:
    if value is None:
        return "-"
    text = f"{value:+.{digits}f}"
    return text if float(text) else text[1:]  # no -0.00


def _print_budget(console: Console, budget: Budget) -> None:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("What a change does")
    for name in ("from", "by", *_COSTS):
        table.add_column(name, justify="right")
    for row in budget.slopes:
        step = _STEP.get(row.knob, 1.0)
        rates = (row.depth_mm, row.springback_mm, row.reversal_psi, row.thinning_points,
                 row.peak_force_kn)  # fmt: skip
        changes = (None if rate is None else rate * step for rate in rates)
        table.add_row(
            row.knob,
            f"{row.value:.4g}",
            f"{step:+g} {row.unit}".removesuffix(" -"),
            *(_number(change, digits) for change, digits in zip(changes, (3, 3, 2, 2, 2))),
        )
    console.print()
    console.print(table)
    ways = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    ways.add_column(f"To win {budget.wanted_mm:.2f} mm")
    for name in ("change", *_COSTS[2:]):
        ways.add_column(name, justify="right")
    ways.add_column("")
    for way in budget.ways:
        if way.change is not None:
            unit = "" if way.unit == "-" else f" {way.unit}"
            ways.add_row(
                way.knob,
                f"{way.change:+.3g}{unit}",
                _number(way.reversal_psi, 1),
                _number(way.thinning_points, 2),
                _number(way.peak_force_kn, 2),
                way.remark,
            )
    console.print()
    if ways.row_count:
        console.print(ways)
    else:
        console.print(Text(f"Nothing within its reach wins {budget.wanted_mm:.2f} mm"))
    rest = plain_table("left", "left")
    for way in budget.ways:
        if way.change is None:
            rest.add_row(way.knob, way.remark)
    console.print(rest)
    console.print()
    console.print(Text(budget.warning, style="bold"))


def print_study(study: DomingStudy, done: tuple[int, int, int], folder: Path) -> None:
    """What became of a doming study: cases formed, failed, and taken from before."""
    console = narrow_console()
    formed, failed, kept = done
    console.print(Text(one_line(study.name), style="bold"))
    console.print(f"{formed} cases formed, {failed} failed, {kept} of them from before")
    console.print(Text(f"Wrote {folder / 'doming-study.csv'}"), soft_wrap=True)
    console.print(Text(DOMING_CAUTION, style="italic"))
