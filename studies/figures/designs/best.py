"""The best bottom: both sections, and mass against the pressure to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from domemargin.profiles.units import PSI
from domemargin.studies.figures.drawing import metal_outline
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, styled
from domemargin.studies.study.varied import bottom_at
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.studies.best.best import BestReport


def best_figure(report: BestReport) -> Figure:
    """Left the section to start from and the best; right the trade-off, where there is one."""
    with styled():
        figure = Figure(figsize=(11.0, 4.6), layout="constrained")
        FigureCanvasAgg(figure)
        left, right = figure.subplots(1, 2, width_ratios=(1.5, 1.0))
        figure.suptitle(one_line(report.request.name, 90), x=0.01, ha="left", fontsize=11.5)
        base = report.request.profile
        design = report.best or report.nearest
        sections = [(base, BEFORE, "start")]
        if design is not None:
            name = "best" if report.best is not None else "nearest"
            sections.append((bottom_at(base, design.values), ONSET, name))
        for bottom, colour, words in sections:
            left.add_artist(
                Polygon(metal_outline(bottom), facecolor=colour, alpha=0.45, edgecolor=colour,
                        lw=0.9, label=words)
            )  # fmt: skip
        left.axhline(0.0, color=INK, lw=0.6, ls=(0, (6, 3)))
        top = max(max(b.chain.heel_height, b.shape.dome_depth) for b, _, _ in sections)
        left.set_xlim(-1.0, 0.55 * base.shape.body_diameter)
        left.set_ylim(-1.0, top + 4.0)
        left.set_aspect("equal")
        left.set_xlabel("r (mm)")
        left.set_ylabel("z (mm)")
        left.legend(loc="upper center", ncols=2)
        left.set_title("Half section")

        points = [(p / PSI, d.can_g) for p, d in report.trade if d is not None]
        if report.start is not None:
            right.plot(report.start.pressure_mpa / PSI, report.start.can_g, "o", color=BEFORE,
                       label="start")  # fmt: skip
        if points:
            right.plot(*zip(*points), "-", color=ONSET, marker=".", label="best for each pressure")
        if report.best is not None:
            right.plot(report.best.pressure_mpa / PSI, report.best.can_g, "D", color=AFTER,
                       label="best")  # fmt: skip
        right.set_xlabel("pressure to hold (psi)")
        right.set_ylabel("can body (g)")
        right.set_title("Mass against margin")
        right.ticklabel_format(useOffset=False)
        right.legend(loc="upper left")
        return figure
