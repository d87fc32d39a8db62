"""Figure, 3D picture and VTU series of an uneven bottom."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from domemargin.fea.around.uneven import EvenBottom, UnevenPath, UnevenRecord, surface
from domemargin.fea.core.record import CAUTION
from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.units import PSI
from domemargin.studies.figures.moving.mode_picture import AROUND, RenderError, drawn
from domemargin.studies.figures.reversal import to_mpa, to_psi
from domemargin.studies.figures.style import AFTER, BEFORE, INK, ONSET, RING, styled
from domemargin.studies.text.bottom.uneven import WORDS, amount_words, around_words
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FRAMES = 24  # of the VTU series, at most
_AROUND = 72  # points of its meshes round the can
_TOP = 14.0  # mm above the stand plane, at which the sidewall is cut off in pictures


def uneven_figure(
    even: EvenBottom,
    found: Sequence[UnevenRecord],
    varied: str | None,
    picture: Floats | None = None,
) -> Figure:
    """Pressure against the amount (or travel), growth by angle, and the picture if there is one."""
    with styled():
        figure = Figure(figsize=(13.0, 4.9))
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            1, 3, width_ratios=(1.0, 1.0, 0.95), left=0.05, right=0.985, bottom=0.15, top=0.84,
            wspace=0.42,
        )  # fmt: skip
        figure.suptitle(one_line(even.profile.name, 90), x=0.01, y=0.975, ha="left", fontsize=11.5)
        first = figure.add_subplot(grid[0])
        if varied is not None and len(found) > 1:
            _draw_curve(first, even, found, varied)
        else:
            _draw_path(first, even, found[-1])
        _draw_growth(figure.add_subplot(grid[1]), found[-1], varied)
        if picture is not None:
            ax = figure.add_subplot(grid[2])
            ax.imshow(picture)
            ax.set_axis_off()
            ax.set_title("From below, just before reversal:\nblue ahead of the mean, orange behind")
        figure.text(0.01, 0.015, CAUTION, fontsize=7.5, color="#555555")
        return figure


def _draw_curve(ax: Axes, even: EvenBottom, found: Sequence[UnevenRecord], varied: str) -> None:
    """Reversal pressure against the amount that varies."""
    scale, unit = 1.0, "mm"
    if varied == "dome_tilt":
        scale, unit = 180.0 / np.pi, "deg"
    elif varied.endswith("difference"):
        scale, unit = 100.0, "%"
    shown = [r for r in found if r.pressure_mpa is not None]
    amounts = [scale * getattr(r.around, varied) for r in shown]
    held = [(r.pressure_mpa or 0.0) / PSI for r in shown]
    pressure = even.record.reversal_pressure_mpa
    if pressure is not None:
        ax.axhline(pressure / PSI, color=INK, lw=1.2, label="even bottom")
    ax.plot(amounts, held, "o-", color=ONSET, label="uneven bottom")
    guess = [(scale * getattr(r.around, varied), r.estimate_mpa) for r in shown if r.estimate_mpa]
    if guess:
        ax.plot(
            [a for a, _ in guess], [p / PSI for _, p in guess], "--", color=BEFORE,
            label="small-wave estimate",
        )  # fmt: skip
    required = even.settings.required
    if required is not None:
        ax.axhline(required / PSI, color=AFTER, lw=1.0, ls=":", label="required")
    ax.set_xlabel(f"{WORDS[varied]} ({unit})")
    ax.set_ylabel("reversal pressure (psi)")
    ax.set_title("What unevenness costs")
    _second_axis(ax)
    ax.legend(loc="best")


def _draw_path(ax: Axes, even: EvenBottom, record: UnevenRecord) -> None:
    """Pressure against travel of the dome centre."""
    states = even.solved.found.path.states
    travel = [states[0].x[0, 1] - state.x[0, 1] for state in states]
    ax.plot(travel, [s.pressure / PSI for s in states], color=BEFORE, label="even bottom")
    ax.plot(record.travel_mm, record.pressures_mpa / PSI, color=ONSET, label="uneven bottom")
    ax.set_xlabel("travel of the dome centre (mm)")
    ax.set_ylabel("pressure (psi)")
    ax.set_title(one_line(around_words(record.around), 44))
    _second_axis(ax)
    ax.legend(loc="lower right")


def _second_axis(ax: Axes) -> None:
    ax.spines["right"].set_visible(True)
    ax.secondary_yaxis("right", functions=(to_mpa, to_psi)).set_ylabel("MPa")


def _draw_growth(ax: Axes, record: UnevenRecord, varied: str | None) -> None:
    """Growth of the stand ring against angle."""
    degrees = np.degrees(record.angles)
    colours = (ONSET, AFTER, RING, INK)
    rings = [ring for ring in record.growth if ring.growth_mm is not None]
    for ring, colour in zip(rings, colours):
        name = f"{ring.pressure_mpa / PSI:.0f} psi"
        assert ring.growth_mm is not None
        assert ring.permanent_mm is not None
        ax.plot(degrees, ring.growth_mm, color=colour, label=f"under {name}")
        ax.plot(degrees, ring.permanent_mm, "--", color=colour, label=f"after {name}")
    ax.set_xlim(0.0, 360.0)
    ax.set_xticks(range(0, 361, 90))
    ax.set_xlabel("angle round the can (deg)")
    ax.set_ylabel("lowering of the stand ring (mm)")
    which = f" at {amount_words(varied, getattr(record.around, varied))}" if varied else ""
    ax.set_title(f"Growth by angle{which}")
    if rings:
        # room for the legend above the lines
        ax.set_ylim(0.0, (1.1 + 0.09 * len(rings)) * ax.get_ylim()[1])
        ax.legend(loc="upper center", ncols=2)
    else:
        ax.text(0.5, 0.5, "it reverses first", transform=ax.transAxes, ha="center")


def picture_of(path: UnevenPath) -> Floats | None:
    """The bottom from below in its last state before the limit, coloured by what differs round the
    can; None where nothing can be drawn."""
    states, limit = path.path.states, path.path.limit
    last = states[-1 if limit is None else limit.before]
    angles = np.linspace(0.0, 2.0 * np.pi, AROUND + 1)
    keep = last.x[:, 1, 0] <= _TOP
    points = surface(path.shell, last, angles)[keep]
    moved = (points - surface(path.shell, states[0], angles)[keep])[:, :, 2]
    values = moved - moved[:, :-1].mean(axis=1, keepdims=True)
    # turned over, so that the bottom is up
    turned = points * (1.0, -1.0, -1.0)
    try:
        return drawn(turned, values / max(float(np.abs(values).max()), 1e-12))
    except RenderError:
        return None


class Series(NamedTuple):
    """States of an uneven bottom as meshes.

    quads : (m, 4) of the points.  pressures : (k,) MPa.  points : (k, n, 3) mm.
    """

    quads: Ints
    pressures: Floats
    points: Floats


def series(path: UnevenPath) -> Series:
    """States up to the limit and a little beyond, FRAMES of them at most."""
    states = path.path.states
    picked = np.unique(np.linspace(0, len(states) - 1, FRAMES).round().astype(int))
    angles = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    points = np.stack([surface(path.shell, states[i], angles) for i in picked])
    nodes = points.shape[1]
    row, column = np.meshgrid(np.arange(nodes - 1), np.arange(_AROUND), indexing="ij")
    after = (column + 1) % _AROUND
    corners = ((row, column), (row + 1, column), (row + 1, after), (row, after))
    quads = np.stack([(r * _AROUND + c).ravel() for r, c in corners], axis=1)
    return Series(
        quads,
        np.array([states[i].pressure for i in picked]),
        points.reshape(len(picked), -1, 3),
    )
