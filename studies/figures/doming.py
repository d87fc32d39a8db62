"""The figure of a doming solve: tools and metal at key moments, force, thickness.

Functions take the states of a solve and return matplotlib figures; nothing is written here.
"""

from __future__ import annotations

import math
import textwrap
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from domemargin.fea.contact.kernel import LINE
from domemargin.fea.doming.readings import Line, line
from domemargin.fea.doming.record import DOMING_CAUTION, DomingRecord
from domemargin.fea.stroke.press import CLAMP, DIE, PUNCH, outside_depth
from domemargin.fea.stroke.stages import Formed
from domemargin.fea.stroke.step import FormingState
from domemargin.profiles.arrays import Floats
from domemargin.studies.figures.moving.film import Frame
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, RING, styled
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes


NAMES = {PUNCH: "punch", DIE: "die", CLAMP: "clamp ring"}
COLOURS = {PUNCH: ONSET, DIE: AFTER, CLAMP: RING}
STAGE_WORDS = {
    "blank": "blank on the punch",
    "clamp": "clamp ring presses",
    "stroke": "die rises",
    "die off": "die leaves",
    "clamp off": "clamp ring leaves",
    "punch off": "punch leaves, at rest",
}


def _ringless(tools: tuple[int, ...], formed: Formed) -> tuple[int, ...]:
    """The tools, without the clamp ring of a station that has none."""
    return tuple(i for i in tools if len(formed.press.tools[i].rows))


def tool_line(formed: Formed, tool: int) -> Floats:
    """(n, 2) points along a tool at place 0."""
    out: list[Floats] = []
    for row in formed.press.tools[tool].rows:
        if row[0] == LINE:
            points = row[1:3] + np.array([[0.0], [row[5]]]) * row[3:5]
        else:
            middle, half = math.atan2(row[5], row[4]), math.acos(min(1.0, row[6]))
            angle = np.linspace(middle - half, middle + half, 25)
            points = row[1:3] + row[3] * np.stack((np.cos(angle), np.sin(angle)), axis=1)
            # rows do not say which way an arc runs: on from the line before it, or outward
            last = out[-1][-1] if out else np.zeros(2)
            if np.hypot(*(points[-1] - last)) < np.hypot(*(points[0] - last)):
                points = points[::-1]
        out.append(points)
    return np.concatenate(out)


def draw_tools(ax: Axes, formed: Formed, state: FormingState, tools: tuple[int, ...]) -> None:
    """The outlines of the acting tools at their places."""
    for tool in _ringless(tools, formed):
        points = tool_line(formed, tool)
        z = points[:, 1] + state.places[tool]
        ax.plot(points[:, 0], z, color=COLOURS[tool], lw=1.3, label=NAMES[tool])


def metal_faces(lie: Line) -> Floats:
    """(n, 2) closed outline of the metal."""
    half = 0.5 * lie.thickness[:, None]
    middle = np.stack((lie.r, lie.z), axis=1)
    normal = np.stack((-np.sin(lie.angle), np.cos(lie.angle)), axis=1)
    return np.concatenate((middle + half * normal, (middle - half * normal)[::-1]))


def draw_metal(ax: Axes, lie: Line, colour: str = "#9AA3AB") -> None:
    """The metal, to scale."""
    points = metal_faces(lie)
    ax.fill(points[:, 0], points[:, 1], color=colour, ec=INK, lw=0.5)


def _top(formed: Formed) -> float:
    """Height, mm, that shows the deepest dome of a stroke; the same for all its pictures."""
    deepest = max((moment.depth_mm for moment in formed.moments), default=0.0)
    return max(13.5, deepest + 2.5)


def _moment(
    ax: Axes, formed: Formed, state: FormingState, tools: tuple[int, ...], title: str
) -> None:
    draw_tools(ax, formed, state, tools)
    draw_metal(ax, line(formed, state))
    body = float(formed.press.shell.reference[-1, 0])
    ax.set_xlim(0.0, body + 1.2)
    ax.set_ylim(-2.5, _top(formed))
    ax.set_aspect("equal")
    ax.set_title(title, fontsize=9)
    ax.set_ylabel("z (mm)", fontsize=7)
    ax.tick_params(labelsize=7)


