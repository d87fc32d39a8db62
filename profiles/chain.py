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

from profiles.meridian import Meridian, Segment
from profiles.shape import Shape, Sheet, mid_radius

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
    suspects : the quantities that may be at fault, the likeliest first.
    """

    consequence: str
    suspects: tuple[str, ...]


def solve(shape: Shape, sheet: Sheet) -> Chain | Failure:
    """Solve the chain of a bottom, or say why it does not close.

    The nose arc is lowest at the stand circle, half a bottom gauge above the stand plane.
    """
    t = sheet.bottom_gauge
    on = shape.radii_on
    domes = [mid_radius(radius, on, True, t) for radius in shape.dome_radii]
    rs = mid_radius(shape.shoulder_radius, on, True, t)
    rn = mid_radius(shape.nose_radius, on, False, t)
    rh = mid_radius(shape.heel_radius, on, False, t)
    thickest = max(t, sheet.wall_gauge)  # the transition may begin in the heel
    for name, radius, gauge in (
        ("dome_radius", min(domes), t),
        ("shoulder_radius", rs, t),
        ("nose_radius", rn, t),
        ("heel_radius", rh, thickest),
    ):
        if radius - 0.5 * gauge <= 0.0:
            left = f"{radius - 0.5 * gauge:.3g} mm on its tighter surface at {gauge:.4g} mm gauge"
            return Failure(f"leaves a radius of {left}", (name, "bottom_gauge"))
    if rs >= domes[-1]:
        text = f"leaves the shoulder ({rs:.4g} mm) no tighter than the dome ({domes[-1]:.4g} mm)"
        return Failure(text, ("shoulder_radius", "dome_radius"))

    # dome zones: each centre lies on the normal through the junction with the zone before
    apex = shape.dome_depth + 0.5 * t
    cr, cz = 0.0, apex - domes[0]
    angles = [0.0]
    segments = []
    r, z = 0.0, apex
    for i, diameter in enumerate(shape.dome_break_diameter):
        sine = (0.5 * diameter - cr) / shape.dome_radii[i]
        angle = math.asin(sine) if -1.0 < sine < 1.0 else HALF_PI
        if not angles[-1] < angle < HALF_PI:
            text = f"cannot lie on zone {i + 1} of the dome"
            return Failure(text, ("dome_break_diameter", "dome_radius"))
        here, after = domes[i], domes[i + 1]
        segments.append(
            Segment("dome", r, z, -angles[-1], here * (angle - angles[-1]), -1.0 / here)
        )
        r, z = cr + here * math.sin(angle), cz + here * math.cos(angle)
        cr += (here - after) * math.sin(angle)
        cz += (here - after) * math.cos(angle)
        angles.append(angle)
    rd = domes[-1]

    a, b = shape.inner_leg_angle, shape.outer_leg_angle
    sin_a, cos_a, sin_b, cos_b = math.sin(a), math.cos(a), math.sin(b), math.cos(b)
    stand = 0.5 * shape.stand_diameter
    nose_z = 0.5 * t + rn
    vr = stand - (rs + rn) * cos_a - cr
    vz = nose_z - (rs + rn) * sin_a - cz
    along = vr * sin_a - vz * cos_a
    across = vr * cos_a + vz * sin_a
    # (rd - rs)^2 - across^2, factored so that near-tangent cases keep their digits
    square = (rd - rs - across) * (rd - rs + across)
    if square < 0.0:
        text = f"leaves the inner leg {abs(across) - (rd - rs):.3g} mm out of the dome's reach"
        return Failure(
            text, ("dome_radius", "stand_diameter", "inner_leg_angle", "shoulder_radius")
        )
    leg = along + math.sqrt(square)
    if leg < 0.0:
        return Failure(
            f"leaves the inner leg {leg:.3g} mm long",
            ("dome_depth", "dome_radius", "inner_leg_angle", "shoulder_radius", "nose_radius"),
        )
    cs_r, cs_z = cr + vr - leg * sin_a, cz + vz + leg * cos_a
    edge = math.atan2(cs_r - cr, cs_z - cz)
    if edge <= angles[-1]:
        if len(domes) > 1:
            text = "lies beyond the dome edge"
            return Failure(text, ("dome_break_diameter", "dome_radius", "dome_depth"))
        return Failure(
            "lets the shoulder overrun the dome",
            ("shoulder_radius", "stand_diameter", "inner_leg_angle", "dome_depth"),
        )

    wall = mid_radius(0.5 * shape.body_diameter, on, False, sheet.wall_gauge)
    nose_end = stand + rn * cos_b
    heel_start = wall - rh * (1.0 - cos_b)
    outer = (heel_start - nose_end) / sin_b
    if outer < 0.0:
        return Failure(
            f"leaves the outer leg {outer:.3g} mm long",
            ("heel_radius", "outer_leg_angle", "stand_diameter", "body_diameter"),
        )
    # only an inner leg that leans outward on its way up can bring the shoulder to the outer leg
    gap = (cs_r - stand) * -cos_b + (cs_z - nose_z) * sin_b + rn - rs - t
    if a < 0.0 and min(gap, wall - cs_r - rs - t) < 0.0:
        return Failure(
            "lets the shoulder touch the outer leg or the wall",
            ("inner_leg_angle", "outer_leg_angle", "dome_depth"),
        )

    start = HALF_PI - a
    outer_z = nose_z - rn * sin_b
    heel_z = outer_z + outer * cos_b
    top = heel_z + rh * sin_b
    edge_r, edge_z = cr + rd * math.sin(edge), cz + rd * math.cos(edge)
    segments += [
        Segment("dome", r, z, -angles[-1], rd * (edge - angles[-1]), -1.0 / rd),
        Segment("shoulder", edge_r, edge_z, -edge, rs * (start - edge), -1.0 / rs),
        Segment("inner_leg", cs_r + rs * cos_a, cs_z + rs * sin_a, -start, leg, 0.0),
        Segment(
            "nose", stand - rn * cos_a, nose_z - rn * sin_a, -start, rn * (math.pi - a - b), 1 / rn
        ),
        Segment("outer_leg", nose_end, outer_z, HALF_PI - b, outer, 0.0),
        Segment("heel", heel_start, heel_z, HALF_PI - b, rh * b, 1.0 / rh),
        Segment("sidewall", wall, top, HALF_PI, shape.wall_height, 0.0),
    ]
    return Chain(tuple(segments), 2.0 * edge_r, edge, leg, outer, top)
