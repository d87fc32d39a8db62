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
from domemargin.profiles.units import PSI
from domemargin.studies.text.bottom.metal_notes import band_words
from domemargin.studies.text.printing import narrow_console, plain_table, print_files, spaced
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.fea.bottom.kinematic import KinematicBand
    from domemargin.fea.doming.misaligned import Misaligned
    from domemargin.fea.doming.record import DomingRecord, Rest
    from domemargin.fea.doming.reversal import FormedReversal
    from domemargin.studies.doming.budget import Budget
    from domemargin.studies.doming.study import DomingStudy

# the changes for which slopes are shown, in the unit of each knob
_STEP = {
    "set": 0.1, "flange height (spacer)": 0.1, "friction": 0.01, "gauge": 0.01,
    "yield strength": 10.0, "die edge radius": 0.1, "punch nose radius": 0.1,
}  # fmt: skip
_COSTS = (
    "depth\nmm", "spring-\nback mm", "reversal\npsi", "thin\npoints", "force\nkN", "split\nrisk",
)  # fmt: skip
WRINKLES = -0.2  # hoop strain beyond which wrinkling is usual: common practice, no source


def marks_words(record: DomingRecord) -> tuple[str, ...]:
    """Whether the stroke forms the marks in the centre."""
    found, marks = record.embossing, record.tooling.marks
    if found is None:
        return ("not known",)
    full = "embossing fully formed" if found.share >= 1.0 else "embossing not fully formed"
    by = "the counter-face" if found.counter_mpa > found.pressure_mpa else "the die"
    out = [
        f"{full}: {by} presses {found.share:.2g} of what a mark {marks.width:.3g} mm wide and "
        f"{marks.height:.3g} mm high needs "
        f"({max(found.counter_mpa, found.pressure_mpa):.3g} of {found.needed_mpa:.3g} MPa)"
    ]
    circle = f"the circle of the marks, {marks.diameter:.3g} mm"
    if found.rise_mm is None or found.margin_mm is None or found.force_n is None:
        out.append(f"no stroke of these tools carries all of {circle}")
    elif found.margin_mm < 0.0:
        out.append(
            f"the stroke ends {-found.margin_mm:.2f} mm before the die carries {circle}: marks "
            "illegible outside"
        )
    else:
        lost = found.depth_lost_mm or 0.0
        ends = "" if found.set_mm is None else f"set {found.set_mm:+.2f} mm or "
        out.append(
            f"the die carries {circle}, from {found.margin_mm:.2f} mm before the end on; a stroke "
            f"that ended there ({ends}a station that yields at {found.force_n / 1e3:.2f} kN) "
            f"would lose {lost:.2f} mm of depth"
        )
    out.append(found.basis)
    return tuple(out)


def print_doming(
    record: DomingRecord,
    budget: Budget | None,
    files: Sequence[Path],
    sides: Misaligned | None = None,
    band: KinematicBand | None = None,
) -> None:
    """The summary of a doming solve."""
    console = narrow_console()
    tooling = record.tooling
    console.print(Text(one_line(tooling.name), style="bold"))
    console.print(
        Text(
            f"flange height {tooling.die.flange_height:.5g}, set {tooling.set:+.4g}, gauge "
            f"{tooling.blank.gauge:.4g} mm; clamp {tooling.clamp_force / 1e3:.4g} kN; "
            f"{tooling.material.name}"
        )
    )
    console.print()
    answer = plain_table("left", "left")
    if record.rest is None:
        answer.add_row("Depth", Text(KINDS[record.kind], style="bold red"))
        answer.add_row("", record.reason)
    else:
        _add_depth(answer, record)
    if sides is not None:
        _add_sides(answer, sides)
    if band is not None:
        answer.add_row("Kinematic share", band_words(band, tooling.material.kinematic_share))
    elif record.tooling.material.kinematic_share == 0.0:
        open_share = "0, not given: --share-band shows what a share of up to 0.6 does"
        answer.add_row("Kinematic share", open_share)
    console.print(answer)
    if len(record.reversal) > 1:
        _print_parts(console, record)
    if budget is not None:
        print_budget(console, budget)
    print_files(console, files)
    console.print(Text(record.caution, style="italic"))


