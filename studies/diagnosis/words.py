"""Verdicts on machines in plain words: what is seen, what to check first, how sure it is."""

from __future__ import annotations

from domemargin.studies.diagnosis.counts import PLANTS
from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SMALL_DRIFT,
    SMALL_STEP,
    SPREAD,
    Diagnosis,
    Finding,
)
from domemargin.studies.diagnosis.doming import Remedy
from domemargin.studies.diagnosis.rates import AILING, chance_right
from domemargin.studies.diagnosis.spread import FAR
from domemargin.studies.tails import normal_above

LOCK_OUT = (
    "Before hands or gauges go near a press: stop it, lock it out and tag it, release the "
    "energy stored in springs and air, and leave it to qualified people."
)
CHECKS: dict[str, tuple[str, ...]] = {
    SPREAD: (
        "play in the drive of the doming station: bearings, pins, ways, the tie of the dome die",
        "the fastening of punch and dome die, and pressure or spring behind the doming station",
        "the gauge: repeat five cans, so that its own scatter is known",
        "only then the set, and only if the scatter is gone",
    ),
    OFFSET: (
        "what was changed at that time: tool, die, shim, set",
        "the set against its record, then the tool's own depth and wear",
        "change the set by what is missing, and read 20 cans after it",
    ),
    DRIFT: (
        "the spring or air pressure behind the doming station: force at the set, age",
        "wear of dome die and punch nose",
        "replace or reset it, and keep reading: a change of set alone does not last",
    ),
    SMALL_STEP: (
        "the record of the set: what was done to the machine at that time, logged or not",
        "a shim, a die or a tool that does not belong there",
        "the set only by the difference that the record shows; the drive is not suspected",
    ),
    SMALL_DRIFT: (
        "the spring or air pressure behind the doming station: force at the set, age",
        "wear of dome die and punch nose, by the record of the tool",
        "keep reading, and estimate its movement over as many days ahead",
    ),
    LOT: (
        "the certificate of the lot: gauge, yield strength, lubricant",
        "gauge and yield strength of a sample of it",
        "leave the sets unchanged: the next lot differs again",
    ),
    NOT_ENOUGH: ("read more cans before anything is changed",),
    IN_CONTROL: (),
}
_ALWAYS_OFF = (
    "the set against its record, then the tool's own depth and wear",
    "whether the tool, the die or a shim is the one that belongs there",
    "change the set by what is missing, and read 20 cans after it",
)
_LOOSE_LINE = (
    "the gauge and the operators: five cans by every operator, twice",
    "whether sheet lots and operators are recorded, and what the sheet really scatters by",
    "play in the drives, machine by machine",
    "the sets last, and only if the scatter is gone",
)


def checks(finding: Finding, diagnosis: Diagnosis, cause: str | None = None) -> tuple[str, ...]:
    """What to check for a cause, by default the verdict, in which order."""
    cause = finding.verdict if cause is None else cause
    if cause == SPREAD and diagnosis.loose(finding.line):
        return _LOOSE_LINE
    if cause == OFFSET and finding.step is None:
        return _ALWAYS_OFF  # no time at which anything was changed
    return CHECKS[cause]


def evidence(finding: Finding, diagnosis: Diagnosis, cause: str | None = None) -> str:
    """The numbers behind a cause, by default the verdict, in a sentence or two."""
    cause = finding.verdict if cause is None else cause
    shape, explained = finding.shape, diagnosis.explained
    seen = (
        f"scatters by {finding.spread:.4f} mm (standard deviation, {finding.readings} readings); "
        f"sheet, process and gauge explain {explained.seen:.4f} mm"
    )
    if cause == SPREAD:
        far = (
            f" {finding.far} cans lie far off, the others less so: it is intermittent."
            if _now_and_then(finding, explained.seen)
            else ""
        )
        return (
            f"It {seen}. Not explained: {finding.unexplained:.4f} mm, with 95 % limits "
            f"{finding.unexplained_low:.4f} to {finding.unexplained_high:.4f} mm.{far}"
        )
    if cause == NOT_ENOUGH:
        return (
            f"{finding.readings} readings cannot distinguish play from what the sheet explains; "
            f"about {finding.more} more are needed."
        )
    if cause in (DRIFT, SMALL_DRIFT):
        return (
            f"It moved by {shape.trend:+.3f} mm over the record, with a standard error of "
            f"{shape.trend_error:.3f} mm, beside any steps. It {seen}."
        )
    step = finding.step
    if cause in (OFFSET, SMALL_STEP) and step is not None:
        where = "where a change is logged" if step.logged else "where no change is logged"
        within = (
            f" A set explains steps up to {diagnosis.unlogged:.3f} mm here."
            if cause == SMALL_STEP
            else ""
        )
        return (
            f"It stepped by {step.size:+.3f} mm (standard error {step.error:.3f} mm) on day "
            f"{step.day:.1f} of the record, {where}, and is now {finding.deviation:+.3f} mm from "
            f"the target.{within} It {seen}."
        )
    if cause == LOT:
        names = ", ".join(f"{name} ({level:+.3f} mm)" for name, level in finding.lots[:4])
        return f"Its level follows the sheet: {names}, like the other machines'. It {seen}."
    return (
        f"It reads {finding.deviation:+.3f} mm from the target, with a standard error of "
        f"{finding.deviation_se:.3f} mm; offsets below {diagnosis.worth:.3f} mm are within the "
        f"accuracy of setting. It {seen}."
    )


def _now_and_then(finding: Finding, seen: float) -> bool:
    """Whether the scatter is intermittent: fewer cans lie far off than if all scattered alike."""
    alike = 2.0 * float(normal_above(FAR * seen / finding.spread)) * finding.readings
    return 2 < finding.far < 0.6 * alike


def rate(verdict: str, ailing: float = AILING) -> str:
    """How often a verdict is right for this share of faulty machines, by simulation."""
    share = chance_right(verdict, ailing)
    if share is None:
        return ""
    often = "more than 99" if share > 0.99 else f"about {100.0 * share:.0f}"
    return (
        f"Right {often} times in a hundred where {100.0 * ailing:g} % of the machines are "
        f"faulty, by {PLANTS:,} simulated plants with tool changes, operators, outliers and "
        "several faults."
    )


def filled(finding: Finding) -> float:
    """Readings of a machine over those that a verdict needs, at most 1."""
    return finding.readings / (finding.readings + finding.more)


REMEDIES = (
    Remedy("set 0.1 mm deeper", 0.100, "force and thinning: see a doming study of this bottom"),
    Remedy("friction up by 0.1", 0.024, "28 % more force; thinning: see a doming study"),
    Remedy("yield strength down 3 %", 0.012, "a softer sheet: about 3 % less reversal pressure"),
)
