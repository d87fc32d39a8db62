"""Figures of a study: margin surface with the contour at the requirement, what matters most.

Functions take reports and return matplotlib figures; nothing is shown or written here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import TwoSlopeNorm
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, styled
from domemargin.studies.margin.margin import MarginReport
from domemargin.studies.study.study import GRID
from domemargin.studies.study.table import PRESSURE
from domemargin.studies.study.varied import DEPTH_RULES, column_of, kind_of, title_of, value_in
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import QuadContourSet

_CLOUDS = 6  # quantities that a page has room for


def margin_figure(report: MarginReport) -> Figure:
    """Left the margin over one or two quantities; right Sobol' indices, where there are any.

    Of more than two quantities the loss of depth and the other one that matters most are shown,
    by the surrogate, the others held at the base bottom's values; without a surrogate, the
    pressures of the cases against each quantity.
    """
    with styled():
        indices = report.sensitivity is not None and len(report.study.varied) > 2
        figure = Figure(figsize=(11.0 if indices else 8.0, 5.6), layout="constrained")
        FigureCanvasAgg(figure)
        if indices:
            main, side = figure.subplots(1, 2, width_ratios=(1.6, 1.0))
            draw_indices(side, report)
        else:
            main = figure.subplots()
        title = one_line(f"{report.study.name}: {report.study.profile.name}", 90)
        shown, moving = _shown(report), _moving(report)
        if len(shown) == 2 and len(moving) > 2:
            title += "\nBy the surrogate, all else as in the base bottom"
        figure.suptitle(title, x=0.01, ha="left", fontsize=11.5)
        if len(shown) == 1:
            draw_line(main, report, shown[0])
        elif len(shown) == 2:
            draw_surface(main, report, *shown)
        else:
            main.axis("off")
            why = report.why_no_surrogate or "too few different pressures"
            figure.suptitle(f"{title}\nNo surface: {why}", x=0.01, ha="left", fontsize=9, wrap=True)
            if report.table[PRESSURE].nunique() > 1:
                main.remove()
                draw_clouds(figure, report, moving[:_CLOUDS])
        figure.supxlabel(report.caution, x=0.01, ha="left", fontsize=7.5, color="#555555")
        return figure


def _shown(report: MarginReport) -> list[str]:
    names, depths = _moving(report), (*DEPTH_RULES, "dome_depth")
    pressure = report.table[PRESSURE].dropna()
    if pressure.nunique() < 2:
        return []
    if len(names) <= 2 and (report.study.plan.kind == GRID or report.surrogate is not None):
        shown = names
    elif report.surrogate is None or report.sensitivity is None:
        return []
    else:
        ranked = sorted(report.sensitivity.indices, key=lambda index: -index.total)
        # the loss of depth is always shown, even where its effect is small
        ranked.sort(key=lambda index: index.name not in depths)
        shown = [index.name for index in ranked[:2]]
    return sorted(shown, key=lambda name: name not in depths)  # depth is read along x


def _moving(report: MarginReport) -> list[str]:
    """The quantities that take more than one value."""
    return [varied.name for varied in report.study.varied if varied.low < varied.high]


def _in_shown_units(name: str, values: Floats) -> Floats:
    return np.degrees(values) if kind_of(name) == "angle" else values


def _quantity(report: MarginReport) -> tuple[str, float]:
    required = report.study.required
    return ("reversal pressure (psi)", PSI) if required is None else ("margin (%)", required)


def _value(report: MarginReport, pressure: Floats) -> Floats:
    required = report.study.required
    return pressure / PSI if required is None else 100.0 * (pressure / required - 1.0)


def draw_line(ax: Axes, report: MarginReport, name: str) -> None:
    """The reversal pressure over one quantity."""
    table = report.table
    x, psi = table[column_of(name)], table[PRESSURE] / PSI
    ax.spines["right"].set_visible(False)
    known = psi.notna()
    ax.plot(x[known], psi[known], "o-", color=ONSET, ms=4, label="solved")
    _draw_unknown(ax, report, x, np.full(len(x), psi.min()))
    required = report.study.required
    if required is not None:
        _draw_required(ax, report)
    for found in report.tolerable:
        if found.loss is not None and name == found.rule and report.target is not None:
            ax.plot([found.loss], [report.target / PSI], "D", color=INK, ms=7,
                    label=f"tolerable loss, {found.loss:.3f} mm")  # fmt: skip
    ax.set_xlabel(title_of(name))
    ax.set_ylabel("reversal pressure (psi)")
    ax.legend()


def _draw_required(ax: Axes, report: MarginReport) -> None:
    assert report.study.required is not None
    psi = report.study.required / PSI
    ax.axhline(psi, color=AFTER, ls=(0, (2, 2)), lw=1.2, label=f"required, {psi:.4g} psi")
    if report.wanted:
        more = psi * (1.0 + report.wanted)
        ax.axhline(more, color=AFTER, ls=(0, (6, 2)), lw=1.2,
                   label=f"with {100.0 * report.wanted:g} % margin, {more:.4g} psi")  # fmt: skip


def draw_clouds(figure: Figure, report: MarginReport, names: list[str]) -> None:
    """The pressures of all cases against each quantity, where no surface can be drawn."""
    across = 2 if len(names) == 4 else min(len(names), 3)
    down = -(-len(names) // across)
    panels = figure.subplots(down, across, sharey=True, squeeze=False).ravel()
    psi = report.table[PRESSURE] / PSI
    for ax, name in zip(panels, names):
        ax.spines["right"].set_visible(False)
        ax.plot(report.table[column_of(name)], psi, ".", color=ONSET, ms=4)
        if report.study.required is not None:
            _draw_required(ax, report)
        ax.set_xlabel(title_of(name))
    for ax in panels[len(names) :]:
        ax.set_visible(False)
    panels[0].set_ylabel("reversal pressure (psi)")
    if report.study.required is not None:
        panels[0].legend(loc="lower left", fontsize=7.5)


def draw_surface(ax: Axes, report: MarginReport, across: str, up: str) -> None:
    """The margin over two quantities with its contours, solved points and tolerable losses."""
    x, y, value = _surface(report, across, up)
    words, _ = _quantity(report)
    low, high = float(np.nanmin(value)), float(np.nanmax(value))
    required, wanted = report.study.required, 100.0 * report.wanted
    levels = np.linspace(low, high, 25)
    if required is not None:
        # white is the margin wanted on every map, also where all of it lies on one side
        reach = max(high - wanted, wanted - low, 1e-9)
        norm = TwoSlopeNorm(wanted, min(low, wanted - 0.2 * reach), max(high, wanted + 0.2 * reach))
        filled = ax.contourf(x, y, value, levels=levels, cmap="RdBu", norm=norm, extend="neither")
    else:
        filled = ax.contourf(x, y, value, levels=levels, cmap="Blues")
    step = _round_step((high - low) / 12.0)
    ticks = np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step
    others = ticks[np.abs(ticks - wanted) > 1e-9] if required is not None else ticks
    thin = ax.contour(x, y, value, levels=others, colors=INK, linewidths=0.6)
    places = _inner_places(thin, ax)
    if places:
        fmt = _signed if required is not None else "%g"
        for number in ax.clabel(thin, fmt=fmt, fontsize=8, manual=places):
            number.set_path_effects([withStroke(linewidth=2.0, foreground="white", alpha=0.7)])
    bar = ax.figure.colorbar(filled, ax=ax, ticks=ticks, pad=0.02)
    bar.set_label(words)
    if required is not None:
        asked = f"{required / PSI:.4g} psi" + (f" with {wanted:g} % margin" if wanted else "")
        if low < wanted < high:
            ax.contour(x, y, value, levels=[wanted], colors=INK, linewidths=2.2)
            ax.plot([], [], color=INK, lw=2.2, label=f"just holds {asked}")
        else:
            ax.plot([], [], " ", label=f"{'all' if low >= wanted else 'none'} of it holds {asked}")
    _draw_points(ax, report, across, up)
    ax.set_xlabel(title_of(across))
    ax.set_ylabel(title_of(up))
    ax.spines[["top", "right"]].set_visible(True)
    names = ax.get_legend_handles_labels()[1]
    if names:
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=len(names), borderaxespad=0.2)


def _inner_places(lines: QuadContourSet, ax: Axes) -> list[tuple[float, float]]:
    """For each contour the place farthest from the frame, where its label is not cut off."""
    places = []
    for path in lines.get_paths():
        line = np.asarray(path.vertices, dtype=float)
        if not line.size:
            continue
        shares = ax.transAxes.inverted().transform(ax.transData.transform(line))
        room = np.minimum(shares, 1.0 - shares).min(axis=1)
        if room.max() > 0.05:
            at = line[int(room.argmax())]
            places.append((float(at[0]), float(at[1])))
    return places


def _signed(value: float) -> str:
    return f"{value:+g} %" if value else "0 %"


def _round_step(step: float) -> float:
    power = 10.0 ** np.floor(np.log10(step))
    return float(next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= step))


def _surface(report: MarginReport, across: str, up: str) -> tuple[Floats, Floats, Floats]:
    study = report.study
    if study.plan.kind == GRID and len(_moving(report)) == 2:
        grid = report.table.pivot_table(
            index=column_of(up), columns=column_of(across), values=PRESSURE, dropna=False
        )
        value = _value(report, grid.to_numpy(float))
        return grid.columns.to_numpy(float), grid.index.to_numpy(float), value
    assert report.surrogate is not None
    box = {v.name: np.linspace(v.low, v.high, 41) for v in study.varied}
    x, y = np.meshgrid(box[across], box[up])
    middle = [np.clip(value_in(study.profile, v.name), v.low, v.high) for v in study.varied]
    points = np.tile(np.array(middle, dtype=float), (x.size, 1))
    points[:, study.names.index(across)] = x.ravel()
    points[:, study.names.index(up)] = y.ravel()
    value = _value(report, report.surrogate(points).reshape(x.shape))
    return _in_shown_units(across, box[across]), _in_shown_units(up, box[up]), value


def _draw_points(ax: Axes, report: MarginReport, across: str, up: str) -> None:
    table = report.table
    x, y = table[column_of(across)], table[column_of(up)]
    if len(_moving(report)) == 2:
        known = table[PRESSURE].notna()
        ax.plot(x[known], y[known], ".", color=INK, ms=3, clip_on=False, label="solved")
        _draw_unknown(ax, report, x, y)
    spots = [(t.loss, t.at[up]) for t in report.tolerable if t.loss is not None and up in t.at
             and len(t.at) == 1 and t.rule == across]  # fmt: skip
    if spots:
        loss, level = np.array(spots).T
        ax.plot(loss, _in_shown_units(up, level), "D", color="white", mec=INK, ms=7,
                clip_on=False, zorder=4, label="tolerable loss, solved")  # fmt: skip


def _draw_unknown(ax: Axes, report: MarginReport, x: Floats, y: Floats) -> None:
    unknown = report.table[PRESSURE].isna().to_numpy()
    if unknown.any():
        ax.plot(np.asarray(x)[unknown], np.asarray(y)[unknown], "x", color=BEFORE, ms=6,
                label="no reversal pressure")  # fmt: skip


def draw_indices(ax: Axes, report: MarginReport) -> None:
    """Sobol' indices as bars, the largest on top."""
    assert report.sensitivity is not None
    ranked = sorted(report.sensitivity.indices, key=lambda index: index.total)
    ax.spines["right"].set_visible(False)
    y = np.arange(len(ranked))
    ax.barh(y + 0.18, [i.total for i in ranked], 0.34, xerr=[i.total_error for i in ranked],
            color=ONSET, label="total", error_kw={"lw": 0.8})  # fmt: skip
    ax.barh(y - 0.18, [max(i.first, 0.0) for i in ranked], 0.34,
            xerr=[i.first_error for i in ranked],
            color=BEFORE, label="on its own", error_kw={"lw": 0.8})  # fmt: skip
    ax.set_yticks(y, [title_of(i.name).rsplit(" (", 1)[0] for i in ranked])
    ax.set_xlabel(f"Sobol' index, by {report.sensitivity.on} (-)")
    ax.set_title("What moves the pressure")
    ax.legend(loc="lower right")
