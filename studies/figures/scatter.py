"""The figure of a line's scatter: pressures of its cans, and which scatter matters most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from domemargin.profiles.units import PSI
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, styled
from domemargin.studies.margin.scatter import ScatterReport
from domemargin.studies.study.varied import title_of
from domemargin.studies.text.scatter import interval_words, share_words
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def scatter_figure(report: ScatterReport) -> Figure:
    """Left the pressures of the cans and the requirement; right what each scatter does."""
    with styled():
        figure = Figure(figsize=(11.0, 4.8), layout="constrained")
        FigureCanvasAgg(figure)
        pressures, matter = figure.subplots(1, 2, width_ratios=(1.25, 1.0))
        title = f"{report.study.name}: {report.study.profile.name}"
        figure.suptitle(one_line(title, 90), x=0.01, ha="left", fontsize=11.5)
        draw_pressures(pressures, report)
        draw_influences(matter, report)
        figure.supxlabel(report.caution, x=0.01, ha="left", fontsize=7.5, color="#555555")
        return figure


def draw_pressures(ax: Axes, report: ScatterReport) -> None:
    """A histogram of the cans' reversal pressures with the requirement."""
    psi, required = report.pressure / PSI, report.study.requirement() / PSI
    width = max(float(np.ptp(psi)) / 60.0, 1e-6)
    # the requirement is an edge, so that no bar stands on both sides of it
    first, last = np.floor((psi.min() - required) / width), np.ceil((psi.max() - required) / width)
    edges = [required + width * float(i) for i in np.arange(first, last + 1.0)]
    ax.spines["right"].set_visible(False)
    weights = np.full(psi.size, 100.0 / psi.size)
    below = psi < required
    ax.hist(psi[~below], edges, weights=weights[~below], color=ONSET, alpha=0.85)
    ax.hist(psi[below], edges, weights=weights[below], color=AFTER)
    ax.axvline(required, color=INK, ls=(0, (2, 2)), lw=1.2)
    ax.margins(y=0.12)
    ax.annotate("required", (required, 1.0), xycoords=("data", "axes fraction"), xytext=(4, -2),
                textcoords="offset points", va="top", fontsize=8.5,
                bbox={"fc": "white", "ec": "none", "pad": 1.0})  # fmt: skip
    ax.set_xlabel("reversal pressure (psi)")
    ax.set_ylabel(f"cans in a bar of {width:.2g} psi (%)")
    ax.set_title(
        f"Mean {report.mean / PSI:.1f} psi, standard deviation {report.deviation / PSI:.2f} psi\n"
        f"Below the {required:.4g} psi required: {share_words(report.share)}, "
        f"95 % interval {interval_words(report.low, report.high)}"
    )


def draw_influences(ax: Axes, report: ScatterReport) -> None:
    """Total indices as bars, with the share of cans below if that scatter were taken away."""
    ranked = report.influences[::-1]
    ax.spines["right"].set_visible(False)
    y = np.arange(len(ranked))
    ax.barh(y, [entry.index.total for entry in ranked], 0.55, color=BEFORE)
    names = [title_of(entry.index.name).rsplit(" (", 1)[0] for entry in ranked]
    shares = [share_words(entry.share_without) for entry in ranked]
    ax.set_yticks(y, [f"{n}\nwithout it {s} below" for n, s in zip(names, shares)], fontsize=8.5)
    ax.set_xlim(0.0, max(1.0, *(entry.index.total for entry in ranked)))
    ax.set_xlabel("share of the variance of the pressure")
    ax.set_title("Which scatter matters most")
