"""Dimensions as drawings give them, to those of a Shape.

    [shape]
    inner_leg_diameter = "43.7 mm"   # in place of stand_diameter: where a face of the inner leg,
                                     # drawn on, meets the stand plane
    inner_leg_side = "die"           # the face: die (towards the axis, if left out) or punch
    dome_depth_from = "1.2 mm"       # height over the stand plane of the datum of dome_depth
    dome_depth_on = "inside"         # dome_depth goes up to the inside surface
    nose_radius_on = "inside"        # surface of one radius, where it is not radii_on's; so too
                                     # dome_, shoulder_, heel_radius_on and body_diameter_on

Leg angles may be written "28 deg from horizontal".  A file written anew states Shape's dimensions.
"""

from __future__ import annotations

import math
from typing import Any

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.limits import allowed_range
from domemargin.profiles.shape.shape import SURFACES, Shape, Sheet, mid_radius

# the parts that bulge into the can, and those that do not (shape.mid_radius)
_CONVEX = {
    "dome_radius": True, "shoulder_radius": True, "nose_radius": False, "heel_radius": False,
    "body_diameter": False,
}  # fmt: skip
SIDES = {"die": "outside", "punch": "inside"}


def inner_leg_diameter(shape: Shape, sheet: Sheet, side: str) -> float:
    """Where a face of the inner leg, drawn on straight, meets the stand plane: its diameter, mm.

    side : "die" (the outside surface) or "punch" (the inside surface).
    With a the angle of the leg, R the nose radius on the mid surface and h the face's height over
    it, the face touches the nose arc at r = stand / 2 - (R - h) cos a, z = t / 2 + R - (R - h)
    sin a, and goes on outward by z tan a down to the plane.
    """
    return shape.stand_diameter - _inset(shape, sheet, side)


def _inset(shape: Shape, sheet: Sheet, side: str) -> float:
    """What the stand diameter is larger than inner_leg_diameter."""
    t, a = sheet.bottom_gauge, shape.inner_leg_angle
    nose = mid_radius(shape.nose_radius, shape.radii_on, False, t)
    arc = nose + (0.5 * t if SIDES[side] == "outside" else -0.5 * t)
    z = 0.5 * t + nose - arc * math.sin(a)
    return 2.0 * (arc * math.cos(a) - z * math.tan(a))


def stand_for_leg(shape: Shape, sheet: Sheet, side: str, diameter: float) -> float:
    """The stand diameter with which the inner leg lies at inner_leg_diameter, mm."""
    return diameter + _inset(shape, sheet, side)


def as_shape(given: dict[str, Any], sheet: Sheet) -> Shape:
    """The Shape of a checked [shape] table.  Raises InputError."""
    values = dict(given)
    values["dome_break_diameter"] = tuple(values["dome_break_diameter"])
    leg, side = values.pop("inner_leg_diameter"), values.pop("inner_leg_side")
    datum, depth_on = values.pop("dome_depth_from"), values.pop("dome_depth_on")
    surfaces = {name: values.pop(f"{name}_on") for name in _CONVEX}
    gauge = sheet.bottom_gauge
    if values["radii_on"] in SURFACES:
        for name, surface in surfaces.items():
            if surface is not None:
                _check_surface(f"{name}_on", surface)
                values[name] = _moved(values[name], name, surface, values["radii_on"], sheet)
    if depth_on is not None:
        _check_surface("dome_depth_on", depth_on)
        values["dome_depth"] -= {"outside": 0.0, "mid": 0.5 * gauge, "inside": gauge}[depth_on]
    values["dome_depth"] += datum
    stand = values["stand_diameter"]
    if stand is None and leg is None:
        allowed = allowed_range("shape.stand_diameter")
        raise InputError(
            f"shape.stand_diameter is missing; it must be {allowed}, or inner_leg_diameter given",
            "shape.stand_diameter", "missing", allowed,
        )  # fmt: skip
    if stand is not None and leg is not None:
        raise InputError(
            "shape.inner_leg_diameter is given beside stand_diameter; give one of the two",
            "shape.inner_leg_diameter", "given", "absent beside stand_diameter",
        )  # fmt: skip
    if side is not None and side not in SIDES:
        raise InputError(
            f"shape.inner_leg_side is {brief(side)}; it must be die or punch",
            "shape.inner_leg_side", brief(side), "die or punch",
        )  # fmt: skip
    if leg is None:
        return Shape(**values)
    # the inset does not depend on the stand diameter
    start = Shape(**{**values, "stand_diameter": min(leg, 0.9 * values["body_diameter"])})
    stand = stand_for_leg(start, sheet, side or "die", leg)
    return Shape(**{**values, "stand_diameter": stand})


def _check_surface(name: str, surface: str) -> None:
    if surface not in SURFACES:
        allowed = "inside, mid or outside"
        raise InputError(
            f"shape.{name} is {brief(surface)}; it must be {allowed}",
            f"shape.{name}", brief(surface), allowed,
        )  # fmt: skip


def _moved(value: Any, name: str, surface: str, to: str, sheet: Sheet) -> Any:
    """A radius or diameter given on one surface as it is on another."""
    if isinstance(value, tuple):
        return tuple(_moved(entry, name, surface, to, sheet) for entry in value)
    factor = 2.0 if name == "body_diameter" else 1.0
    gauge = sheet.wall_gauge if name == "body_diameter" else sheet.bottom_gauge
    convex = _CONVEX[name]
    mid = mid_radius(value / factor, surface, convex, gauge)
    return factor * (mid - mid_radius(0.0, to, convex, gauge))
