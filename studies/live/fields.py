"""The inputs of a bottom as fields of a page: label, unit, range of the slider, text and value.

Plain functions, no page: what a person types is read here and rejected in one sentence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from domemargin.fea.bottom.slopes import Input, inputs_of, moved
from domemargin.profiles import InputError, Profile, parse_quantity
from domemargin.profiles.errors import brief
from domemargin.profiles.limits import SHOWN_UNIT

GROUPS = {"shape": "Shape", "sheet": "Gauges", "metal": "Metal"}
_SHEET = ("bottom_gauge", "wall_gauge", "transition_length", "transition_start")
_METAL = ("elastic_modulus", "poisson_ratio", "yield_strength", "kinematic_share")
# half the width of a slider as a share of the value, by how far a person would move it
_REACH = {
    "stand_diameter": 0.08,
    "body_diameter": 0.08,
    "dome_depth": 0.2,
    "bottom_gauge": 0.25,
    "elastic_modulus": 0.1,
    "poisson_ratio": 0.1,
    "wall_height": 0.5,
}
_USUAL_REACH, _ANGLE_REACH, _NUMBER_REACH, _LENGTH_REACH = 0.4, math.radians(12.0), 0.1, 5.0
_STEPS = {"length": 0.01, "angle": 0.1, "stress": 1.0, "number": 0.001}
_FINE = ("bottom_gauge", "wall_gauge")  # a thousandth of a millimetre counts there


@dataclass(frozen=True)
class Field:
    """One input of a bottom on the page.

    name : as in fea/bottom/slopes.py.  label, unit : shown.  group : of GROUPS.  kind : "length",
    "angle", "stress" or "number".  start, stop, step : of the slider; value : of the bottom the
    field was made for; all four in the unit that is shown (mm, degrees, MPa).
    """

    name: str
    label: str
    unit: str
    group: str
    kind: str
    start: float
    stop: float
    step: float
    value: float


def fields_of(profile: Profile) -> tuple[Field, ...]:
    """The fields of a bottom, sliders about its own values, ends within the allowed range."""
    return tuple(_field(one) for one in inputs_of(profile))


def _field(one: Input) -> Field:
    value = shown_value(one.value, one.kind)
    low, high = shown_value(one.low, one.kind), shown_value(one.high, one.kind)
    if one.kind == "angle":
        reach = math.degrees(_ANGLE_REACH)
    else:
        least = _LENGTH_REACH if one.kind == "length" else _NUMBER_REACH
        reach = _REACH.get(one.name, _USUAL_REACH) * abs(value) or least
    step = 0.001 if one.name in _FINE else _STEPS[one.kind]
    if one.kind == "number" and abs(value) < 0.05:
        step = 1e-4
    start, stop = max(low, value - reach), min(high, value + reach)
    # ends on whole steps, within the allowed range; where that leaves nothing, the range itself
    start, stop = math.ceil(start / step - 1e-9) * step, math.floor(stop / step + 1e-9) * step
    if not start <= value <= stop:
        start, stop = min(start, value), max(stop, value)
    if stop <= start:
        start, stop = low, high
    return Field(
        one.name,
        label_of(one.name),
        SHOWN_UNIT[one.kind],
        _group(one.name),
        one.kind,
        round(start, 9),
        round(stop, 9),
        step,
        value,
    )


def _group(name: str) -> str:
    if name in _SHEET:
        return "sheet"
    return "metal" if name in _METAL or name.startswith("hardening_") else "shape"


def label_of(name: str) -> str:
    """An input's name as people write it: "Dome depth"."""
    words = name.replace("hardening_", "hardening ").replace("_", " ")
    return words[:1].upper() + words[1:]


def shown_value(value: float, kind: str) -> float:
    """A value in internal units in the unit that is shown: an angle in degrees."""
    return math.degrees(value) if kind == "angle" else value


def internal_value(shown: float, kind: str) -> float:
    """The reverse of shown_value."""
    return math.radians(shown) if kind == "angle" else shown


def value_of(profile: Profile, field: Field) -> float:
    """The value a bottom has in a field, in the unit shown."""
    value = next(one.value for one in inputs_of(profile) if one.name == field.name)
    return shown_value(value, field.kind)


def values_of(profile: Profile) -> dict[str, float]:
    """The values of all inputs of a bottom by name, in the units shown."""
    return {one.name: shown_value(one.value, one.kind) for one in inputs_of(profile)}


def text_of(field: Field, value: float) -> str:
    """A value (unit shown) as text with its unit, as it is typed."""
    return f"{value:.6g} {field.unit}".rstrip()


def typed(field: Field, text: str) -> float:
    """The value (unit shown) of what was typed in a field; a bare number has the field's unit.

    Raises InputError in one sentence that names the field.
    """
    text = text.strip()
    number = _number(text)
    if field.kind == "number":
        if number is None:
            needed = "a plain number"
            given = brief(text)
            raise InputError(f"{field.label} is {given}; it must be {needed}", field.name, given)
        return number
    if number is not None:
        return number
    return shown_value(parse_quantity(text, field.kind, field.label), field.kind)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def with_value(profile: Profile, field: Field, shown: float) -> Profile:
    """The bottom with a field at a value (unit shown).

    Raises InputError or ShapeError in one sentence where that makes no bottom.
    """
    return moved(profile, field.name, internal_value(shown, field.kind))
