"""The figure of a metal's tests: curves, fits, and where they are an extrapolation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, styled
from domemargin.studies.metal.answer import REACHED, MetalAnswer
from domemargin.studies.metal.reverse import bent, follow, true_curve
from domemargin.studies.text.bottom.metal import CAUTION
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def metal_figure(answer: MetalAnswer, gauge: float | None = None) -> Figure:
    """Tensile curves with the laws, and reverse tests with what the metal makes of them."""
    panels = [bool(answer.flows), answer.reverse is not None]
    with styled():
        figure = Figure(figsize=(5.6 * sum(panels) + 0.4, 4.6), layout="constrained")
        FigureCanvasAgg(figure)
        axes = iter(np.atleast_1d(np.asarray(figure.subplots(1, sum(panels)))).ravel())
        figure.suptitle(one_line(answer.material.name, 90), x=0.01, ha="left", fontsize=11.5)
        if panels[0]:
            draw_flows(next(axes), answer)
        if panels[1]:
            draw_reverse(next(axes), answer, gauge)
        figure.supxlabel(CAUTION, x=0.01, ha="left", fontsize=7.0, color="#555555", wrap=True)
        return figure


def draw_flows(ax: Axes, answer: MetalAnswer) -> None:
    """True stress over plastic strain; the laws solid as far as measured, dashed beyond."""
    for i, flow in enumerate(answer.flows):
        label = "specimens, up to the neck" if i == 0 else None
        ax.plot(100 * flow.strain, flow.stress, ".", color=BEFORE, ms=3.0, label=label)
    neck = min(flow.neck for flow in answer.flows)
    inside, beyond = np.linspace(0.0, neck, 120), np.linspace(neck, REACHED, 120)
    for fit, colour in zip(answer.fits, (ONSET, AFTER)):
        ax.plot(100 * inside, fit.stress(inside), color=colour, label=fit.law.title())
        ax.plot(100 * beyond, fit.stress(beyond), color=colour, ls=(0, (4, 2)))
    ax.axvline(100 * neck, color=INK, lw=0.8, ls=(0, (1, 2)))
    where = "neck" if any(flow.necked for flow in answer.flows) else "end of test"
    ax.annotate(f"{where}; extrapolated beyond", (100 * neck, 0.02),
                xycoords=("data", "axes fraction"), xytext=(4, 0), textcoords="offset points",
                fontsize=8.5)  # fmt: skip
    lowest = min(float(flow.stress.min()) for flow in answer.flows)
    ax.set_ylim(bottom=0.9 * lowest)
    ax.set_xlim(-0.3, 100 * max(REACHED, 1.05 * neck))
    ax.set_xlabel("plastic strain (%)")
    ax.set_ylabel("true stress (MPa)")
    ax.spines["right"].set_visible(False)
    ax.set_title("Tensile curves")
    ax.legend(loc="lower right", bbox_to_anchor=(1.0, 0.06))


def draw_reverse(ax: Axes, answer: MetalAnswer, gauge: float | None) -> None:
    """Measured and fitted reverse loading."""
    reverse = answer.reverse
    assert reverse is not None
    values = np.array([one.value for one in reverse.parameters.values()])
    tests = [one for one in answer.specimens if one.kind != "tensile"]
    bending = tests[0].kind == "bending"
    for i, one in enumerate(tests):
        if (one.kind == "bending") != bending:
            continue
        if bending:
            assert gauge is not None
            x, y = one.x, one.y
            fitted = bent(reverse.material(float(values[-1])), gauge, x)
        else:
            x, y = true_curve(one)
            fitted, x = follow(reverse.kind, values, float(values[-1]), x), 100 * x
        ax.plot(x, y, ".", color=BEFORE, ms=3.0, label=None if i else "measured")
        ax.plot(x, fitted, color=ONSET, label=None if i else "fit to all")
    ax.spines["right"].set_visible(False)
    words = {"share": "a kinematic share", "fading": "a back stress that fades"}
    ax.set_title(f"Reverse loading, {words[reverse.kind]}")
    ax.set_xlabel("curvature (1/mm)" if bending else "true strain (%)")
    ax.set_ylabel("moment (N mm per mm)" if bending else "true stress (MPa)")
    ax.legend(loc="upper left")
