"""The figure of a reversal: the bottom before, at onset and after; pressure against travel.

Functions take records and return matplotlib figures; nothing is shown or written here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from domemargin.fea.core.record import Outline, Record
from domemargin.profiles import Profile
from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, RING, styled
from domemargin.studies.text.words import margin_words, one_line
from domemargin.studies.verdict.answer import answer_of_record, verdict_of_record

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from domemargin.studies.verdict.budget import Verdict
    from domemargin.studies.verdict.calibration import Calibration


def reversal_figure(
    record: Record,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> Figure:
    """Left the bottom before, at onset and after (whole, and its nose magnified); right the path.

    Raises nothing: what a record lacks is left out.
    """
    with styled():
        figure = Figure(figsize=(11.0, 5.2))
        FigureCanvasAgg(figure)
        # fixed places: a layout engine costs a cold command a tenth of a second
        grid = figure.add_gridspec(
            2, 2, width_ratios=(1.0, 1.04), height_ratios=(0.7, 1.3), left=0.045, right=0.94,
            bottom=0.14, top=0.88, wspace=0.14, hspace=0.3,
        )  # fmt: skip
        whole = figure.add_subplot(grid[0, 0])
        lower = grid[1, 0].subgridspec(1, 2, width_ratios=(0.32, 0.68))
        nose = figure.add_subplot(lower[1])
        path = figure.add_subplot(grid[:, 1])
        figure.suptitle(
            one_line(record.profile.name, 90), x=0.01, y=0.975, ha="left", fontsize=11.5
        )
        draw_shapes(whole, nose, record)
        figure.legend(
            *whole.get_legend_handles_labels(), loc="upper left", borderaxespad=0.0,
            bbox_to_anchor=lower[0].get_position(figure),
        )  # fmt: skip
        draw_path(path, record, calibration, known)
        figure.text(0.01, 0.015, record.caution, fontsize=7.5, color="#555555")
        return figure


def smooth_line(outline: Outline, per_element: int = 6) -> tuple[Floats, Floats, Floats]:
    """r, z and tangent angle between the nodes of an outline by cubic Hermite pieces."""
    r, z, angle = outline.r_mm, outline.z_mm, outline.angle_rad
    chord = np.hypot(np.diff(r), np.diff(z))
    x = np.linspace(0.0, 1.0, per_element, endpoint=False)[None, :]
    h0, h1 = (1.0 + 2.0 * x) * (1.0 - x) ** 2, x * x * (3.0 - 2.0 * x)
    d0, d1 = x * (1.0 - x) ** 2 * chord[:, None], -x * x * (1.0 - x) * chord[:, None]

    def between(v: Floats, slope: Floats) -> Floats:
        inner = h0 * v[:-1, None] + h1 * v[1:, None] + d0 * slope[:-1, None] + d1 * slope[1:, None]
        return np.append(inner.ravel(), v[-1])

    turned = np.append(((1.0 - x) * angle[:-1, None] + x * angle[1:, None]).ravel(), angle[-1])
    return between(r, np.cos(angle)), between(z, np.sin(angle)), turned


def faces(outline: Outline, thickness: Floats) -> tuple[Floats, Floats]:
    """(n, 2) points of the inside and the outside face of an outline, mm.

    thickness : at the nodes of the outline, mm.
    """
    r, z, angle = smooth_line(outline)
    nodes = np.arange(thickness.size)
    half = 0.5 * np.interp(np.linspace(0, nodes[-1], r.size), nodes, thickness)
    normal = np.stack((-np.sin(angle), np.cos(angle)), axis=1)
    line = np.stack((r, z), axis=1)
    return line + half[:, None] * normal, line - half[:, None] * normal


def node_thickness(profile: Profile, before: Outline) -> Floats:
    """Unloaded thickness at the nodes of the unloaded outline, mm."""
    r, z, _ = smooth_line(before)
    s = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(r), np.diff(z)))))
    return profile.thickness(s[:: (r.size - 1) // (before.r_mm.size - 1)])


def _states(record: Record) -> list[tuple[Outline, str, str]]:
    out = [(record.before, BEFORE, "unloaded")]
    if record.at_onset is not None:
        # the outline is that of the last stable state; the pressure named is the one quoted
        quoted = record.reversal_pressure_mpa or record.at_onset.pressure_mpa
        out.append((record.at_onset, ONSET, f"at reversal onset,\n{quoted / PSI:.1f} psi"))
    if record.after is not None:
        psi = record.after.pressure_mpa / PSI
        found = record.reversal_pressure_mpa
        name = "last state found,\nat"
        if found is not None:
            name = "after, fallen\nto" if record.after.pressure_mpa < found else "further on,\nat"
        out.append((record.after, AFTER, f"{name} {psi:.0f} psi"))
    return out


def draw_shapes(whole: Axes, nose: Axes, record: Record) -> None:
    """The whole section by its mid-surface, and the nose magnified with its thickness."""
    profile = record.profile
    states = _states(record)
    thickness = node_thickness(profile, record.before)
    for outline, colour, name in states:
        r, z, _ = smooth_line(outline)
        both = np.concatenate((-r[::-1], r)), np.concatenate((z[::-1], z))
        whole.plot(*both, color=colour, lw=1.4, label=name)
        inside, outside = faces(outline, thickness)
        ring = np.concatenate((inside, outside[::-1]))
        # not fill: its search for the limits, which are set below, takes 10 ms each
        nose.add_artist(Polygon(ring, facecolor=colour, edgecolor=colour, lw=0.4, alpha=0.75))

    half = 0.5 * profile.shape.body_diameter
    edge = 0.5 * profile.chain.dome_edge_diameter
    lowest = min(float(outline.z_mm.min()) for outline, _, _ in states)
    highest = max(float(outline.z_mm[0]) for outline, _, _ in states)
    whole.set_title("Whole section, mid-surface")
    whole.set_xlim(-half - 1.5, half + 1.5)
    whole.set_ylim(lowest - 1.0, max(highest, profile.chain.heel_height) + 2.0)
    # from its right end: the panel of a deep dome is narrow
    nose.set_title("Nose magnified, thickness to scale", loc="right")
    nose.set_xlim(edge - 0.45 * (half - edge), half + 0.6)
    nose.set_ylim(lowest - 0.8, 0.95 * profile.shape.dome_depth)
    for ax in (whole, nose):
        ax.set_aspect("equal", anchor="E")
        ax.axhline(0.0, color=INK, lw=0.6, ls=(0, (6, 3)))
        ax.spines["right"].set_visible(False)
        ax.set_ylabel("z (mm)")
    nose.set_xlabel("r (mm)")


def draw_path(
    ax: Axes,
    record: Record,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> None:
    """Pressure (psi left, MPa right) against travel of dome centre and stand ring.

    calibration, known : of interval and verdict, as verdict/answer.py takes them.
    """
    sure = answer_of_record(record, calibration, known)
    curve = record.curve
    psi = curve.pressure_mpa / PSI
    centre, ring = curve.centre_travel_mm, curve.stand_growth_mm
    ax.plot(centre, psi, color=ONSET, label="dome centre travel")
    ax.plot(ring, psi, color=RING, ls=(0, (5, 1.5)), label="stand ring growth")
    _draw_growth(ax, record)
    if record.at_onset is not None:
        onset = record.at_onset.pressure_mpa / PSI
        at = int(np.argmin(np.abs(psi - onset)))
        ax.plot(centre[[at]], psi[[at]], "s", color=INK, ms=6, label="reversal onset", zorder=4)
        ax.plot(ring[[at]], psi[[at]], "s", color=INK, ms=6, zorder=4)
    right = float(max(centre.max(), ring.max(), 1e-6))
    left = float(min(centre.min(), ring.min(), 0.0))
    ax.set_xlim(left - 0.01 * right, 1.04 * right)
    end = sure.high if sure is not None and not sure.least else 0.0
    _draw_lines(ax, record, right, verdict_of_record(record, calibration, known), end)
    if sure is not None and not sure.least:
        ax.axhspan(sure.low / PSI, sure.high / PSI, color=BEFORE, alpha=0.18, lw=0.0, zorder=0,
                   label="95 % interval")  # fmt: skip
    ax.set_xlabel("downward travel (mm)")
    ax.set_ylabel("pressure (psi)")
    ax.set_title("Pressure against travel")
    ax.spines["right"].set_visible(True)
    second = ax.secondary_yaxis("right", functions=(to_mpa, to_psi))
    second.set_ylabel("pressure (MPa)")
    # lines of growth let off pass behind it
    legend = ax.legend(loc="lower right", frameon=True, framealpha=0.9, edgecolor="none")
    legend.set_zorder(5.0)


def to_mpa(psi: Any) -> Any:
    """MPa from psi, for a second axis."""
    return psi * PSI


def to_psi(mpa: Any) -> Any:
    """psi from MPa, for a second axis."""
    return mpa / PSI


def _draw_growth(ax: Axes, record: Record) -> None:
    """Growth at the named pressures, each joined to the permanent growth after unloading."""
    named = [growth for growth in record.growth if growth.centre_travel_mm is not None]
    texts = dict.fromkeys(f"{growth.pressure_mpa / PSI:.3g}" for growth in named)
    label = f"let off from {', '.join(texts)} psi"
    for growth in named:
        psi = growth.pressure_mpa / PSI
        for loaded, stays, colour in (
            (growth.centre_travel_mm, growth.permanent_centre_travel_mm, ONSET),
            (growth.stand_growth_mm, growth.permanent_stand_growth_mm, RING),
        ):
            if loaded is None or stays is None:
                continue
            ax.plot([loaded, stays], [psi, 0.0], color=colour, lw=0.8, marker="o", ms=4.5,
                    mfc="white", mew=1.2, clip_on=False, zorder=3)  # fmt: skip
    if named:
        ax.plot([], [], "o-", color=INK, lw=0.8, mfc="white", ms=4.5, label=label)


def _draw_lines(
    ax: Axes, record: Record, right: float, verdict: Verdict | None, end: float
) -> None:
    """Lines at the reversal and the required pressure; their names above the higher one and above
    the interval, which ends at `end` (MPa)."""
    found, required = record.reversal_pressure_mpa, record.required_pressure_mpa
    lines: list[tuple[float, str, str, Any]] = []
    if found is not None:
        lines.append((found / PSI, f"reversal {found / PSI:.1f} psi ({found:.3f} MPa)", INK, "-"))
    if required is not None:
        text = f"required {required / PSI:.1f} psi: {margin_words(record, verdict)}"
        lines.append((required / PSI, text, AFTER, (0, (2, 2))))
    reached = max(float(record.curve.pressure_mpa.max()), found or 0.0) / PSI
    # a requirement far off is named but not drawn, so that the curve keeps its height
    drawn = [line for line in lines if line[0] < 1.6 * reached]
    top = (
        max([reached, end / PSI, *(line[0] for line in drawn)]) or 1.0
    )  # a path may end at its start
    ax.set_ylim(0.0, 1.16 * top)
    for psi, _, colour, dashes in drawn:
        ax.axhline(psi, color=colour, lw=1.0, ls=dashes)
    if found is None:
        words = {
            "none_below_ceiling": "no reversal up to here",
            "not_resolved": "a reversal here, not resolved",
        }
        lines.append((0.0, words.get(record.kind, "the solve stopped here"), INK, ""))
    for i, (_, text, colour, _) in enumerate(sorted(lines, key=lambda line: line[0])):
        ax.annotate(text, (right, top), xytext=(0, 4 + 13 * i), textcoords="offset points",
                    ha="right", va="bottom", color=colour)  # fmt: skip
