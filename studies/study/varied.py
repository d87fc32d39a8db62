"""The quantities that a study may vary, and the bottom at a point.

Every plain dimension, gauge or metal value of a profile file may be varied by its own name; it
alone changes then, and the straight legs take up the difference.  Two more names say how dome
depth is lost, as a loss in mm (negative: a gain):

die_set_back : the dome sits lower as a whole, the radius of the die kept; the inner leg gets
    shorter by what that takes.
springback : the dome flattens at a fixed edge: the edge circle of the dome stays where it is
    and the radius of the dome grows to R = (a^2 + h^2) / (2 h), a the radius of the edge circle
    and h the height of the dome centre above it (any geometry text: circle through three
    points).  The junction with the shoulder slides a little along both: 0.04 mm in radius for
    0.3 mm of loss.

nose_radius holds the stand diameter, so that the inner leg moves; nose_radius_die_held and
nose_radius_punch_held hold the inner leg by the face that lies on the die or on the punch
(profiles/files/as_drawn.py), so that the stand diameter moves.

A loss is applied after all other changes, to the bottom without loss.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from domemargin.profiles import InputError, Profile, parse_quantity
from domemargin.profiles.errors import brief
from domemargin.profiles.files.as_drawn import inner_leg_diameter, stand_for_leg
from domemargin.profiles.limits import LIMITS, Limit, allowed_range, shown, unknown_name
from domemargin.profiles.quantities import parse_leg_angle
from domemargin.profiles.shape.shape import mid_radius

DIE_SET_BACK, SPRINGBACK = "die_set_back", "springback"
DEPTH_RULES = (DIE_SET_BACK, SPRINGBACK)
# the nose radius with the inner leg held by one of its faces
HELD = {"nose_radius_die_held": "die", "nose_radius_punch_held": "punch"}
_LOSS = Limit("length", -5.0, 20.0)
_FIXED = ("shape.dome_break_diameter", "material.density")
_SUFFIX = {"length": "mm", "angle": "deg", "stress": "mpa", "number": ""}


class Known(NamedTuple):
    """A quantity that can be varied: its range in internal units and its key in LIMITS."""

    limit: Limit
    key: str | None


VARIABLE: dict[str, Known] = {
    **{
        key.split(".", 1)[1]: Known(limit, key)
        for key, limit in LIMITS.items()
        if key.count(".") == 1 and key.split(".")[0] in ("shape", "sheet", "material")
        if key not in _FIXED
    },
    **{name: Known(_LOSS, None) for name in DEPTH_RULES},
    **{name: Known(LIMITS["shape.nose_radius"], None) for name in HELD},
}


def kind_of(name: str) -> str:
    """ "length", "angle", "stress" or "number"."""
    return VARIABLE[name].limit.kind


def column_of(name: str) -> str:
    """The name of a quantity's column in tables: with its unit, such as dome_depth_mm."""
    suffix = _SUFFIX[kind_of(name)]
    return f"{name}_{suffix}" if suffix else name


def title_of(name: str) -> str:
    """A quantity in plain words with its unit, for axes and headings."""
    words = {
        DIE_SET_BACK: "depth lost, die set back",
        SPRINGBACK: "depth lost, springback",
        "bottom_gauge": "gauge",
        "nose_radius_die_held": "nose radius, leg held on the die side",
        "nose_radius_punch_held": "nose radius, leg held on the punch side",
    }.get(name, name.replace("_", " "))
    unit = {"length": "mm", "angle": "deg", "stress": "MPa", "number": "-"}[kind_of(name)]
    return f"{words} ({unit})"


def parse_value(name: str, value: object, field: str) -> float:
    """A value of a study file in internal units.  Raises InputError that names the field."""
    kind = kind_of(name)
    if kind == "number":
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(
                f"{field} is {brief(value)}; it must be a plain number",
                field,
                brief(value),
                "a number",
            )
        try:
            number = float(value)
        except OverflowError:
            number = float("inf")
    elif name.endswith("leg_angle"):
        number = parse_leg_angle(value, field)
    else:
        number = parse_quantity(value, kind, field)
    check_value(name, number, field)
    return number


