"""The dimensioned drawing of a profile: half section and magnified nose, both to scale."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Polygon

from domemargin.profiles import Points, Profile
from domemargin.profiles.arrays import Floats
from domemargin.studies.figures.style import DIMENSION, INK, METAL, styled
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_ARROWS = {"arrowstyle": "<|-|>", "color": DIMENSION, "lw": 0.8, "shrinkA": 0, "shrinkB": 0}
_LEADER = {"arrowstyle": "-|>", "color": DIMENSION, "lw": 0.8, "shrinkA": 1, "shrinkB": 0}
_ON = {"inside": "inside surface", "mid": "mid surface", "outside": "outside surface"}


def profile_figure(profile: Profile) -> Figure:
    """The half section with its main dimensions, and the nose magnified with its own."""
    with styled():
        figure = Figure(figsize=(11.0, 5.0))
        FigureCanvasAgg(figure)
        # fixed places: a layout engine costs a cold command a tenth of a second
        half, nose = figure.subplots(
            1, 2, width_ratios=(1.55, 1.0),
            gridspec_kw={"left": 0.045, "right": 0.99, "bottom": 0.12, "top": 0.88, "wspace": 0.06},
        )  # fmt: skip
        figure.suptitle(one_line(profile.name, 90), x=0.01, y=0.975, ha="left", fontsize=11.5)
        draw_half_section(half, profile)
        draw_nose(nose, profile)
        figure.text(
            0.01,
            0.015,
            f"Dimensions in mm.  Radii on the {_ON[profile.shape.radii_on]}; dome depth and stand "
            "plane on the outside surface; angles from vertical.",
            fontsize=8.0,
            color="#555555",
        )
        return figure


def metal_outline(profile: Profile) -> Floats:
    """(n, 2) closed outline of the metal in the (r, z) half plane, mm."""
    s = np.unique(np.concatenate((np.linspace(0, profile.meridian.length, 1200),
                                  profile.breakpoints)))  # fmt: skip
    p, half = profile.meridian.at(s), 0.5 * profile.thickness(s)[:, None]
    line = np.stack((p.r, p.z), axis=1)
    normal = np.stack((-np.sin(p.phi), np.cos(p.phi)), axis=1)
    return np.concatenate((line + half * normal, (line - half * normal)[::-1]))


def draw_half_section(ax: Axes, profile: Profile) -> None:
    """Half section: diameters, depth, dome and heel radii, outer leg, gauges, heel height."""
    shape, chain = profile.shape, profile.chain
    body, stand = 0.5 * shape.body_diameter, 0.5 * shape.stand_diameter
    # one unit of length of the drawing, so that a bottom of any size looks alike
    u = body / 33.0
    top = max(chain.heel_height, shape.dome_depth) + 6.0 * u
    _prepare(ax, profile, "Half section")
    ax.set_xlim(-4.5 * u, body + 5.5 * u)
    ax.set_ylim(-6.0 * u, top + 4.5 * u)
    ax.plot([0, 0], [-5.5 * u, top + 4.0 * u], color=INK, lw=0.7, ls=(0, (12, 3, 2, 3)))

    _across(ax, 0.0, stand, -3.6 * u, f"⌀ {shape.stand_diameter:.5g} stand diameter", u, 0.0)
    _across(ax, 0.0, body, top + 2.4 * u, f"⌀ {shape.body_diameter:.5g} body diameter", u, top)
    _upright(ax, -2.2 * u, 0.0, shape.dome_depth, f"{shape.dome_depth:.5g} dome depth", u, 0.0)
    _upright(ax, body + 2.6 * u, 0.0, chain.heel_height,
             f"{chain.heel_height:.4g} heel height", u, body)  # fmt: skip

    _dome_radii(ax, profile, u)
    line = profile.meridian
    heel = _middle(profile, "heel")
    _leader(ax, heel, (body - 9.5 * u, float(heel.z) + 4.5 * u), f"R {shape.heel_radius:.4g} heel")
    gauge = profile.thickness(line.length)
    wall = line.at(line.length)
    _leader(ax, (float(wall.r), top - 1.6 * u), (body - 9.5 * u, top - 1.0 * u),
            f"{float(gauge):.4g} wall gauge")  # fmt: skip
    at = line.at(0.28 * line.span("dome")[1])
    _leader(ax, at, (float(at.r) + 2.5 * u, float(at.z) + 3.6 * u),
            f"{float(profile.thickness(0.28 * line.span('dome')[1])):.4g} gauge")  # fmt: skip
    ax.set_xlabel("r (mm)")
    ax.set_ylabel("z (mm)")


def _dome_radii(ax: Axes, profile: Profile, u: float) -> None:
    zones = [seg for seg in profile.meridian.segments if seg.part == "dome"]
    radii = profile.shape.dome_radii
    for i, (zone, radius) in enumerate(zip(zones, radii)):
        at = zone.at(0.62 * zone.length)
        name = "dome" if len(zones) == 1 else f"dome zone {i + 1}"
        below = (float(at.r) - 1.0 * u, float(at.z) - (3.6 + 1.2 * (i % 2)) * u)
        _leader(ax, at, below, f"R {radius:.4g} {name}")
        if i > 0:
            _leader(ax, zone.at(0.0), (zone.r - 1.5 * u, zone.z + 2.4 * u),
                    f"⌀ {profile.shape.dome_break_diameter[i - 1]:.4g} break")  # fmt: skip


def draw_nose(ax: Axes, profile: Profile) -> None:
    """Shoulder, inner leg, nose and the foot of the outer leg, magnified."""
    shape, line = profile.shape, profile.meridian
    shoulder, leg = _middle(profile, "shoulder"), _middle(profile, "inner_leg")
    first, last = line.span("nose")
    top = float(line.at(line.span("shoulder")[0]).z)
    u = max(top, 3.0 * shape.nose_radius) / 10.0  # a tenth of the height of what is drawn
    stand = 0.5 * shape.stand_diameter
    _prepare(ax, profile, "Nose magnified")
    ax.set_ylim(-0.8 * u, 10.0 * u + 1.6 * u)
    ax.set_xlim(stand - 7.8 * u, stand + 5.2 * u)

    beside = (float(shoulder.r) + 1.9 * u, float(shoulder.z) + 1.0 * u)
    _leader(ax, shoulder, beside, f"R {shape.shoulder_radius:.4g} shoulder")
    gauge = float(profile.thickness(0.5 * sum(line.span("inner_leg"))))
    _leader(ax, leg, (float(leg.r) - 2.6 * u, float(leg.z) + 0.4 * u), f"{gauge:.4g} gauge")
    foot = line.at(first + 0.3 * (last - first))
    beside = (float(foot.r) - 3.2 * u, float(foot.z) + 0.9 * u)
    _leader(ax, foot, beside, f"R {shape.nose_radius:.4g} nose")
    _angle(ax, line.at(first), shape.inner_leg_angle, 3.0 * u, "inner leg", True)
    _angle(ax, line.at(last), shape.outer_leg_angle, 2.4 * u, "outer leg", False)
    ax.set_xlabel("r (mm)")


def _prepare(ax: Axes, profile: Profile, title: str) -> None:
    outline = metal_outline(profile)
    ax.add_artist(Polygon(outline, facecolor=METAL, edgecolor=INK, lw=0.7))
    ax.axhline(0.0, color=INK, lw=0.6, ls=(0, (6, 3)))
    ax.set_aspect("equal")
    ax.spines["right"].set_visible(False)
    ax.set_title(title)


def _middle(profile: Profile, part: str) -> Points:
    return profile.meridian.at(0.5 * sum(profile.meridian.span(part)))


def _across(ax: Axes, r0: float, r1: float, z: float, text: str, u: float, edge: float) -> None:
    """A horizontal dimension line from the axis, with the extension line of its far end."""
    beyond = z + math.copysign(0.6 * u, z - edge)
    ax.plot([r1, r1], [edge, beyond], color=DIMENSION, lw=0.6)
    ax.annotate("", (r1, z), (r0, z), arrowprops={**_ARROWS, "arrowstyle": "-|>"})
    ax.annotate(text, (0.5 * (r0 + r1), z), xytext=(0, 2), textcoords="offset points",
                ha="center", va="bottom", color=DIMENSION)  # fmt: skip


def _upright(ax: Axes, r: float, z0: float, z1: float, text: str, u: float, edge: float) -> None:
    """A vertical dimension line with its extension lines."""
    for z in (z0, z1):
        ax.plot([edge, r + math.copysign(0.6 * u, r - edge)], [z, z], color=DIMENSION, lw=0.6)
    ax.annotate("", (r, z1), (r, z0), arrowprops=_ARROWS)
    ax.annotate(text, (r, 0.5 * (z0 + z1)), xytext=(-3, 0), textcoords="offset points",
                rotation=90, ha="right", va="center", color=DIMENSION)  # fmt: skip


def _leader(
    ax: Axes, tip: Points | tuple[float, float], place: tuple[float, float], text: str
) -> None:
    ax.annotate(text, (float(tip[0]), float(tip[1])), place, arrowprops=_LEADER, color=DIMENSION,
                ha="center", va="center")  # fmt: skip


def _angle(ax: Axes, foot: Points, angle: float, radius: float, name: str, inner: bool) -> None:
    """The angle of a leg from the vertical through its foot."""
    r, z = float(foot.r), float(foot.z)
    ax.plot([r, r], [z, z + 1.25 * radius], color=DIMENSION, lw=0.6, ls=(0, (5, 2)))
    degrees = math.degrees(angle)
    # a leg that goes outward going down leans to the axis going up
    lean = 90.0 + degrees if inner else 90.0 - degrees
    ax.add_patch(Arc((r, z), 2 * radius, 2 * radius, theta1=min(lean, 90.0),
                     theta2=max(lean, 90.0), color=DIMENSION, lw=0.8))  # fmt: skip
    side = -1 if degrees < 0.0 else 1  # away from the leg
    ax.annotate(f"{degrees:.4g}° {name}", (r, z + radius), xytext=(5 * side, 3),
                textcoords="offset points", color=DIMENSION,
                ha="left" if side > 0 else "right", va="bottom")  # fmt: skip
