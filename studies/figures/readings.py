"""Depth readings by machine: a panel each, with control limits, target and what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from domemargin.fea.core.record import CAUTION
from domemargin.studies.diagnosis.diagnosis import IN_CONTROL, NOT_ENOUGH, SPREAD
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, RING, styled
from domemargin.studies.readings.report import Report
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PANELS, _ACROSS = 24, 4
FAR = 100.0  # mm, beyond every frame
_POINTS = 1500  # of one panel; more are thinned evenly
_COLOUR = {IN_CONTROL: RING, NOT_ENOUGH: BEFORE, SPREAD: AFTER}


def readings_figure(report: Report) -> Figure:
    """Small multiples on one scale; beyond 24 machines the healthy ones are left out first."""
    from matplotlib.figure import Figure

    findings = report.diagnosis.findings
    order = sorted(range(len(findings)), key=lambda i: findings[i].verdict == IN_CONTROL)
    shown = sorted(order[:_PANELS])
    across = min(_ACROSS, len(shown))
    down = -(-len(shown) // across)
    with styled():
        width = max(2.9 * across + 0.6, 7.8)  # that of the title and the caution at least
        figure = Figure(figsize=(width, 1.75 * down + 1.3), layout="constrained")
        panels = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False).ravel()
        for panel, number in zip(panels, shown):
            _panel(panel, report, number)
        for panel in panels[len(shown) :]:
            panel.set_visible(False)
        panels[0].set_ylim(*_range(report, shown))
        start = report.readings.start[:16].replace("T", " ")
        figure.supxlabel(f"days since {start}\n\n", fontsize=9)
        figure.text(0.01, 0.012, CAUTION, fontsize=7.5, color="#555555", va="bottom")
        figure.supylabel("dome depth (mm)", fontsize=9)
        left = f"; {len(findings) - len(shown)} more machines" if len(findings) > len(shown) else ""
        question = report.question
        limits = question.low is not None or question.high is not None
        figure.suptitle(
            f"Dome depth by machine{left}\n"
            "dashed: target; dotted: control limits of the machine; "
            f"{'grey: out of tolerance; ' if limits else ''}line: level and movement found",
            fontsize=9.5, ha="left", x=0.01,
        )  # fmt: skip
    return figure


def _panel(axes: Axes, report: Report, number: int) -> None:
    finding, chart = report.diagnosis.findings[number], report.charts[number]
    machine = report.readings.machine.used()[number]
    rows = report.readings.rows_of(machine)
    day, depth = report.readings.day[rows], report.readings.depth[rows]
    some = np.unique(np.linspace(0, day.size - 1, min(day.size, _POINTS)).astype(int))
    colour = _COLOUR.get(finding.verdict, ONSET)
    axes.plot(day[some], depth[some], ".", ms=1.6, color=colour, alpha=0.6, rasterized=True)
    axes.axhline(report.diagnosis.target, color=INK, lw=0.8, ls="--")
    if chart is not None:
        for limit in (chart.low, chart.high):
            axes.axhline(limit, color=BEFORE, lw=0.8, ls=":")
    fitted = finding.mean + finding.shape.fitted - finding.shape.fitted[-1]
    axes.plot(day, fitted, color=INK, lw=1.1)
    low, high = report.question.low, report.question.high
    for edge, end in ((low, -FAR), (high, FAR)):
        if edge is not None:
            axes.axhspan(edge, edge + end, color=BEFORE, alpha=0.2, lw=0.0, zorder=0)
    for event in report.readings.events:
        if event.machine == machine:
            axes.axvline(event.day, color=AFTER, lw=0.8)
            axes.annotate(one_line(event.what, 18), (event.day, 0.03), fontsize=6.5, rotation=90,
                          xycoords=("data", "axes fraction"), ha="right", color=AFTER)  # fmt: skip
    axes.set_title(one_line(finding.machine, 26), fontsize=8.5, pad=11)
    axes.annotate(
        finding.verdict, (0.0, 1.02), xycoords="axes fraction", fontsize=8, color=colour,
        fontweight="bold" if finding.verdict not in (IN_CONTROL, NOT_ENOUGH) else "normal",
    )  # fmt: skip


def _range(report: Report, shown: list[int]) -> tuple[float, float]:
    """Range of depth that shows all but far misreads."""
    ends = [report.diagnosis.target]
    for number in shown:
        finding = report.diagnosis.findings[number]
        movement = finding.mean + finding.shape.fitted - finding.shape.fitted[-1]
        reach = 4.5 * max(finding.spread, 1e-3)
        ends += [float(movement.min()) - reach, float(movement.max()) + reach]
    return min(ends), max(ends)
