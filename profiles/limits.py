"""The range each dimension may take, in one place.

The ranges are wide on purpose: they reject slips (a wrong unit, a lost decimal point), not
unusual bottoms.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from difflib import get_close_matches
from typing import NamedTuple

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.material import Material


class Limit(NamedTuple):
    """Allowed range of one field, ends included.

    kind : "length", "angle", "stress", "density", "temperature" or "number".
    low, high : in internal units (mm, radians, MPa, g/cm3, degrees Celsius).
    """

    kind: str
    low: float
    high: float


SHOWN_UNIT = {
    "length": "mm",
    "angle": "deg",
    "stress": "MPa",
    "density": "g/cm3",
    "force": "N",
    "stiffness": "N/mm",
    "temperature": "degC",
    "number": "",
}

_DEG = math.pi / 180.0

LIMITS: dict[str, Limit] = {
    "shape.stand_diameter": Limit("length", 10.0, 150.0),
    "shape.dome_depth": Limit("length", 0.5, 60.0),
    "shape.dome_radius": Limit("length", 5.0, 500.0),
    "shape.dome_break_diameter": Limit("length", 0.5, 150.0),
    "shape.shoulder_radius": Limit("length", 0.1, 20.0),
    "shape.inner_leg_angle": Limit("angle", -30.0 * _DEG, 60.0 * _DEG),
    "shape.nose_radius": Limit("length", 0.1, 20.0),
    "shape.outer_leg_angle": Limit("angle", 10.0 * _DEG, 88.0 * _DEG),
    "shape.heel_radius": Limit("length", 0.1, 40.0),
    "shape.body_diameter": Limit("length", 20.0, 200.0),
    "shape.wall_height": Limit("length", 1.0, 300.0),
    "sheet.bottom_gauge": Limit("length", 0.05, 2.0),
    "sheet.wall_gauge": Limit("length", 0.03, 2.0),
    "sheet.transition_length": Limit("length", 0.1, 100.0),
    "sheet.transition_start": Limit("length", -20.0, 100.0),
    "material.elastic_modulus": Limit("stress", 1e3, 1e6),
    "material.poisson_ratio": Limit("number", 0.0, 0.49),
    "material.yield_strength": Limit("stress", 1.0, 3000.0),
    "material.kinematic_share": Limit("number", 0.0, 1.0),
    "material.back_stress.saturation": Limit("stress", 0.0, 3000.0),
    "material.back_stress.rate": Limit("number", 0.01, 1000.0),
    "material.r_value": Limit("number", 0.2, 3.0),
    "material.temperature": Limit("temperature", 0.0, 120.0),
    "material.bake": Limit("temperature", 20.0, 220.0),
    "material.density": Limit("density", 0.5, 25.0),
    "material.hardening.modulus": Limit("stress", 0.0, 1e5),
    "material.hardening.saturation": Limit("stress", 0.0, 3000.0),
    "material.hardening.rate": Limit("number", 0.01, 1000.0),
    "material.hardening.reference_strain": Limit("number", 1e-6, 1.0),
    "material.hardening.exponent": Limit("number", 0.0, 1.0),
    "material.hardening.plastic_strain": Limit("number", 0.0, 10.0),
    "material.hardening.stress": Limit("stress", 1.0, 3000.0),
    "zone.from": Limit("length", 0.0, 1000.0),
    "zone.to": Limit("length", 0.0, 1000.0),
    "zone.gauge": Limit("length", 0.03, 2.0),
    "zone.gauge_factor": Limit("number", 0.2, 3.0),
    "zone.prior_strain": Limit("number", 0.0, 3.0),
    "zone.yield_strength": Limit("stress", 1.0, 3000.0),
    "zone.blend": Limit("length", 0.0, 20.0),
    "along.arc_length": Limit("length", 0.0, 1000.0),
    "along.gauge": Limit("length", 0.03, 2.0),
    "along.prior_strain": Limit("number", 0.0, 3.0),
    "along.yield_strength": Limit("stress", 1.0, 3000.0),
    "along.offset": Limit("length", -2.0, 2.0),
    "around.dome_tilt": Limit("angle", -5.0 * _DEG, 5.0 * _DEG),
    "around.dome_offset": Limit("length", -2.0, 2.0),
    "around.offset_angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.ovality": Limit("length", -2.0, 2.0),
    "around.ovality_angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.gauge_difference": Limit("number", -0.5, 0.5),
    "around.gauge_angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.yield_difference": Limit("number", -0.5, 0.5),
    "around.yield_angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.wave.waves": Limit("number", 0, 20),
    "around.wave.height": Limit("length", -1.0, 1.0),
    "around.wave.angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.dent.depth": Limit("length", -2.0, 2.0),
    "around.dent.width": Limit("length", 1.0, 50.0),
    "around.dent.radius": Limit("length", 0.0, 100.0),
    "around.dent.angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.scan.arc_length": Limit("length", 0.0, 1000.0),
    "around.scan.angle": Limit("angle", -360.0 * _DEG, 360.0 * _DEG),
    "around.scan.offset": Limit("length", -2.0, 2.0),
    "formed.arc_length": Limit("length", 0.0, 1000.0),
    "formed.place": Limit("number", -1.0, 1.0),
    "formed.plastic_strain": Limit("number", 0.0, 10.0),
    "formed.yield_factor": Limit("number", 0.1, 10.0),
    "formed.back_meridian": Limit("stress", -3000.0, 3000.0),
    "formed.back_hoop": Limit("stress", -3000.0, 3000.0),
    "formed.stress_meridian": Limit("stress", -3000.0, 3000.0),
    "formed.stress_hoop": Limit("stress", -3000.0, 3000.0),
    "punch.nose_radius": Limit("length", 0.2, 10.0),
    "punch.nose_diameter": Limit("length", 10.0, 150.0),
    "punch.land": Limit("length", 0.0, 5.0),
    "punch.leg_angle": Limit("angle", 10.0 * _DEG, 88.0 * _DEG),
    "punch.heel_radius": Limit("length", 0.3, 40.0),
    "punch.body_diameter": Limit("length", 20.0, 200.0),
    "die.dome_radius": Limit("length", 5.0, 500.0),
    "die.dome_break_diameter": Limit("length", 0.5, 150.0),
    "die.edge_radius": Limit("length", 0.2, 20.0),
    "die.diameter": Limit("length", 8.0, 150.0),
    "die.side_angle": Limit("angle", 0.0, 45.0 * _DEG),
    "die.fillet_radius": Limit("length", 0.05, 5.0),
    "die.flange_height": Limit("length", 0.5, 60.0),
    "die.flange_diameter": Limit("length", 10.0, 160.0),
    "clamp.inner_diameter": Limit("length", 10.0, 200.0),
    "clamp.outer_diameter": Limit("length", 10.0, 200.0),
    "clamp.edge_radius": Limit("length", 0.05, 10.0),
    "clamp.angle": Limit("angle", 2.0 * _DEG, 80.0 * _DEG),
    "clamp.force": Limit("force", 0.0, 1e5),
    "spring.preload": Limit("force", 1.0, 1e6),
    "spring.rate": Limit("stiffness", 0.0, 1e6),
    "spring.travel": Limit("length", 0.0, 50.0),
    "spring.force": Limit("force", 1.0, 1e6),
    "station.set": Limit("length", -20.0, 20.0),
    "friction.punch": Limit("number", 0.0, 0.5),
    "friction.die": Limit("number", 0.0, 0.5),
    "friction.clamp": Limit("number", 0.0, 0.5),
    "blank.gauge": Limit("length", 0.05, 2.0),
    "blank.wall_gauge": Limit("length", 0.03, 2.0),
    "blank.transition_start": Limit("length", -20.0, 100.0),
    "blank.transition_length": Limit("length", 0.1, 100.0),
    "blank.wall_height": Limit("length", 1.0, 300.0),
    "blank.wall_grip": Limit("force", 0.0, 1e5),
    "blank.prior_strain": Limit("number", 0.0, 3.0),
    "misaligned.tilt": Limit("angle", 0.0, 2.0 * _DEG),
    "misaligned.offset": Limit("length", 0.0, 2.0),
    "marks.width": Limit("length", 0.1, 10.0),
    "marks.height": Limit("length", 0.005, 2.0),
    "marks.diameter": Limit("length", 1.0, 100.0),
    "marks.counter_diameter": Limit("length", 0.0, 100.0),
    "forming_limit.thinning": Limit("number", 0.01, 0.9),
}


def shown(value: float, kind: str, digits: int = 6) -> str:
    """A value in internal units as text with the unit people read (mm, deg, MPa, g/cm3)."""
    try:
        number = math.degrees(value) if kind == "angle" else float(value)
    except OverflowError:  # a whole number beyond all floats
        number = math.inf if value > 0 else -math.inf
    return f"{number:.{digits}g} {SHOWN_UNIT[kind]}".rstrip()


def allowed_range(key: str) -> str:
    """The allowed range of a field as text, such as "0.05 to 2 mm"."""
    kind, low, high = LIMITS[key]
    return f"{shown(low, kind).split(' ')[0]} to {shown(high, kind)}"


def check(key: str, value: float, field: str | None = None) -> None:
    """Reject a value (internal units) outside the range of LIMITS[key], also nan and infinity.

    field : the name to use in the message if it is not key (such as "zone[2].gauge").
    Raises InputError.
    """
    kind, low, high = LIMITS[key]
    try:
        good = low <= value <= high
    except TypeError:
        raise InputError(
            f"{field or key} is {brief(value)}; it must be a number, {allowed_range(key)}",
            field or key,
            brief(value),
            allowed_range(key),
        ) from None
    if not good:
        raise InputError(
            f"{field or key} is {shown(value, kind)}; it must be {allowed_range(key)}",
            field or key,
            shown(value, kind),
            allowed_range(key),
        )


def check_material(material: Material) -> None:
    """Reject a back stress beside a share, out of range, or larger than the metal can have.

    Raises InputError.
    """
    back = material.back_stress
    if back is None:
        return
    field = "material.back_stress"
    check(f"{field}.saturation", back.saturation)
    check(f"{field}.rate", back.rate)
    if material.kinematic_share > 0.0:
        raise InputError(
            f"{field} is given beside kinematic_share {material.kinematic_share:g}; "
            "give one of the two",
            field, "given", "absent beside kinematic_share",
        )  # fmt: skip
    most = 0.8 * (material.yield_strength or 0.0)
    if back.saturation > most:
        given, allowed = shown(back.saturation, "stress"), f"0 to {shown(most, 'stress')}"
        raise InputError(
            f"{field}.saturation is {given}; it must be {allowed}, four fifths of yield_strength",
            f"{field}.saturation", given, allowed,
        )  # fmt: skip


def unknown_name(field: str, known: Iterable[str]) -> InputError:
    """The error for a name that does not exist, naming the closest one that does.

    field : dotted; its last part is the unknown name.
    """
    name = field.rsplit(".", 1)[-1][:100]
    field = field if len(field) <= 100 else f"{field[:97]}..."
    known = sorted(known)
    close = get_close_matches(name, known, n=1, cutoff=0.5)
    shown_names = ", ".join(known)
    if len(shown_names) > 200:
        shown_names = f"{shown_names[:200].rsplit(', ', 1)[0]} and others"
    hint = f"did you mean {close[0]}?" if close else f"known here: {shown_names}"
    return InputError(f"{field} is not known; {hint}", field, name, ", ".join(known))