def _add_depth(answer: Table, record: DomingRecord) -> None:
    stroke, end, rest = record.stroke, record.end, record.rest
    assert stroke is not None
    assert end is not None
    assert rest is not None
    answer.add_row("Depth", Text(f"{rest.depth_mm:.3f} mm", style="bold"))
    answer.add_row(
        "", f"{end.loaded_depth_mm:.3f} mm loaded, {rest.springback_mm:.3f} mm springback"
    )
    if end.depth_per_kn:
        one = 1e-5 * end.depth_per_kn * stroke.die_n[-1]
        answer.add_row(
            "",
            Text(
                f"the spring ends the stroke: {end.depth_per_kn:.2f} mm of depth per kN, "
                f"{one:.3f} mm for 1 % of its force; ± {end.depth_band_mm:.3f} mm by the mesh, "
                f"and up to {end.depth_low_mm:.2f} mm deeper, since a solid needs less force",
                style="dark_orange3",
            ),
        )
    how = "the flange bottoms on the nose" if end.bottomed else "the flange does not bottom"
    answer.add_row("Stroke end", f"{how}; overtravel {end.overtravel_mm:.3f} mm")
    answer.add_row(
        "Peak force",
        f"{stroke.peak_force_n / 1e3:.2f} kN on the station, "
        f"{stroke.punch_force_n / 1e3:.2f} kN on the punch",
    )
    worst = rest.worst
    answer.add_row(
        "Thinning",
        f"{100 * worst.thinning:.1f} % over 1 mm (± 0.5 points by the mesh), {spaced(worst.part)}, "
        f"r {worst.r_mm:.2f} mm",
    )
    if rest.split_risk is not None:
        words = f"{rest.split_risk:.2f} of the limit of {100 * rest.thinning_limit:.1f} %"
        colour = (
            "red" if rest.split_risk >= 1.0 else "dark_orange3" if rest.split_risk > 0.8 else ""
        )
        answer.add_row("Split risk", Text(words, style=colour))
        answer.add_row("", rest.thinning_limit_source)
    if rest.hoop_strain < WRINKLES:
        answer.add_row(
            "Wrinkling",
            Text(
                f"hoop strain {100 * rest.hoop_strain:.0f} %: wrinkles are usual beyond "
                f"{100 * WRINKLES:.0f} % where no tool backs the sheet; they are not solved for",
                style="red",
            ),
        )
    answer.add_row("Draw-in", f"{rest.draw_in_mm:.2f} mm of metal went over the nose")
    for i, words in enumerate(marks_words(record)):
        answer.add_row("" if i else "Embossing", words)
    pressure = record.reversal_pressure_mpa
    if pressure is not None:
        answer.add_row(
            "Reversal", Text(f"{pressure / PSI:.1f} psi   {pressure:.4f} MPa", style="bold")
        )
        answer.add_row("", _reversal_words(record.reversal[ALL]))
    elif record.reversal:
        answer.add_row("Reversal", next(iter(record.reversal.values())).reason)
    answer.add_row("As a profile", _fit_words(rest))
    worst_gap = max(abs(b.energy_gap) for b in record.balances)
    answer.add_row(
        "Solved", f"energy balance within {100 * worst_gap:.2f} %, {record.seconds:.1f} s"
    )


def _add_sides(answer: Table, sides: Misaligned) -> None:
    answer.add_row(
        "Misaligned",
        f"die tilted {math.degrees(sides.tilt):.3g} deg, {sides.offset_mm:.3g} mm off centre: "
        f"depth {sides.depth_high_mm:.3f} mm on the high side, {sides.depth_low_mm:.3f} mm on the "
        "low side",
    )
    gap = (
        f"clearance {sides.clearance_tight_mm:.3f} mm on the tight side for a gauge of "
        f"{sides.gauge_mm:.3f} mm"
    )
    ironed = f": ironed by {100 * sides.ironed:.0f} %" if sides.ironed > 0.0 else ": not ironed"
    answer.add_row("", gap + ironed)
    answer.add_row("", sides.basis)


