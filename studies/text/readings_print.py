"""What the command `readings` prints, at most 80 columns wide."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from domemargin.profiles.units import PSI
from domemargin.studies.diagnosis.diagnosis import IN_CONTROL, NOT_ENOUGH
from domemargin.studies.diagnosis.pressure import Margin
from domemargin.studies.diagnosis.report import Report, verdict_on
from domemargin.studies.diagnosis.scatter import scatter_parts
from domemargin.studies.diagnosis.words import CHECKS, LOCK_OUT, checks, evidence, filled, rate
from domemargin.studies.readings.components import WITHIN
from domemargin.studies.readings.control_capability import Capability
from domemargin.studies.readings.control_charts import RUN
from domemargin.studies.text.shift import shift_lines
from domemargin.studies.text.words import one_line

_WIDTH = 80
_BAD_SHOWN = 8


def report_lines(report: Report, files: Sequence[Path] = ()) -> Iterator[str]:
    """The report, line by line."""
    yield from _head(report)
    yield from shift_lines(report)
    yield ""
    yield from _machines(report)
    if any(report.capabilities):
        yield from _capable(report)
    if report.margins:
        yield from _pressures(report)
    yield from _verdicts(report)
    yield ""
    from domemargin.fea.core.record import CAUTION

    yield from _wrapped(LOCK_OUT)
    yield from _wrapped(CAUTION)
    if files:
        yield ""
    for file in files:
        yield f"Wrote {file}"


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)


def _head(report: Report) -> Iterator[str]:
    readings, diagnosis = report.readings, report.diagnosis
    many = len(diagnosis.findings)
    yield (f"{len(readings):,} readings of {many} machine{'s' if many > 1 else ''} over "
           f"{readings.days:.1f} days")  # fmt: skip
    bad = readings.set_aside
    if bad:
        yield f"{len(bad)} row{'s' if len(bad) > 1 else ''} set aside:"
        for one in bad[:_BAD_SHOWN]:
            yield "  " + one_line(f"line {one.line}: {one.reason}", _WIDTH - 2)
        if len(bad) > _BAD_SHOWN:
            yield f"  and {len(bad) - _BAD_SHOWN} more, all in set_aside.csv"
    explained = diagnosis.explained
    how = "" if diagnosis.target_given else ", the median of the machines (give --target)"
    yield f"Target {diagnosis.target:.3f} mm{how}"
    yield from _wrapped(
        f"Explained scatter (standard deviations): {explained.can:.4f} mm from can to can, "
        f"{explained.lot:.4f} between sheet lots, {explained.reading:.4f} of the gauge"
        + _gauge_words(report)
        + f"; {report.question.slopes.source}."
    )
    parts = scatter_parts(report.question.scatter, report.question.slopes)
    by = ", ".join(
        f"{'sheet gauge' if name == 'gauge' else name} {value:.4f}" for name, value in parts.items()
    )
    yield from _wrapped(f"Explained scatter by cause (mm): {by}; sets {explained.set:.4f}.")
    names = {WITHIN: "within"}
    shares = ", ".join(
        f"{names.get(name, name)} {value:.4f}"
        for name, value in report.components.deviation.items()
    )
    yield from _wrapped(f"Found by factor (mm, standard deviations): {shares}.")
    for note in (*readings.notes, *report.notes):
        yield from _wrapped(note)
    yield ""


def _gauge_words(report: Report) -> str:
    if report.gauge:
        return " (gauge study)"
    return " (as stated)" if report.question.gauge_measured else " (assumed, not measured)"


def _machines(report: Report) -> Iterator[str]:
    wide = min(max(len("machine"), *(len(one.machine) for one in report.diagnosis.findings)), 18)
    yield (f"{'machine':<{wide}}  {'cans':>6} {'data':>5} {'mean':>7} {'off':>7} {'spread':>7} "
           "verdict")  # fmt: skip
    for one in report.diagnosis.findings:
        start = (f"{one_line(one.machine, wide):<{wide}}  {one.readings:6d} "
                 f"{100.0 * filled(one):4.0f}% {one.mean:7.3f} {one.deviation:+7.3f} "
                 f"{one.spread:7.4f} ")  # fmt: skip
        more = f" and {len(one.causes) - 1} more" if len(one.causes) > 1 else ""
        yield start + one_line(one.verdict + more, _WIDTH - len(start))
    yield "(mm; data: readings over those a verdict needs; mean: present; off: from target)"
    grouped = [one.n for one in report.subgroups if one is not None]
    if grouped:
        size = max(set(grouped), key=grouped.count)
        yield from _wrapped(
            f"{len(grouped)} machines are read in subgroups, of {size} cans mostly: charts of "
            "means and ranges."
        )
    beyond = Counter(
        {one.machine: (group or chart).beyond.size + (group or chart).runs.size
         for one, chart, group in zip(report.diagnosis.findings, report.charts, report.subgroups)
         if chart is not None}
    )  # fmt: skip
    worst = [f"{name} ({count})" for name, count in beyond.most_common(3) if count]
    if worst:
        yield from _wrapped(
            f"Most points beyond control limits or in runs of {RUN}: {', '.join(worst)}. Limits "
            "of a machine's own short-term scatter: sheet lots alone may cross them."
        )


def _capable(report: Report) -> Iterator[str]:
    wide = min(max(len("machine"), *(len(one.machine) for one in report.diagnosis.findings)), 18)
    yield ""
    yield "Capability, Cpk with 95 % limits"
    yield (f"{'machine':<{wide}}  {'as observed':>22}  "
           + (f"{'less the gauge':>22}  " if report.corrected else "") + "outside")  # fmt: skip
    corrected = report.corrected or (None,) * len(report.capabilities)
    for one, index, true in zip(
        report.diagnosis.findings, report.capabilities, corrected, strict=True
    ):
        row = f"{one_line(one.machine, wide):<{wide}}  {_index(index):>22}  "
        row += f"{_index(true):>22}  " if report.corrected else ""
        yield row + (f"{_percent(index.outside):>7}" if index else f"{'-':>7}")
    if report.corrected:
        yield from _wrapped("-: too few readings, or a gauge that scatters as much as they do.")
    else:
        yield from _wrapped("The scatter of the gauge is included: a gauge study (cans read "
                            "again) or --gauge removes it.")  # fmt: skip


def _index(index: Capability | None) -> str:
    if index is None:
        return "-"
    value, low, high = index.cpk
    top = f"{high:.2f}" if math.isfinite(high) else "any"
    return f"{value:.2f} ({low:.2f} to {top})"


def _pressures(report: Report) -> Iterator[str]:
    question, done, curve = report.question, report.calibration, report.curve
    assert question.required is not None
    assert curve is not None
    yield ""
    yield (f"Pressure, {one_line(curve.profile, 30)}, {question.required / PSI:.1f} psi required; "
           f"{curve.slope(report.diagnosis.target) / PSI:.1f} psi per mm")  # fmt: skip
    if done.tests:
        yield from _wrapped(
            f"{done.tests} own tests: level {done.level:.3f} ± {1.96 * done.level_sd:.3f} of the "
            f"model, slope {done.scale:.2f} ± {1.96 * done.scale_sd:.2f}."
        )
        for sentence in done.contradictions:
            yield from _wrapped(f"CONTRADICTION: {sentence}")
        yield "Before the tests:"
    yield from _margins(report, report.margins)
    if report.calibrated:
        yield "After the tests:"
        yield from _margins(report, report.calibrated)
    known = (
        " after the tests."
        if done.tests
        else (" (5 %, standard deviation; own tests in a column 'reversal (psi)' narrow it).")
    )
    yield from _wrapped(
        "Chance: that the machine's mean lies below the requirement, by the uncertainty of the "
        "model's level" + known
    )
    yield from _wrapped(
        "Loss left: further depth loss until the margin falls to "
        f"{100.0 * question.wanted:g} %; negative: depth that must be gained."
    )
    slope = curve.slope(report.diagnosis.target) * done.scale / PSI
    for one in question.remedies:
        yield from _wrapped(f"Remedy, model estimate: {one.name}: {one.depth:+.3f} mm of depth, "
                            f"{one.depth * slope:+.2f} psi by depth; {one.cost}")  # fmt: skip


def _margins(report: Report, margins: Sequence[Margin]) -> Iterator[str]:
    wide = min(max(len("machine"), *(len(one.machine) for one in margins)), 18)
    yield (f"{'machine':<{wide}}  {'psi':>6} {'margin':>7}  {'cans below (95 % limits)':>26} "
           f"{'chance':>7}  loss left")  # fmt: skip
    by_word: dict[str, list[str]] = {}
    required = report.question.required
    assert required is not None
    for one in margins:
        by_word.setdefault(verdict_on(one, required).word, []).append(one_line(one.machine, 18))
        share = f"{_percent(one.below)} ({_percent(one.below_low)} to {_percent(one.below_high)})"
        loss = "-" if one.loss is None else f"{one.loss:+.2f} mm"
        name, short = f"{one_line(one.machine, wide):<{wide}}", _percent(one.short)
        yield (f"{name}  {one.pressure / PSI:6.1f} {100 * one.margin:+6.1f}%  "
               f"{share:>26} {short:>7}  {loss:>9}")  # fmt: skip
    words = "; ".join(f"{word}: {', '.join(names)}" for word, names in by_word.items())
    yield from _wrapped(f"By the 95 % interval of the mean can: {words}.")


def _percent(share: float) -> str:
    if share < 1e-5:
        return "0%" if share == 0.0 else "<0.001%"
    return f"{100.0 * share:.2g}%" if share < 0.0995 else f"{100.0 * share:.0f}%"


def _verdicts(report: Report) -> Iterator[str]:
    findings = report.diagnosis.findings
    short = [one for one in findings if one.verdict == NOT_ENOUGH and not one.also]
    short = short if len(short) > 2 else []  # many share one paragraph
    for one in findings:
        if one.misreads:
            lines = ", ".join(map(str, one.misreads[:6]))
            yield ""
            many = "reading is" if len(one.misreads) == 1 else "readings are"
            yield from _wrapped(f"{one.machine}: {len(one.misreads)} {many} far off and left out "
                                f"as misread: line {lines}.")  # fmt: skip
        if one.verdict == IN_CONTROL:
            for sentence in one.also:
                yield ""
                yield from _wrapped(f"{one.machine}: {sentence}")
            continue
        if one in short:
            continue
        yield ""
        yield one_line(f"{one.machine}: {one.verdict.upper()}", _WIDTH)
        said = (evidence(one, report.diagnosis), *one.also,
                rate(one.verdict, report.question.ailing))  # fmt: skip
        for sentence in said:
            yield from _wrapped(sentence, "  ")
        for number, check in enumerate(checks(one, report.diagnosis), 1):
            yield from _wrapped(f"{number}. {check}", "  ")
        for cause in one.causes[1:]:
            yield from _wrapped(f"as well: {cause}", "  ")
            yield from _wrapped(evidence(one, report.diagnosis, cause), "    ")
            yield from _wrapped(f"first: {checks(one, report.diagnosis, cause)[0]}", "    ")
    if short:
        more = ", ".join(f"{one_line(one.machine, 26)} ({one.more})" for one in short)
        yield ""
        yield f"{len(short)} machines: {NOT_ENOUGH.upper()}"
        yield from _wrapped(
            "Their readings cannot distinguish play from what the sheet explains; so many more are "
            f"needed, about: {more}.",
            "  ",
        )
        for number, check in enumerate(CHECKS[NOT_ENOUGH], 1):
            yield from _wrapped(f"{number}. {check}", "  ")
