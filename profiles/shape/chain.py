"""The tangent chain of a bottom on its mid surface, solved in closed form.

With a and b the inner and outer leg angles from vertical, n = (cos a, sin a) the inside
normal of the inner leg and d = (sin a, -cos a) its direction going down, the shoulder centre
lies at

    C_s = C_n - (R_s + R_n) n - L d

(C_n nose centre, L leg length) and, the shoulder touching the dome from within, at the
distance R_d - R_s from the centre C_d of the outermost dome zone.  That is a quadratic in L;
its larger root is the one with the shoulder above the dome centre as seen along the leg.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from domemargin.profiles.shape.meridian import Meridian, Segment
from domemargin.profiles.shape.shape import Shape, Sheet, mid_radius

HALF_PI = 0.5 * math.pi


@dataclass(frozen=True)
class Chain:
    """A solved chain.  Lengths in mm on the mid surface, angles in radians.

    segments : dome zones, shoulder, inner leg, nose, outer leg, heel, sidewall.
    dome_edge_diameter : where the dome meets the shoulder.
    dome_edge_angle : slope of the dome there, from horizontal.
    inner_leg_length, outer_leg_length : of the straight legs.
    heel_height : height of the end of the heel above the stand plane.
    """

    segments: tuple[Segment, ...]
    dome_edge_diameter: float
    dome_edge_angle: float
    inner_leg_length: float
    outer_leg_length: float
    heel_height: float

    @property
    def meridian(self) -> Meridian:
        """The chain as a line by arc length."""
        return Meridian(self.segments)


class Failure(NamedTuple):
    """Why a chain does not close.

    consequence : continues the sentence "<quantity> <value> ...".
    suspects : the quantities that may be wrong, the likeliest first.
    """

    consequence: str
    suspects: tuple[str, ...]


class _Radii(NamedTuple):
    """Radii on the mid surface, mm."""

    domes: tuple[float, ...]
    shoulder: float
    nose: float
    heel: float
    body: float


class _Dome(NamedTuple):
    """The part of a dome that the rest of the chain needs: its outermost zone and those inside it.

    zones : the zones before the outermost.  r, z, angle : start of the outermost zone, mm, and
    the slope there.  centre_r, centre_z, radius : of the outermost zone, mm.
    """

    zones: tuple[Segment, ...]
    r: float
    z: float
    angle: float
    centre_r: float
    centre_z: float
    radius: float


def solve(shape: Shape, sheet: Sheet) -> Chain | Failure:
    """Solve the chain of a bottom, or say why it does not close.

    The nose arc is lowest at the stand circle, half a bottom gauge above the stand plane.
    """
    radii = _mid_radii(shape, sheet)
    if isinstance(radii, Failure):
        return radii
    dome = _dome(shape, sheet, radii)
    if isinstance(dome, Failure):
        return dome
    rs, rn, rh, rd = radii.shoulder, radii.nose, radii.heel, dome.radius
    t, wall = sheet.bottom_gauge, radii.body
    a, b = shape.inner_leg_angle, shape.outer_leg_angle
    sin_a, cos_a, sin_b, cos_b = math.sin(a), math.cos(a), math.sin(b), math.cos(b)
    stand, nose_z = 0.5 * shape.stand_diameter, 0.5 * t + rn

    # C_n - (R_s + R_n) n - C_d, resolved along the leg and across it
    vr = stand - (rs + rn) * cos_a - dome.centre_r
    vz = nose_z - (rs + rn) * sin_a - dome.centre_z
    along, across = vr * sin_a - vz * cos_a, vr * cos_a + vz * sin_a
    # (R_d - R_s)^2 - across^2, factored so that near-tangent cases keep their digits
    square = (rd - rs - across) * (rd - rs + across)
    if square < 0.0:
        return Failure(
            f"leaves the inner leg {abs(across) - (rd - rs):.3g} mm out of the dome's reach",
            ("dome_radius", "stand_diameter", "inner_leg_angle", "shoulder_radius"),
        )
    leg = along + math.sqrt(square)
    if leg < 0.0:
        return Failure(
            f"leaves the inner leg {leg:.3g} mm long",
            ("dome_depth", "dome_radius", "inner_leg_angle", "shoulder_radius", "nose_radius"),
        )
    to_shoulder_r, to_shoulder_z = vr - leg * sin_a, vz + leg * cos_a
    edge = math.atan2(to_shoulder_r, to_shoulder_z)
    if edge <= dome.angle:
        if dome.zones:
            suspects = ("dome_break_diameter", "dome_radius", "dome_depth")
            return Failure("lies beyond the dome edge", suspects)
        return Failure(
            "lets the shoulder overrun the dome",
            ("shoulder_radius", "stand_diameter", "inner_leg_angle", "dome_depth"),
        )
    shoulder_r, shoulder_z = dome.centre_r + to_shoulder_r, dome.centre_z + to_shoulder_z

    nose_end, heel_start = stand + rn * cos_b, wall - rh * (1.0 - cos_b)
    outer = (heel_start - nose_end) / sin_b
    if outer < 0.0:
        return Failure(
            f"leaves the outer leg {outer:.3g} mm long",
            ("heel_radius", "outer_leg_angle", "stand_diameter", "body_diameter"),
        )
    # only an inner leg that leans outward on its way up can make the chain run into itself
    gap = (stand - shoulder_r) * cos_b + (shoulder_z - nose_z) * sin_b + rn - rs - t
    if a < 0.0 and min(gap, wall - shoulder_r - rs - t) < 0.0:
        return Failure(
            "lets the shoulder touch the outer leg or the wall",
            ("inner_leg_angle", "outer_leg_angle", "dome_depth"),
        )
    if a < 0.0 and stand - rn - 0.5 * t < 0.0:
        return Failure("lets the nose cross the axis", ("nose_radius", "stand_diameter"))

    down, up = a - HALF_PI, HALF_PI - b  # tangent angles of the legs
    edge_r, edge_z = dome.centre_r + rd * math.sin(edge), dome.centre_z + rd * math.cos(edge)
    leg_r, leg_z = shoulder_r + rs * cos_a, shoulder_z + rs * sin_a
    outer_z = nose_z - rn * sin_b
    heel_z = outer_z + outer * cos_b
    top = heel_z + rh * sin_b
    segments = (
        *dome.zones,
        Segment("dome", dome.r, dome.z, -dome.angle, rd * (edge - dome.angle), -1.0 / rd),
        Segment("shoulder", edge_r, edge_z, -edge, rs * (-down - edge), -1.0 / rs),
        Segment("inner_leg", leg_r, leg_z, down, leg, 0.0),
        Segment("nose", stand - rn * cos_a, nose_z - rn * sin_a, down, rn * (up - down), 1.0 / rn),
        Segment("outer_leg", nose_end, outer_z, up, outer, 0.0),
        Segment("heel", heel_start, heel_z, up, rh * b, 1.0 / rh),
        Segment("sidewall", wall, top, HALF_PI, shape.wall_height, 0.0),
    )
    return Chain(segments, 2.0 * edge_r, edge, leg, outer, top)


def _mid_radii(shape: Shape, sheet: Sheet) -> _Radii | Failure:
    """Radii on the mid surface; a failure where a radius would vanish on one of the surfaces."""
    t, on = sheet.bottom_gauge, shape.radii_on
    radii = _Radii(
        tuple(mid_radius(radius, on, True, t) for radius in shape.dome_radii),
        mid_radius(shape.shoulder_radius, on, True, t),
        mid_radius(shape.nose_radius, on, False, t),
        mid_radius(shape.heel_radius, on, False, t),
        mid_radius(0.5 * shape.body_diameter, on, False, sheet.wall_gauge),
    )
    for name, radius, gauge in (
        ("dome_radius", min(radii.domes), t),
        ("shoulder_radius", radii.shoulder, t),
        ("nose_radius", radii.nose, t),
        # the transition may begin in the heel
        ("heel_radius", radii.heel, max(t, sheet.wall_gauge)),
    ):
        if radius - 0.5 * gauge <= 0.0:
            left = f"{radius - 0.5 * gauge:.3g} mm on its tighter surface at {gauge:.4g} mm gauge"
            return Failure(f"leaves a radius of {left}", (name, "bottom_gauge"))
    if radii.shoulder >= radii.domes[-1]:
        return Failure(
            f"leaves the shoulder ({radii.shoulder:.4g} mm) no tighter than the dome "
            f"({radii.domes[-1]:.4g} mm)",
            ("shoulder_radius", "dome_radius"),
        )
    return radii


def _dome(shape: Shape, sheet: Sheet, radii: _Radii) -> _Dome | Failure:
    """The dome's zones: each centre lies on the normal through the junction with the one before.

    All surfaces share centres and normals, so a break diameter on any surface fixes the slope
    of the dome at the break.
    """
    r, z, angle = 0.0, shape.dome_depth + 0.5 * sheet.bottom_gauge, 0.0
    centre_r, centre_z = 0.0, z - radii.domes[0]
    zones = []
    for i, diameter in enumerate(shape.dome_break_diameter):
        here, after = radii.domes[i : i + 2]
        sine = (0.5 * diameter - centre_r) / shape.dome_radii[i]
        end = math.asin(sine) if -1.0 < sine < 1.0 else HALF_PI
        if not angle < end < HALF_PI:
            return Failure(
                f"cannot lie on zone {i + 1} of the dome", ("dome_break_diameter", "dome_radius")
            )
        zones.append(Segment("dome", r, z, -angle, here * (end - angle), -1.0 / here))
        r, z, angle = centre_r + here * math.sin(end), centre_z + here * math.cos(end), end
        centre_r += (here - after) * math.sin(end)
        centre_z += (here - after) * math.cos(end)
    return _Dome(tuple(zones), r, z, angle, centre_r, centre_z, radii.domes[-1])
