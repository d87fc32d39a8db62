"""Verdicts on machines in plain words: what is seen, what to check first, how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SPREAD,
    Diagnosis,
    Finding,
)
from domemargin.studies.diagnosis.rates import PLANTS, RIGHT_SHARE
from domemargin.studies.diagnosis.shape import STEP

LOCK_OUT = (
    "Before hands or gauges go near a press: stop it, lock it out and tag it, let the energy "
    "stored in springs and air out, and leave it to qualified people."
)
CHECKS: dict[str, tuple[str, ...]] = {
    SPREAD: (
        "play in the drive of the doming station: bearings, pins, ways, the tie of the dome die",
        "the hold of punch and dome die, and the pressure or spring behind the doming station",
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
        "replace or reset, and read on: a set that is moved alone will be moved again",
    ),
    LOT: (
        "the certificate of the lot: gauge, yield strength, lubricant",
        "gauge and yield strength of a sample of it",
        "leave the sets alone: the next lot undoes them",
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
    "the gauge and who gauges: five cans by every operator, twice",
    "whether sheet lots and operators are recorded, and what the sheet really scatters by",
    "play in the drives, machine by machine",
    "the sets last, and only if the scatter is gone",
)


def checks(finding: Finding, diagnosis: Diagnosis) -> tuple[str, ...]:
    """What to check for a verdict, in which order."""
    if finding.verdict == SPREAD and diagnosis.loose(finding.line):
        return _LOOSE_LINE
    if finding.verdict == OFFSET and finding.shape.kind != STEP:
        return _ALWAYS_OFF  # no time at which anything was changed
    return CHECKS[finding.verdict]


def evidence(finding: Finding, diagnosis: Diagnosis) -> str:
    """The numbers behind a verdict, in a sentence or two."""
    shape, explained = finding.shape, diagnosis.explained
    seen = (
        f"scatters by {finding.spread:.4f} mm (standard deviation, {finding.readings} readings); "
        f"sheet, process and gauge explain {explained.seen:.4f} mm"
    )
    if finding.verdict == SPREAD:
        return (
            f"It {seen}. Not explained: {finding.unexplained:.4f} mm, with 95 % limits "
            f"{finding.unexplained_low:.4f} to {finding.unexplained_high:.4f} mm."
        )
    if finding.verdict == NOT_ENOUGH:
        return (
            f"{finding.readings} readings do not tell play from what the sheet explains; about "
            f"{finding.more} more are needed."
        )
    if finding.verdict == DRIFT:
        return (
            f"It moved by {shape.change:+.3f} mm over the record; a steady machine shows as much "
            f"once in {_once(shape.chance)}. It {seen}."
        )
    if finding.verdict == OFFSET and shape.kind == STEP and shape.at_day is not None:
        return (
            f"It stepped by {shape.change:+.3f} mm on day {shape.at_day:.1f} of the record and is "
            f"now {finding.deviation:+.3f} mm from the target. It {seen}."
        )
    if finding.verdict == LOT:
        names = ", ".join(f"{name} ({level:+.3f} mm)" for name, level in finding.lots[:4])
        return f"Its level follows the sheet: {names}, like the other machines'. It {seen}."
    return (
        f"It reads {finding.deviation:+.3f} mm from the target, with a standard error of "
        f"{finding.deviation_se:.3f} mm; offsets below {diagnosis.worth:.3f} mm are within how "
        f"closely machines are set. It {seen}."
    )


def _once(chance: float) -> str:
    return "more than a million" if chance < 1e-6 else f"{round(1.0 / max(chance, 1e-9)):,}"


def rate(verdict: str) -> str:
    """How often a verdict was right in simulation."""
    share = RIGHT_SHARE.get(verdict)
    if share is None:
        return ""
    often = "more than 99" if share > 0.99 else f"about {100.0 * share:.0f}"
    return (
        f"In {PLANTS:,} simulated plants this verdict was right {often} times in a hundred, each "
        "cause taken as equally common."
    )


@dataclass(frozen=True)
class Remedy:
    """What may be done about a low depth, and its cost; a model estimate of a first study.

    depth : gained, mm.  cost : in force and thinning, in words.
    """

    name: str
    depth: float
    cost: str


REMEDIES = (
    Remedy("set 0.1 mm deeper", 0.100, "force and thinning: see a doming study of this bottom"),
    Remedy("friction up by 0.1", 0.024, "28 % more force; thinning: see a doming study"),
    Remedy("yield strength down 3 %", 0.012, "a softer sheet: about 3 % less reversal pressure"),
)
