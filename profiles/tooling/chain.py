"""Tools and blank as tangent chains of arcs and lines, solved in closed form."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.local import cosine_step
from domemargin.profiles.shape.meridian import Meridian, Segment
from domemargin.profiles.tooling.parts import Blank, Clamp, Die, Punch

HALF_PI = 0.5 * math.pi
# side of a chain, as it runs, on which the metal lies: +1 left, -1 right
METAL_SIDE = {"punch": -1, "die": 1, "clamp": 1}


def _follow(
    r: float, z: float, phi: float, parts: list[tuple[str, float, float]]
) -> tuple[Segment, ...]:
    """Segments in a row from a start: (part, length, curvature); those of no length left out."""
    out: list[Segment] = []
    for part, length, curvature in parts:
        if length > 1e-12:
            segment = Segment(part, r, z, phi, length, curvature)
            end = segment.at(length)
            r, z, phi = float(end.r), float(end.z), float(end.phi)
            out.append(segment)
    return tuple(out)


def punch_chain(punch: Punch, height: float) -> tuple[Segment, ...]:
    """The punch from the top of its hollow, round its nose, out and up its side (mm).

    height : of the hollow's wall and of the side that are drawn.
    """
    rn, up = punch.nose_radius, HALF_PI - punch.leg_angle
    start = 0.5 * (punch.nose_diameter - punch.land) - rn
    return _follow(
        start,
        rn + height,
        -HALF_PI,
        [
            ("hollow", height, 0.0),
            ("nose", rn * HALF_PI, 1.0 / rn),
            ("land", punch.land, 0.0),
            ("nose", rn * up, 1.0 / rn),
            ("leg", punch_leg(punch), 0.0),
            ("heel", punch.heel_radius * punch.leg_angle, 1.0 / punch.heel_radius),
            ("side", height, 0.0),
        ],
    )


def punch_leg(punch: Punch) -> float:
    """Length of the punch's cone, mm; negative where nose and heel leave none."""
    cone_starts = 0.5 * (punch.nose_diameter + punch.land)
    cone_starts += punch.nose_radius * math.cos(punch.leg_angle)
    cone_ends = 0.5 * punch.body_diameter
    cone_ends -= punch.heel_radius * (1.0 - math.cos(punch.leg_angle))
    return (cone_ends - cone_starts) / math.sin(punch.leg_angle)


def die_chain(die: Die) -> tuple[Segment, ...]:
    """The die from its centre (0, 0) over edge and side to its flange, at -flange_height.

    Raises InputError where edge, side and dome do not join.
    """
    parts: list[tuple[str, float, float]] = []
    r, z, angle = 0.0, 0.0, 0.0
    centre_r, centre_z = 0.0, -die.dome_radius[0]
    for i, diameter in enumerate(die.dome_break_diameter):
        here, after = die.dome_radius[i : i + 2]
        sine = (0.5 * diameter - centre_r) / here
        end = math.asin(sine) if -1.0 < sine < 1.0 else HALF_PI
        if end <= angle:
            raise _no_die("die.dome_break_diameter", f"{diameter:.6g} mm", "to lie on its zone")
        parts.append(("dome", here * (end - angle), -1.0 / here))
        centre_r += (here - after) * math.sin(end)
        centre_z += (here - after) * math.cos(end)
        angle = end
    radius, edge, a = die.dome_radius[-1], die.edge_radius, die.side_angle
    # centre of the edge arc: one edge radius inside the side's line, on the circle radius - edge
    # about the dome's centre
    vr = 0.5 * die.diameter - edge * math.cos(a) - centre_r
    vz = -die.flange_height - edge * math.sin(a) - centre_z
    along, across = -vr * math.sin(a) + vz * math.cos(a), vr * math.cos(a) + vz * math.sin(a)
    square = (radius - edge) ** 2 - across**2
    side = -along + math.sqrt(square) if square > 0.0 and radius > edge else -1.0
    fillet = die.fillet_radius * math.tan(0.5 * (HALF_PI - a))
    if side <= fillet:
        raise _no_die("die.flange_height", f"{die.flange_height:.6g} mm", "to leave the die a side")
    turn = math.atan2(vr - side * math.sin(a), vz + side * math.cos(a))
    if turn <= angle:
        raise _no_die("die.edge_radius", f"{edge:.6g} mm", "to leave the die its dome")
    flange = 0.5 * (die.flange_diameter - die.diameter) - fillet
    if flange <= 0.0:
        least = die.diameter + 2.0 * fillet
        raise _no_die(
            "die.flange_diameter", f"{die.flange_diameter:.6g} mm", f"to exceed {least:.6g} mm"
        )
    parts += [
        ("dome", radius * (turn - angle), -1.0 / radius),
        ("edge", edge * (HALF_PI - a - turn), -1.0 / edge),
        ("side", side - fillet, 0.0),
        ("fillet", die.fillet_radius * (HALF_PI - a), 1.0 / die.fillet_radius),
        ("flange", flange, 0.0),
    ]
    return _follow(r, z, 0.0, parts)