def doming_figure(formed: Formed, record: DomingRecord) -> Figure:
    """Key moments; the rim magnified at the end of the stroke and at rest; force against stroke;
    thickness along the metal.  What was not reached is left out."""
    states = dict(formed.stages)
    with styled():
        figure = Figure(figsize=(15.0, 8.2))
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            3, 8, left=0.04, right=0.975, top=0.925, bottom=0.105, hspace=0.42, wspace=1.0,
            height_ratios=(0.8, 1.25, 1.0),
        )  # fmt: skip
        figure.suptitle(one_line(record.tooling.name, 90), x=0.01, ha="left", fontsize=11.5)
        clamped = states.get("clamp")
        moments = (
            (clamped, (PUNCH, CLAMP), "clamped"),
            (formed.middle, (PUNCH, DIE, CLAMP), "half way up"),
            (states.get("stroke"), (PUNCH, DIE, CLAMP), "end of stroke"),
        )
        for i, (state, tools, title) in enumerate(moments):
            ax = figure.add_subplot(grid[0, 2 * i : 2 * i + 2])
            if state is None:
                ax.axis("off")
                ax.set_title(f"{title}: not reached", fontsize=9)
                continue
            _moment(ax, formed, state, tools, title)
        _draw_rims(figure, grid, formed, states, record)
        _draw_force(figure.add_subplot(grid[1, 4:6]), record)
        _draw_contact(figure.add_subplot(grid[1, 6:]), record)
        _draw_thickness(figure, grid, record)
        caution = textwrap.fill(record.caution, 170)
        figure.text(0.01, 0.01, caution, fontsize=7.0, color="#555555", va="bottom")
        return figure


def _draw_rims(
    figure: Figure, grid: object, formed: Formed, states: dict[str, FormingState],
    record: DomingRecord,
) -> None:  # fmt: skip
    nose = 0.5 * record.tooling.punch.nose_diameter
    for column, stage, title in ((0, "stroke", "rim, end of stroke"), (2, "punch off", "at rest")):
        ax = figure.add_subplot(grid[1, column : column + 2])  # type: ignore[index]
        state = states.get(stage)
        if state is None:
            ax.axis("off")
            ax.set_title(f"{title}: not reached", fontsize=9)
            continue
        if stage == "stroke":
            draw_tools(ax, formed, state, (PUNCH, DIE, CLAMP))
            ax.legend(loc="upper right", fontsize=7.5)
        else:
            loaded = line(formed, states["stroke"])
            ax.plot(loaded.r, loaded.z, color=BEFORE, lw=1.0, ls="--", label="loaded, middle")
            ax.legend(loc="upper right", fontsize=7.5)
            title = f"at rest: depth {outside_depth(formed.press, state)[0]:.3f} mm"
        draw_metal(ax, line(formed, state))
        ax.set_xlim(nose - 5.0, nose + 5.5)
        ax.set_ylim(-1.0, 8.0)
        ax.set_aspect("equal")
        ax.set_title(title, fontsize=9)
        ax.set_xlabel("r (mm)", fontsize=7)
        ax.tick_params(labelsize=7)


def _draw_force(ax: Axes, record: DomingRecord) -> None:
    stroke = record.stroke
    ax.set_title("force against rise of the die", fontsize=9)
    if stroke is None:
        ax.axis("off")
        return
    ax.plot(stroke.die_mm, stroke.die_n / 1e3, color=AFTER, label="station: die and flange")
    ax.plot(stroke.die_mm, -stroke.punch_n / 1e3, color=ONSET, label="punch")
    ax.plot(stroke.die_mm, stroke.flange_n / 1e3, color=BEFORE, lw=1.0, label="flange alone")
    ax.set_xlabel("rise (mm)", fontsize=8)
    ax.set_ylabel("kN", fontsize=8)
    ax.set_xlim(0.0)
    ax.set_ylim(0.0)
    ax.legend(loc="upper left", fontsize=7.5)
    ax.tick_params(labelsize=7)


def _draw_contact(ax: Axes, record: DomingRecord) -> None:
    """Radius up to which the die carries the metal, and depth still to be gained, over the rise."""
    stroke, found = record.stroke, record.embossing
    ax.set_title("marks: the centre that the die carries", fontsize=9)
    if stroke is None or found is None:
        ax.axis("off")
        return
    radius = 0.5 * record.tooling.marks.diameter
    (carried,) = ax.plot(stroke.die_mm, stroke.carried_mm, color=INK, label="carried radius")
    ax.axhline(radius, color=RING, lw=1.0, ls="--")
    top = 1.45 * max(float(stroke.carried_mm.max()), radius)
    ax.text(0.0, radius + 0.01 * top, " circle of the marks", color=RING, fontsize=7.5, va="bottom")
    ax.set_ylim(0.0, top)
    ax.set_xlabel("rise (mm)", fontsize=8)
    ax.set_ylabel("radius (mm)", fontsize=8)
    ax.tick_params(labelsize=7)
    loss = ax.twinx()
    lost = stroke.depth_mm[-1] - stroke.depth_mm
    (falling,) = loss.plot(
        stroke.die_mm, lost, color=AFTER, lw=1.2, label="depth lost by ending here"
    )
    loss.set_ylim(0.0, 1.45 * max(float(lost.max()), 1e-3))
    loss.set_ylabel("mm", fontsize=8, color=AFTER)
    loss.tick_params(labelsize=7, colors=AFTER)
    right = float(stroke.die_mm[-1])
    if found.rise_mm is not None:
        right = max(right, found.rise_mm)
        ax.axvline(found.rise_mm, ymax=0.72, color=BEFORE, lw=1.0)
        place = found.depth_lost_mm if found.margin_mm and found.margin_mm >= 0.0 else None
        words = "not reached" if place is None else f"{place:.2f} mm lost"
        ax.text(found.rise_mm, 0.03 * top, f" {words}", fontsize=7.5, va="bottom")
    ax.set_xlim(0.0, 1.03 * right)
    ax.legend(handles=(carried, falling), loc="upper left", fontsize=7.5)


