"""What stands at the head of a report, and what its figures show in words, command by command.

A head is (asked, of what, answer) and a verdict with its mood (page.py).
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from domemargin.profiles.units import PSI
from domemargin.studies.margin.compare import pressure_rows
from domemargin.studies.margin.tolerable import MORE_THAN, NOT_HELD
from domemargin.studies.text.scatter import interval_words, share_words

if TYPE_CHECKING:
    from domemargin.fea.doming.record import DomingRecord
    from domemargin.studies.diagnosis.report import Report as Readings
    from domemargin.studies.margin.compare import Comparison
    from domemargin.studies.margin.margin import MarginReport
    from domemargin.studies.margin.scatter import ScatterReport

Head = tuple[tuple[str, str, str], tuple[str, str]]


def margin_head(report: MarginReport) -> Head:
    """The tolerable depth loss; where other quantities vary, its range, and at how many of their
    values there is one."""
    study = report.study
    of = f"{study.name}: {study.profile.name}"
    if report.target is None:
        return ("Margin", of, "Slopes and what matters most"), ("no required pressure", "none")
    places = report.tolerable
    losses = [one.loss for one in places if one.loss is not None]
    held = [one for one in places if one.loss is None and one.reason.startswith(MORE_THAN)]
    low = [one for one in places if one.loss is None and one.reason == NOT_HELD]
    target = f"{report.target / PSI:.1f} psi"
    if losses:
        ends = f"{min(losses):.3f}", f"{max(losses):.3f}"
        answer = f"{' to '.join(dict.fromkeys(ends))} mm"
    else:
        answer = "More than was looked at" if len(held) == len(places) else "None to be stated"
        if held and low:
            answer = "All or nothing of what was looked at"
    counts = (
        (len(losses), f"hold {target} up to that loss"),
        (len(held), f"hold {target} at every loss looked at"),
        (len(low), f"do not hold {target} even without a loss"),
        (len(places) - len(losses) - len(held) - len(low), "have no answer"),
    )
    verdict = "; ".join(f"{n} of {len(places)} {what}" for n, what in counts if n)
    mood = "good" if len(losses) + len(held) == len(places) else "doubt"
    if places and len(low) == len(places):
        mood = "bad"
    return ("Tolerable depth loss", of, answer), (verdict or "not looked at", mood)


def margin_alt(report: MarginReport) -> str:
    """The figure of a margin in words."""
    known = int(report.table["reversal_pressure_mpa"].notna().sum())
    return (
        f"Reversal pressure or margin over the quantities of {report.study.name}, {known} cases "
        "with a pressure, and which quantity matters most; the numbers stand in words below."
    )


def compare_head(comparison: Comparison) -> Head:
    """The mean pressures of two bottoms."""
    rows = {what: (a, b) for what, a, b in pressure_rows(comparison)}
    a, b = comparison.a.profile.name, comparison.b.profile.name
    answer = "No point has both pressures"
    if "mean reversal pressure" in rows:
        first, second = rows["mean reversal pressure"]
        answer = f"{first} against {second} in the mean"
    verdict = f"{comparison.both} of {comparison.points} points have both pressures"
    return ("Two bottoms", f"{a} against {b}", answer), (verdict, "none")


def compare_alt(comparison: Comparison) -> str:
    """The figure of a comparison in words."""
    rows = "; ".join(f"{what}: {a} and {b}" for what, a, b in pressure_rows(comparison))
    return f"Sections of both bottoms and their reversal pressures point by point. {rows}."


def scatter_head(report: ScatterReport) -> Head:
    """The share of cans below the requirement."""
    study = report.study
    required = study.requirement() / PSI
    verdict = f"95 % interval {interval_words(report.low, report.high)}, of the drawing"
    head = ("Cans below the requirement", f"{study.name}: {study.profile.name}",
            f"{share_words(report.share)} below {required:.1f} psi")  # fmt: skip
    return head, (verdict, "none")


def scatter_alt(report: ScatterReport) -> str:
    """The figure of a scatter in words."""
    return (
        f"Distribution of the reversal pressure of {report.cans:,} cans, mean "
        f"{report.mean / PSI:.1f} psi, standard deviation {report.deviation / PSI:.2f} psi, with "
        "the requirement, and the share of variance by quantity."
    )


def doming_head(record: DomingRecord) -> Head:
    """The depth at rest."""
    name = record.tooling.name
    if record.kind != "formed" or record.rest is None:
        return ("Doming", name, "Not formed"), (record.reason, "bad")
    rest = record.rest
    verdict = f"springback {rest.springback_mm:.3f} mm"
    return ("Doming", name, f"{rest.depth_mm:.3f} mm dome depth"), (verdict, "none")


def doming_alt(record: DomingRecord) -> str:
    """The figure of a doming in words."""
    depth = "not formed" if record.rest is None else f"dome depth {record.rest.depth_mm:.3f} mm"
    return (
        f"Stages of the stroke of {record.tooling.name} with the tools, force over the stroke, "
        f"contact and thickness along the bottom: {depth}."
    )


def readings_head(report: Readings, file: str) -> Head:
    """How many machines have a finding."""
    counts = Counter(one.verdict for one in report.diagnosis.findings)
    words = ", ".join(f"{number} {verdict}" for verdict, number in counts.most_common())
    machines = len(report.diagnosis.findings)
    answer = f"{machines} machine{'s' if machines != 1 else ''}"
    return ("Depth readings", file, answer), (words, "none")


def readings_alt(report: Readings) -> str:
    """The figure of readings in words."""
    machines = ", ".join(f"{one.machine}: {one.verdict}" for one in report.diagnosis.findings[:12])
    return f"Depth over time for each machine against the target. {machines}."
