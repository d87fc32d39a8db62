"""Bounds from an axisymmetric model for a die that is tilted or off centre.

Tilt.  A die tilted by an angle about the stand ring's plane stands higher on one side by the ring's
radius times the angle, and lower on the other.  Each side is solved as if the whole ring stood
there.  Real sheet couples the sides, so the true difference of depth is at most the one given.
Where the flange meets the nose the high side stops the station: the low side stays short by the
ring's diameter times the angle.

Offset.  The clearance between the die's side and the punch's hollow closes by the offset on one
side and opens on the other.  Sheet thicker than the clearance would be ironed down to it: its
gauge there is at most the clearance.  No force of ironing, no side load and no bending of the
tools is solved for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from domemargin.fea.doming.readings import line
from domemargin.fea.errors import SolveError
from domemargin.fea.stroke.press import FormingSettings, outside_depth
from domemargin.fea.stroke.stages import Formed, form
from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import check
from domemargin.profiles.tooling.parts import Spring
from domemargin.profiles.tooling.tooling import Tooling

RIGID = 1e6  # N
BASIS = (
    "bounds by an axisymmetric model, each side as if all round were like it; the sides of a real "
    "can couple, and neither side loads nor the bending of the tools are solved for"
)


@dataclass(frozen=True)
class Misaligned:
    """Depth and gauge on the high (or tight) and the low (or wide) side.

    tilt : radians.  offset_mm : of the die's axis from the punch's.  depth_high_mm, depth_low_mm :
    at rest, from the stand ring of that side to the centre.  clearance_tight_mm, clearance_wide_mm
    : between die and punch.  gauge_mm : of the formed metal in that gap without an offset, at its
    thickest.  gauge_tight_mm : at most, with it.  ironed : share of that gauge lost on the tight
    side.
    """

    tilt: float
    offset_mm: float
    depth_high_mm: float
    depth_low_mm: float
    clearance_tight_mm: float
    clearance_wide_mm: float
    gauge_mm: float
    gauge_tight_mm: float
    ironed: float
    basis: str = BASIS


def misaligned(
    tooling: Tooling,
    formed: Formed,
    tilt: float,
    offset: float,
    settings: FormingSettings | None = None,
) -> Misaligned:
    """The two sides of a station whose die is tilted (radians) and off centre (mm).

    formed : the stroke without either, at rest.  Raises InputError for a value out of range or an
    offset that leaves no clearance, SolveError where a side cannot be formed.
    """
    check("misaligned.tilt", tilt)
    check("misaligned.offset", offset)
    clearance = _clearance(tooling)
    if offset >= clearance:
        raise InputError(
            f"misaligned.offset is {offset:.6g} mm; it must be less than the clearance between "
            f"die and punch, {clearance:.4g} mm",
            "misaligned.offset",
            f"{offset:.6g} mm",
            f"less than {clearance:.4g} mm",
        )
    high, low = _depths(tooling, formed, tilt, settings)
    gauge = _gauge_in_gap(tooling, formed)
    tight = clearance - offset
    return Misaligned(
        tilt,
        offset,
        high,
        low,
        tight,
        clearance + offset,
        gauge,
        min(gauge, tight),
        max(0.0, 1.0 - tight / gauge),
    )


def _clearance(tooling: Tooling) -> float:
    punch, die = tooling.punch, tooling.die
    hollow = 0.5 * (punch.nose_diameter - punch.land) - punch.nose_radius
    return hollow - 0.5 * die.diameter


def _depths(
    tooling: Tooling, formed: Formed, tilt: float, settings: FormingSettings | None
) -> tuple[float, float]:
    half = 0.5 * tooling.punch.nose_diameter * tilt
    end = formed.moments[-1].die_mm - formed.bottom_mm
    if tilt == 0.0:
        same = outside_depth(formed.press, formed.at("punch off"))[0]
        return same, same
    # the high side can go no farther than where flange and nose meet
    top = max(end, 0.0)
    centre = min(end, top - half)
    depths = []
    for place in (centre + half, centre - half):
        side = form(tooling.replaced(spring=Spring("constant", RIGID), set=place), settings)
        if side.failed:
            raise SolveError(side.reason)
        depths.append(outside_depth(side.press, side.at("punch off"))[0])
    return depths[0], depths[1]


def _gauge_in_gap(tooling: Tooling, formed: Formed) -> float:
    """Largest thickness of the metal between the die's side and the punch at the end, mm."""
    lie = line(formed, formed.at("stroke"))
    steep = (np.abs(np.cos(lie.angle)) < 0.3) & (lie.r < 0.5 * tooling.punch.nose_diameter)
    return float(lie.thickness[steep].max()) if np.any(steep) else float(tooling.blank.gauge)
