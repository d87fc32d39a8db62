"""One page on two bottoms over the same study."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from domemargin.profiles import Profile
from domemargin.profiles.units import PSI
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, styled
from domemargin.studies.margin.compare import Comparison, pressure_rows
from domemargin.studies.study.varied import column_of, title_of
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LINES = 18
_LEAST = 0.12  # of a pressure: an axis shows no less, so that a small difference looks small
_DASH = {ONSET: "-", AFTER: (0, (6, 1.5))}  # distinct in a print without colours too


def compare_figure(comparison: Comparison) -> Figure:
    """Sections laid over each other, what differs, pressures over the study, pressure against
    pressure: one A4 page."""
    with styled():
        figure = Figure(figsize=(11.7, 8.3), layout="constrained")
        FigureCanvasAgg(figure)
        (sections, words), (over, against) = figure.subplots(2, 2, height_ratios=(0.8, 1.2))
        figure.suptitle(
            f"Two bottoms over one study: {one_line(_common(comparison), 70)}",
            x=0.01, ha="left", fontsize=11.5,
        )  # fmt: skip
        for ax in (sections, over, against):
            ax.spines["right"].set_visible(False)
        draw_sections(sections, comparison)
        draw_words(words, comparison)
        draw_over(over, comparison)
        draw_against(against, comparison)
        figure.supxlabel(comparison.caution, x=0.01, ha="left", fontsize=7.5, color="#555555")
        return figure


def _common(comparison: Comparison) -> str:
    return comparison.a.name.removesuffix(f", {comparison.a.profile.name}")


def _name(profile: Profile) -> str:
    return one_line(profile.name, 44)


def draw_sections(ax: Axes, comparison: Comparison) -> None:
    """Mid-surfaces of both base bottoms."""
    for profile, colour in ((comparison.a.profile, ONSET), (comparison.b.profile, AFTER)):
        points = profile.meridian.at(np.linspace(0.0, profile.meridian.length, 800))
        ax.plot(points.r, points.z, color=colour, ls=_DASH[colour], label=_name(profile))
    ax.axhline(0.0, color=INK, lw=0.6, ls=(0, (6, 3)))
    top = max(1.3 * p.shape.dome_depth for p in (comparison.a.profile, comparison.b.profile))
    ax.set_ylim(-1.0, max(top, comparison.a.profile.chain.heel_height + 2.0))
    ax.set_aspect("equal")
    ax.set_title("Base bottoms, mid-surface")
    ax.set_xlabel("r (mm)")
    ax.set_ylabel("z (mm)")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.08), borderaxespad=0.0)


def draw_words(ax: Axes, comparison: Comparison) -> None:
    """What differs between the base bottoms, and how the pressures compare, as a table."""
    ax.axis("off")
    rows = [(name, one_line(a, 26), one_line(b, 26)) for name, a, b in comparison.differing]
    if len(rows) > _LINES:
        rows[_LINES - 1 :] = [(f"and {len(rows) - _LINES + 1} more", "", "")]
    rows += [("", "", ""), *pressure_rows(comparison)]
    cells = ax.table(
        [*rows], colLabels=["", "first", "second"], colWidths=[0.46, 0.27, 0.27],
        cellLoc="right", edges="open", bbox=Bbox.unit(),
    )  # fmt: skip
    cells.auto_set_font_size(False)
    cells.set_fontsize(8.5)
    for (row, column), cell in cells.get_celld().items():
        if column == 0:
            cell.get_text().set_horizontalalignment("left")
        if row == 0 and column:
            cell.get_text().set_color((ONSET, AFTER)[column - 1])
            cell.get_text().set_fontweight("bold")


def draw_over(ax: Axes, comparison: Comparison) -> None:
    """Pressure over the first varied quantity; one line a level of the second at most."""
    table, names = comparison.table, comparison.a.names
    x = column_of(names[0])
    few = comparison.a.plan.kind == "grid" and len(names) <= 2
    if few:
        levels = [column_of(name) for name in names[1:]]
        groups = [g for _, g in table.groupby(levels)] if levels else [table]
        for i, group in enumerate(groups):
            for n, colour, profile in (("a", ONSET, comparison.a), ("b", AFTER, comparison.b)):
                label = _name(profile.profile) if i == 0 else None
                ax.plot(group[x], group[f"pressure_{n}_mpa"] / PSI, color=colour, lw=1.1,
                        ls=_DASH[colour], label=label)  # fmt: skip
                if levels:
                    last = group.iloc[-1]
                    ax.annotate(f"{last[levels[0]]:.4g}",
                                (last[x], last[f"pressure_{n}_mpa"] / PSI), xytext=(3, 0),
                                textcoords="offset points", fontsize=7, color=colour,
                                va="center")  # fmt: skip
        if levels:
            ax.set_title(f"One line for each {title_of(names[1])}")
    else:
        for n, colour in (("a", ONSET), ("b", AFTER)):
            ax.plot(table[x], table[f"pressure_{n}_mpa"] / PSI, ".", color=colour, ms=3)
    _required(ax, comparison)
    ax.set_ylim(*_at_least(*ax.get_ylim()))
    ax.set_xlabel(title_of(names[0]))
    ax.set_ylabel("reversal pressure (psi)")


def draw_against(ax: Axes, comparison: Comparison) -> None:
    """Pressure of the second against that of the first, point by point."""
    a, b = (comparison.table[f"pressure_{n}_mpa"] / PSI for n in "ab")
    ax.plot(a, b, ".", color=INK, ms=5)
    low, high = np.nanmin([a.min(), b.min()]), np.nanmax([a.max(), b.max()])
    ends = np.array(_at_least(low, high))
    ax.plot(ends, ends, color=BEFORE, lw=1.0, label="equal")
    ax.fill_between(ends, 0.98 * ends, 1.02 * ends, color=BEFORE, alpha=0.18, lw=0.0,
                    label="within 2 %")  # fmt: skip
    ax.set_xlim(*ends)
    ax.set_ylim(*ends)
    gain = float((b - a).mean())
    ax.set_title(f"Point by point: the second {abs(gain):.1f} psi "
                 f"{'higher' if gain >= 0.0 else 'lower'} in the mean")  # fmt: skip
    ax.set_xlabel("first, reversal pressure (psi)")
    ax.set_ylabel("second, reversal pressure (psi)")
    ax.set_aspect("equal", adjustable="box")
    ax.legend(loc="lower right")


def _at_least(low: float, high: float) -> tuple[float, float]:
    """Ends of an axis of pressure, widened to _LEAST of the pressure where they lie closer."""
    if not np.isfinite(low + high):
        return 0.0, 1.0
    middle = 0.5 * (low + high)
    half = max(0.55 * (high - low), 0.5 * _LEAST * middle)
    return middle - half, middle + half


def _required(ax: Axes, comparison: Comparison) -> None:
    required = comparison.a.required
    if required is not None:
        ax.axhline(required / PSI, color=INK, ls=(0, (2, 2)), lw=1.0)
        ax.annotate(f"required, {required / PSI:.4g} psi", (0.0, required / PSI), xytext=(2, 0),
                    va="center", bbox={"fc": "white", "ec": "none", "pad": 1.0},
                    xycoords=("axes fraction", "data"), textcoords="offset points",
                    fontsize=8)  # fmt: skip