def _draw_thickness(figure: Figure, grid: object, record: DomingRecord) -> None:
    ax = figure.add_subplot(grid[2, :])  # type: ignore[index]
    shape = figure.add_subplot(grid[0, 6:])  # type: ignore[index]
    rest = record.rest
    if rest is None:
        ax.axis("off")
        shape.axis("off")
        return
    metal = rest.metal
    part = np.array(metal.part)
    shown = part != "sidewall"
    ax.axhline(0.0, color="#BBBBBB", lw=0.8)
    ax.plot(metal.place_mm[shown], -100.0 * metal.thinning[shown], color=INK, label="gauge")
    for strain, colour, label in (
        (metal.meridian_strain, ONSET, "meridian strain"),
        (metal.hoop_strain, RING, "hoop strain"),
    ):
        ax.plot(metal.place_mm[shown], 100.0 * strain[shown], color=colour, lw=1.1, label=label)
    ax.axhline(-100.0 * rest.thinning_limit, color=AFTER, lw=1.0, ls="--")
    words = "split limit of the gauge"
    ax.text(0.3, -100.0 * rest.thinning_limit + 0.4, words, color=AFTER, fontsize=7.5)
    _name_parts(ax, metal.place_mm[shown], part[shown])
    ax.set_title("change along the metal, means over 1 mm", fontsize=9)
    ax.set_xlabel("arc length in the blank (mm)", fontsize=8)
    ax.set_ylabel("%", fontsize=8)
    ax.set_xlim(0.0, float(metal.place_mm[shown].max()))
    ax.legend(loc="upper left", fontsize=7.5, ncols=3)
    ax.tick_params(labelsize=7)
    drawn = shape.scatter(
        metal.r_mm[shown], metal.z_mm[shown], c=-100.0 * metal.thinning[shown], s=9.0,
        cmap="cividis",
    )  # fmt: skip
    shape.set_aspect("equal")
    shape.set_title("thickness change (%)", fontsize=9)
    shape.tick_params(labelsize=7)
    figure.colorbar(drawn, ax=shape, shrink=0.75, pad=0.02).ax.tick_params(labelsize=7)


def _name_parts(ax: Axes, place: Floats, part: NDArray[np.str_]) -> None:
    starts = [0, *(np.flatnonzero(part[1:] != part[:-1]) + 1), part.size]
    low, high = ax.get_ylim()
    ax.set_ylim(low - 0.16 * (high - low), high + 0.18 * (high - low))
    for first, last in pairwise(starts):
        if first:
            ax.axvline(place[first], color="#DDDDDD", lw=0.8, zorder=0)
        if place[last - 1] - place[first] > 0.8:
            ax.text(
                0.5 * (place[first] + place[last - 1]),
                low - 0.06 * (high - low),
                str(part[first]).replace("_", "\n"),
                ha="center",
                va="center",
                fontsize=6.5,
                linespacing=0.95,
                color="#666666",
            )


def frame_figure() -> tuple[Figure, Axes]:
    """An empty figure for moving pictures."""
    figure = Figure(figsize=(9.0, 5.2))
    FigureCanvasAgg(figure)
    figure.text(0.01, 0.01, textwrap.fill(DOMING_CAUTION, 150), fontsize=6.5, va="bottom")
    # a fixed place: a layout engine would be asked for every picture
    return figure, figure.add_axes((0.06, 0.13, 0.92, 0.8))


def draw_frame(ax: Axes, formed: Formed, frame: Frame) -> None:
    """One moving picture."""
    _moment(ax, formed, frame.state, frame.tools, STAGE_WORDS.get(frame.stage, frame.stage))
    ax.set_xlabel("r (mm)", fontsize=7)
    if frame.tools:
        ax.legend(loc="upper left", fontsize=7.5)