def check_value(name: str, number: float, field: str) -> None:
    """Reject a number (internal units) out of the quantity's range.  Raises InputError."""
    known = VARIABLE[name]
    kind, low, high = known.limit
    if not low <= number <= high:
        if known.key:
            allowed = allowed_range(known.key)
        else:
            allowed = f"{shown(low, kind).split(' ')[0]} to {shown(high, kind)}"
        raise InputError(
            f"{field} is {shown(number, kind)}; it must be {allowed}",
            field,
            shown(number, kind),
            allowed,
        )


def check_name(name: str, base: Profile, field: str) -> None:
    """Reject a quantity that does not exist or that the base profile does not have."""
    if name not in VARIABLE:
        raise unknown_name(field, VARIABLE)
    owner = (VARIABLE[name].key or "").split(".")[0]
    several = len(base.shape.dome_radii) > 1
    if several and name in ("dome_radius", SPRINGBACK):
        raise InputError(
            f"{field} cannot be varied for a dome of {len(base.shape.dome_radii)} radii; "
            "it must be a dome of one radius",
            field,
        )
    if name == "bottom_gauge" and base.along is not None and base.along.gauge is not None:
        raise InputError(
            f"{field} has no effect on a profile whose gauge is given along the meridian", field
        )
    if owner == "material" and getattr(base.material, name) is None:
        raise InputError(f"{field} cannot be varied: profile {brief(base.name)} has none", field)


def value_in(base: Profile, name: str) -> float:
    """The value a profile has of a quantity, internal units; no loss of depth in the base."""
    if name in DEPTH_RULES:
        return 0.0
    if name in HELD:
        return base.shape.nose_radius
    for part in (base.shape, base.sheet, base.material):
        if hasattr(part, name):
            return float(getattr(part, name))
    raise unknown_name(name, VARIABLE)


def bottom_at(base: Profile, point: Mapping[str, float]) -> Profile:
    """The bottom at a point of a study.

    point : quantity -> value, internal units (mm, radians, MPa).
    Raises InputError or ShapeError where the dimensions do not make a bottom.
    """
    changes: dict[str, Any] = {k: v for k, v in point.items() if k not in (*DEPTH_RULES, *HELD)}
    held = next((name for name in HELD if name in point), None)
    if held is not None:
        changes |= _leg_held(base, held, point[held], changes)
    bottom = base.replaced(**changes) if changes else base
    back = point.get(DIE_SET_BACK, 0.0)
    if back != 0.0:
        bottom = bottom.replaced(dome_depth=bottom.shape.dome_depth - back)
    loss = point.get(SPRINGBACK, 0.0)
    return _flattened(bottom, loss) if loss != 0.0 else bottom


def _leg_held(base: Profile, name: str, radius: float, changes: dict[str, Any]) -> dict[str, float]:
    """Nose radius and the stand diameter that leaves the inner leg where the base has it."""
    side = HELD[name]
    others = [n for n in (*HELD, "nose_radius", "stand_diameter") if n in changes]
    if others:
        raise InputError(f"{name} cannot be varied beside {others[0]}; leave one out", name)
    shape_fields, sheet_fields = vars(base.shape), vars(base.sheet)
    shape = replace(
        base.shape, nose_radius=radius, **{k: v for k, v in changes.items() if k in shape_fields}
    )
    sheet = replace(base.sheet, **{k: v for k, v in changes.items() if k in sheet_fields})
    leg = inner_leg_diameter(base.shape, base.sheet, side)
    return {"nose_radius": radius, "stand_diameter": stand_for_leg(shape, sheet, side, leg)}


def _flattened(bottom: Profile, loss: float) -> Profile:
    """The dome lower by loss at its centre, its edge circle where it was."""
    shape, gauge = bottom.shape, bottom.sheet.bottom_gauge
    segment = next(s for s in bottom.meridian.segments if s.part == "dome")
    edge = segment.at(segment.length)
    # the mid surface of the dome centre lies half a gauge above the outside
    height = shape.dome_depth + 0.5 * gauge - float(edge.z) - loss
    if height <= 0.0:
        raise InputError(
            f"springback is {loss:.4g} mm; it must be less than the dome's height over its edge, "
            f"{height + loss:.4g} mm",
            "springback",
            f"{loss:.4g} mm",
            f"less than {height + loss:.4g} mm",
        )
    mid = (float(edge.r) ** 2 + height**2) / (2.0 * height)
    offset = mid_radius(0.0, shape.radii_on, True, gauge)  # mid = given + offset
    return bottom.replaced(dome_depth=shape.dome_depth - loss, dome_radius=mid - offset)