def _no_die(field: str, value: str, need: str) -> InputError:
    return InputError(f"{field} is {value}; it has {need}", field, value, need)


def clamp_chain(clamp: Clamp, punch: Punch, gauge: float) -> tuple[Segment, ...]:
    """The ring from its bore over its cone to its outside, touching sheet of a gauge that lies on
    the punch's cone (at the inner edge where the angles differ).  Only its height is free."""
    edge, up = clamp.edge_radius, HALF_PI - clamp.angle
    inner, outer = 0.5 * clamp.inner_diameter, 0.5 * clamp.outer_diameter
    start = inner + edge * (1.0 - math.sin(up))  # where the cone starts
    width = outer - start - edge * (1.0 + math.sin(up))
    cone = max(width, 0.0) / math.cos(up)
    slope = HALF_PI - punch.leg_angle
    corner = 0.5 * (punch.nose_diameter + punch.land)
    # the sheet's lower face in line with the punch's cone
    z = (start - corner) * math.tan(slope)
    z += punch.nose_radius * (1.0 - 1.0 / math.cos(slope)) - gauge / math.cos(slope)
    return _follow(
        inner,
        z - edge * math.cos(up) - 5.0,
        HALF_PI,
        [
            ("bore", 5.0, 0.0),
            ("edge", edge * (HALF_PI - up), -1.0 / edge),
            ("cone", cone, 0.0),
            ("edge", edge * (HALF_PI + up), -1.0 / edge),
            ("outside", 5.0, 0.0),
        ],
    )


def blank_chain(punch: Punch, blank: Blank) -> Meridian:
    """The mid-surface of the blank on the punch, as if it had the bottom's gauge throughout."""
    half = 0.5 * blank.gauge
    nose, heel = punch.nose_radius + half, punch.heel_radius + half
    segments = _follow(
        0.0,
        -half,
        0.0,
        [
            ("flat", 0.5 * (punch.nose_diameter + punch.land), 0.0),
            ("nose", nose * (HALF_PI - punch.leg_angle), 1.0 / nose),
            ("outer_leg", punch_leg(punch), 0.0),
            ("heel", heel * punch.leg_angle, 1.0 / heel),
            ("sidewall", blank.wall_height, 0.0),
        ],
    )
    return Meridian(segments)


def blank_thickness(punch: Punch, blank: Blank, s: ArrayLike) -> tuple[Floats, Floats]:
    """Thickness of the blank at arc lengths s, and its slope along s."""
    first, last = blank_chain(punch, blank).span("heel")
    start = 0.5 * (first + last) + blank.transition_start
    share = (np.asarray(s, dtype=float) - start) / blank.transition_length
    step = blank.wall_gauge - blank.gauge
    bend = np.where((share > 0.0) & (share < 1.0), np.sin(np.pi * share), 0.0)
    slope = step * 0.5 * np.pi / blank.transition_length * bend
    return blank.gauge + step * cosine_step(share), slope
