"""The figure of wave onsets: pressure against number of waves, and the first mode in 3D."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from domemargin.fea.bottom.onsets import NumberOnset, WaveRecord
from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.figures.reversal import to_mpa, to_psi
from domemargin.studies.figures.style import BEFORE, INK, ONSET, RING, mode_colours, styled
from domemargin.studies.text.words import drawn_words, one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def waves_figure(record: WaveRecord, picture: Floats | None = None) -> Figure:
    """Left the onset pressures, right the picture of the mode (see mode_picture.py), if any."""
    with styled():
        figure = Figure(figsize=(11.0, 5.2))
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            1, 2, width_ratios=(1.0, 1.12), left=0.06, right=0.985, bottom=0.14, top=0.86,
            wspace=0.2,
        )  # fmt: skip
        figure.suptitle(
            one_line(record.profile.name, 90), x=0.01, y=0.975, ha="left", fontsize=11.5
        )
        draw_onsets(figure.add_subplot(grid[0]), record)
        draw_mode(figure, figure.add_subplot(grid[1]), record, picture)
        figure.text(0.01, 0.015, record.caution, fontsize=7.5, color="#555555")
        return figure


def draw_onsets(ax: Axes, record: WaveRecord) -> None:
    """Onset pressure (psi left, MPa right) against the number of waves, by both theories."""
    limit = record.stability.axisymmetric_limit_mpa
    counted = [o for o in record.deformation if o.counted]
    found = [o.pressure_mpa for o in (*record.flow, *counted) if o.pressure_mpa]
    if limit is not None:
        found.append(limit)
        text = f"axisymmetric limit {limit / PSI:.1f} psi ({limit:.3f} MPa)"
        ax.axhline(limit / PSI, color=INK, lw=1.2, label=text)
    elastic = not record.deformation
    name = "elastic metal" if elastic else "flow theory, counts"
    _mark(ax, [o for o in record.flow if o.waves and o.before_limit], "o", ONSET, name)
    later = [o for o in record.flow if o.waves and not o.before_limit]
    _mark(ax, later, "o", ONSET, "flow theory, after the limit: pressure falls", hollow=True)
    second = [o for o in record.deformation if o.pressure_mpa and o.before_limit]
    _mark(ax, [o for o in second if o.counted], "D", RING,
          "deformation theory, theory check, known to lie low")  # fmt: skip
    rest = sorted(o.waves for o in second if not o.counted)
    if rest:
        ax.plot([], [], " ", label=f"n = {_ranges(rest)}: deformation theory rests on the mesh, "
                "not shown")  # fmt: skip
    stable = [o.waves for o in record.flow if o.waves and o.pressure_mpa is None]
    if stable:
        words = (
            "stable as far as followed" if elastic else "stable by flow theory as far as followed"
        )
        ax.plot([], [], " ", label=f"n = {_ranges(stable)}: {words}")
    if found:
        low, high = min(found) / PSI, max(found) / PSI
        room = max(high - low, 0.05 * high)
        # the legend stands below the marks
        ax.set_ylim(max(low - 0.75 * room, 0.0), high + 0.12 * room)
    else:
        ax.set_ylim(0.0, 1.0)
        ax.text(0.5, 0.5, "no onset found", transform=ax.transAxes, ha="center")
    ax.set_xlim(-0.7, record.stability.waves_checked + 0.7)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel("waves around the circumference, n")
    ax.set_ylabel("onset pressure (psi)")
    ax.set_title("Onset pressure by number of waves")
    ax.spines["right"].set_visible(True)
    second_axis = ax.secondary_yaxis("right", functions=(to_mpa, to_psi))
    second_axis.set_ylabel("onset pressure (MPa)")
    if ax.get_legend_handles_labels()[0]:
        ax.legend(loc="lower left", borderaxespad=0.2)


def _mark(
    ax: Axes, onsets: Sequence[NumberOnset], marker: str, colour: str, name: str,
    hollow: bool = False,
) -> None:  # fmt: skip
    shown = [(o.waves, o.pressure_mpa / PSI) for o in onsets if o.pressure_mpa is not None]
    if shown:
        ax.plot(*zip(*shown), marker, color=colour, ms=6 if marker == "o" else 5, label=name,
                mfc="white" if hollow else colour, mew=1.2, zorder=3)  # fmt: skip


def _ranges(numbers: Sequence[int]) -> str:
    """Whole numbers in rising order, runs of them as "2 to 20"."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)


def draw_mode(figure: Figure, ax: Axes, record: WaveRecord, picture: Floats | None) -> None:
    """The picture of the mode, with what it shows above it and its colours below."""
    ax.axis("off")
    ax.set_title(drawn_words(record))
    if picture is None:
        ax.text(0.5, 0.5, "no picture", transform=ax.transAxes, ha="center", color=BEFORE)
        return
    ax.imshow(picture)
    scale = ScalarMappable(Normalize(-1.0, 1.0), mode_colours())
    place = ax.inset_axes((0.36, -0.085, 0.28, 0.022))
    bar = figure.colorbar(scale, cax=place, orientation="horizontal", ticks=())
    bar.outline.set_visible(False)
    below: dict[str, Any] = {"transform": ax.transAxes, "fontsize": 8.0, "va": "center"}
    ax.text(0.35, -0.074, "moves out of the can", ha="right", **below)
    ax.text(0.65, -0.074, "moves into the can", ha="left", **below)
    ax.text(0.5, -0.13, "seen from below, displacement enlarged", ha="center", **below)
