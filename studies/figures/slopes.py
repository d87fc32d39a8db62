"""The figure of slopes: what a change of each input does, the largest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from domemargin.fea.bottom.slopes import PRESSURE, ranked
from domemargin.studies.figures.style import AFTER, INK, ONSET, styled
from domemargin.studies.text.bottom.slopes import answer_words, in_shown_unit
from domemargin.studies.text.printing import spaced
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from domemargin.fea.core.record import Record, Slope

_MOST = 14  # bars of a panel


def slopes_figure(record: Record) -> Figure:
    """Left the reversal pressure; right permanent growth of the ring at the highest pressure asked
    for that it holds, where there is one."""
    found = record.slopes or ()
    grown = [one.quantity for one in found if one.quantity.startswith("permanent_stand")]
    panels = [PRESSURE, *grown[-1:]]
    with styled():
        figure = Figure(figsize=(5.6 * len(panels), 5.2), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots(1, len(panels), squeeze=False)[0]
        figure.suptitle(one_line(record.profile.name, 90), x=0.01, ha="left", fontsize=11.5)
        for ax, quantity in zip(axes, panels):
            draw_slopes(ax, ranked(found, quantity)[:_MOST])
        figure.supxlabel(record.caution, x=0.01, ha="left", fontsize=7.5, color="#555555")
        return figure


def draw_slopes(ax: Axes, found: list[Slope]) -> None:
    """Bars of one answer with their errors, the largest at the top."""
    ax.spines["right"].set_visible(False)
    if not found:
        ax.set_title("No slopes")
        return
    rows = found[::-1]
    quantity = rows[0].quantity
    change = np.array([in_shown_unit(quantity, one.change or 0.0) for one in rows])
    error = np.array([in_shown_unit(quantity, (one.error or 0.0) * one.per) for one in rows])
    colours = [ONSET if value > 0.0 else AFTER for value in change]
    y = np.arange(len(rows))
    ax.barh(y, change, 0.62, color=colours, xerr=error, error_kw={"ecolor": INK, "lw": 0.8})
    ax.axvline(0.0, color=INK, lw=0.8)
    ax.set_yticks(y, [f"{spaced(one.name)}, {one.per_words}" for one in rows], fontsize=8.5)
    ax.set_xlabel(f"change of {answer_words(quantity)}")
    ax.set_title("By the change named at the left, largest first")
