"""A report of readings for a shift meeting: which machine, what to do first, how sure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path

from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SMALL_DRIFT,
    SMALL_STEP,
    SPREAD,
    Finding,
)
from domemargin.studies.diagnosis.rates import chance_right
from domemargin.studies.diagnosis.report import Report
from domemargin.studies.diagnosis.words import LOCK_OUT
from domemargin.studies.text.words import one_line
from domemargin.studies.whole_files import write_whole

_WIDTH = 80
# the gravest first; what is found, and what to do first
_ORDER: dict[str, tuple[str, str]] = {
    SPREAD: ("depth scatters from can to can", "look for play in the drive; leave the set alone"),
    OFFSET: ("depth is off", "compare the set with its record"),
    DRIFT: ("depth keeps moving", "measure the spring force"),
    SMALL_STEP: ("depth has stepped a little", "read the record of the set for that day"),
    SMALL_DRIFT: ("depth moves a little", "look at the spring at the next stop"),
    LOT: ("depth follows the sheet", "check the lot; leave the sets alone"),
}


def shift_lines(report: Report) -> Iterator[str]:
    """One page in plain words, at most 80 columns wide."""
    findings = report.diagnosis.findings
    yield "FOR THE SHIFT MEETING"
    todo = [one for cause in _ORDER for one in findings if one.verdict == cause]
    if todo and all(one.verdict == LOT for one in todo) and len(todo) > 2:
        todo = []
    for number, one in enumerate(todo, 1):
        seen, first = _ORDER[one.verdict]
        loose = one.verdict == SPREAD and report.diagnosis.loose(one.line)
        if loose:
            first = "repeat five cans on the gauge first; leave the set alone"
        yield from _wrapped(
            f"{number}. {one_line(one.machine, 30)}: {seen}{_size(one)}. First: {first}."
            f"{_sure(report, one)}"
        )
        rest = [_ORDER[cause][0] for cause in one.causes[1:] if cause in _ORDER]
        if rest:
            yield from _wrapped(f"   It also shows that {' and '.join(rest)}.")
    lots = [one for one in findings if one.verdict == LOT]
    if lots and not todo:
        names = sorted({name for one in lots for name, _ in one.lots})
        yield from _wrapped(f"Sheet moves depth on {len(lots)} machines: {', '.join(names[:4])}. "
                            "First: check the lot; leave the sets alone.")  # fmt: skip
    open_ = [one for one in findings if one.verdict == NOT_ENOUGH]
    if open_:
        cans = ", ".join(f"{one_line(one.machine, 20)} ({one.more})" for one in open_[:12])
        more = f" and {len(open_) - 12} others" if len(open_) > 12 else ""
        yield from _wrapped(f"Read more cans, at least: {cans}{more}.")
    good = sum(one.verdict == IN_CONTROL for one in findings)
    if good:
        yield from _wrapped(f"Nothing to do at {good} of {len(findings)} machines.")


def write_shift(report: Report, path: Path) -> None:
    """The page as a text file, with the caution."""
    from domemargin.fea.core.record import CAUTION

    words = [line for text in (LOCK_OUT, CAUTION) for line in textwrap.wrap(text, _WIDTH)]
    lines = [*shift_lines(report), "", *words]
    write_whole(path, "\n".join(lines) + "\n")


def _size(finding: Finding) -> str:
    if finding.verdict == SPREAD:
        return f" ({finding.spread:.3f} mm)"
    if finding.verdict in (DRIFT, SMALL_DRIFT):
        return f" ({finding.shape.trend:+.3f} mm over the record)"
    if finding.verdict == SMALL_STEP and finding.step is not None:
        return f" ({finding.step.size:+.3f} mm on day {finding.step.day:.0f})"
    if finding.verdict == OFFSET:
        return f" ({finding.deviation:+.3f} mm from the target)"
    return ""


def _sure(report: Report, finding: Finding) -> str:
    chance = chance_right(finding.verdict, report.question.ailing)
    if chance is None:
        return ""
    return f" Right {min(round(100.0 * chance), 99)} times in 100."


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent="   ")
