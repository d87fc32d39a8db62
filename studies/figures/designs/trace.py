"""A trace beside its fit: the points on the section, and the misfit along the bottom."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from domemargin.studies.figures.drawing import metal_outline
from domemargin.studies.figures.style import AFTER, INK, METAL, ONSET, RING, styled
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.studies.trace.report import TraceReport


def trace_figure(report: TraceReport) -> Figure:
    """Section with the points, and their misfit in micrometres by arc length."""
    fit, profile = report.fit, report.profile
    line = profile.meridian
    u, h = fit.pose.placed(report.points.x, report.points.z)
    with styled():
        figure = Figure(figsize=(11.0, 6.2))
        FigureCanvasAgg(figure)
        top, low = figure.subplots(2, 1, height_ratios=(1.25, 1.0))
        figure.subplots_adjust(left=0.07, right=0.985, bottom=0.09, top=0.9, hspace=0.28)
        figure.suptitle(one_line(profile.name, 90), x=0.01, y=0.975, ha="left", fontsize=11.5)
        outline = metal_outline(profile)
        for side in (1.0, -1.0) if fit.pose.both else (1.0,):
            top.add_artist(Polygon(outline * [side, 1.0], facecolor=METAL, edgecolor=INK, lw=0.5))
        seen = fit.used
        r = u if fit.pose.both else np.abs(u)
        top.plot(r[seen], h[seen], ".", ms=2.0, color=ONSET, label="points used")
        if not np.all(seen):
            top.plot(r[~seen], h[~seen], "x", ms=5.0, color=AFTER, label="set aside")
        top.set_aspect("equal")
        high = min(float(h[seen].max()) + 2.0, profile.chain.heel_height + 14.0)
        top.set_ylim(-1.5, max(high, profile.shape.dome_depth + 2.0))
        top.set_xlim((-1.0 if fit.pose.both else -0.03) * 0.55 * profile.shape.body_diameter,
                     0.55 * profile.shape.body_diameter)  # fmt: skip
        top.legend(loc="lower right")
        top.set_xlabel("r (mm)")
        top.set_ylabel("z (mm)")
        top.set_title("Trace on the fitted section")

        um = 1e3 * fit.residual
        halves = [(1.0, ONSET, "right half"), (-1.0, RING, "left half")]
        for side, colour, words in halves if fit.pose.both else [(1.0, ONSET, "points")]:
            here = seen & ((fit.side == side) | (not fit.pose.both))
            low.plot(fit.feet.s[here], um[here], ".", ms=2.0, color=colour, label=words)
        low.axhline(0.0, color=INK, lw=0.7)
        reach = 1.25 * float(np.max(np.abs(um[seen])))
        low.set_ylim(-reach, reach)
        for i, part in enumerate(dict.fromkeys(segment.part for segment in line.segments)):
            first, _ = line.span(part)
            if first > fit.feet.s[seen].max():
                continue
            low.axvline(first, color=INK, lw=0.4, ls=(0, (4, 3)))
            height = (0.97, 0.87)[i % 2] * reach  # narrow parts in turn
            low.text(first + 0.15, height, part.replace("_", " "), fontsize=7.0, va="top",
                     color="#555555")  # fmt: skip
        low.set_xlim(0.0, float(fit.feet.s[seen].max()) + 0.5)
        low.set_xlabel("arc length from the axis (mm)")
        low.set_ylabel("misfit (um), into the can +")
        low.set_title(
            f"Misfit: {1e3 * fit.rms:.1f} um root mean square, {1e3 * fit.largest:.0f} um at most"
        )
        if fit.pose.both:
            low.legend(loc="lower left", markerscale=3.0)
        return figure