def _fit_words(rest: Rest) -> str:
    fit = rest.fitted
    if fit is None:
        misfit = "" if rest.misfit_mm is None else f" (misfit {rest.misfit_mm:.3f} mm)"
        return f"these dimensions do not describe it{misfit}; the traced line is kept"
    radii, breaks = fit["dome_radius"], fit["dome_break_diameter"]
    dome = f"{radii[0]:.1f}"
    for radius, diameter in zip(radii[1:], breaks, strict=True):
        dome += f" to {diameter:.1f} across, then {radius:.1f}"
    return (
        f"stand {fit['stand_diameter']:.2f}, dome radius {dome}, shoulder "
        f"{fit['shoulder_radius']:.2f}, nose {fit['nose_radius']:.2f}, inner leg "
        f"{math.degrees(fit['inner_leg_angle']):.1f} deg, outer leg "
        f"{math.degrees(fit['outer_leg_angle']):.1f} deg (middle surface, mm; misfit "
        f"{rest.misfit_mm:.3f} mm)"
    )


def _reversal_words(reversal: FormedReversal) -> str:
    if reversal.waves == 0:
        return f"{reversal.reason}; no onset of waves before it"
    return reversal.reason


def _print_parts(console: Console, record: DomingRecord) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("Formed state kept")
    for name in ("reversal psi", "step", "growth at 60 psi", "permanent"):
        table.add_column(name, justify="right")
    before: float | None = None
    for name, row in record.reversal.items():
        psi = None if row.reversal_pressure_mpa is None else row.reversal_pressure_mpa / PSI
        step = f"{psi - before:+.1f}" if psi is not None and before is not None else ""

        def mm(value: float | None) -> str:
            return "-" if value is None else f"{value:.2f} mm"

        shown = row.kind if psi is None else f"{psi:.1f}"
        table.add_row(name, shown, step, mm(row.growth_mm), mm(row.permanent_mm))
        before = psi
    console.print()
    console.print(table)


def _number(value: float | None, digits: int = 3) -> str:
    if value is None:
        return "-"
    text = f"{value:+.{digits}f}"
    return text if float(text) else text[1:]  # no -0.00


def print_budget(console: Console, budget: Budget) -> None:
    """Slopes of each knob, the ways to gain depth, and the knobs that gain none."""
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("What a change does")
    for name in ("from", "by", *_COSTS):
        table.add_column(name, justify="right")
    for row in budget.slopes:
        step = _STEP.get(row.knob, 1.0)
        rates = (row.depth_mm, row.springback_mm, row.reversal_psi, row.thinning_points,
                 row.peak_force_kn, row.split_risk)  # fmt: skip
        changes = (None if rate is None else rate * step for rate in rates)
        table.add_row(
            row.knob,
            f"{row.value:.4g}",
            f"{step:+g} {row.unit}".removesuffix(" -"),
            *(_number(change, digits) for change, digits in zip(changes, (3, 3, 2, 2, 2, 2))),
        )
    console.print()
    console.print(table)
    ways = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    ways.add_column(f"To gain {budget.wanted_mm:.2f} mm")
    for name in ("change", "gain\nmm", *_COSTS[2:]):
        ways.add_column(name, justify="right")
    ways.add_column("")
    for way in budget.ways:
        if way.change is not None:
            unit = "" if way.unit == "-" else f" {way.unit}"
            ways.add_row(
                way.knob,
                f"{way.change:+.3g}{unit}",
                _number(way.won_mm, 3),
                _number(way.reversal_psi, 1),
                _number(way.thinning_points, 2),
                _number(way.peak_force_kn, 2),
                "-" if way.split_risk is None else f"{way.split_risk:.2f}",
                way.remark,
            )
    console.print()
    if ways.row_count:
        console.print(ways)
    else:
        console.print(Text(f"No knob within its reach gains {budget.wanted_mm:.2f} mm"))
    rest = plain_table("left", "left")
    for way in budget.ways:
        if way.change is None:
            rest.add_row(way.knob, way.remark)
    console.print(rest)
    console.print()
    console.print(Text(budget.warning, style="bold"))


def print_study(study: DomingStudy, done: tuple[int, int, int], folder: Path) -> None:
    """The result of a doming study: cases formed, failed, and solved in an earlier run."""
    console = narrow_console()
    formed, failed, kept = done
    console.print(Text(one_line(study.name), style="bold"))
    console.print(f"{formed} cases formed, {failed} failed; {kept} solved in an earlier run")
    console.print(Text(f"Wrote {folder / 'doming-study.csv'}"), soft_wrap=True)
    console.print(Text(DOMING_CAUTION, style="italic"))
