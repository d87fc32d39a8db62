"""Numbers with units, as people write them, to internal units (mm, radians, MPa, g/cm3, degC)."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.limits import SHOWN_UNIT
from domemargin.profiles.units import BAR, PSI

if TYPE_CHECKING:
    import pint

INTERNAL_UNIT = {
    "length": "mm",
    "angle": "rad",
    "stress": "MPa",
    "pressure": "MPa",
    "density": "g/cm3",
    "force": "N",
    "stiffness": "N/mm",
    "temperature": "degC",
}

# What one unit is in internal units, for the units people write: pint takes 0.15 s to import and
# reads the rest (prefixes, products, powers).
_COMMON: dict[str, dict[str, float]] = {
    "length": {"mm": 1.0, "cm": 10.0, "m": 1e3, "um": 1e-3, "in": 25.4, "thou": 0.0254},
    "angle": {"deg": math.pi / 180.0, "rad": 1.0},
    "stress": {
        "MPa": 1.0, "GPa": 1e3, "kPa": 1e-3, "N/mm2": 1.0, "bar": BAR,
        "psi": PSI, "ksi": 1e3 * PSI,
    },
    "pressure": {"psi": PSI, "bar": BAR, "kPa": 1e-3, "MPa": 1.0},
    "density": {"g/cm3": 1.0, "kg/m3": 1e-3},
    "force": {"N": 1.0, "kN": 1e3, "lbf": 4.4482216152605},
    "stiffness": {"N/mm": 1.0, "kN/mm": 1e3, "lbf/in": 0.17512683524647638},
    "temperature": {"degC": 1.0, "C": 1.0, "°C": 1.0, "degF": 5.0 / 9.0, "F": 5.0 / 9.0,
                    "°F": 5.0 / 9.0, "K": 1.0},
}  # fmt: skip
# what drawings and gauges write as well; a gauge pressure is over that of the air, as all here are
_ALSO: dict[str, dict[str, float]] = {
    "length": {'"': 25.4, "″": 25.4, "”": 25.4, "''": 25.4},
    "angle": {
        "arcmin": math.pi / 10800.0, "min of arc": math.pi / 10800.0, "minutes of arc":
        math.pi / 10800.0, "'": math.pi / 10800.0, "′": math.pi / 10800.0,
    },
    "pressure": {"psig": PSI, "psi g": PSI, "psi(g)": PSI, "barg": BAR, "bar g": BAR,
                 "bar(g)": BAR, "kPag": 1e-3},
}  # fmt: skip
# where the scale of a unit of temperature begins, degrees Celsius
_ZERO = {"degF": -160.0 / 9.0, "F": -160.0 / 9.0, "°F": -160.0 / 9.0, "K": -273.15}
# The default registry knows a thousand units and takes 0.15 s to build; these take 1 ms.
_DEFINITIONS = """
micro- = 1e-6 = µ- = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
metre = [length] = m = meter = metres = meters
micron = 1e-6 * metre
inch = 0.0254 * metre = in = inches
thou = 0.001 * inch = mil
gram = [mass] = g = grams
pound = 453.59237 * gram = lb
second = [time] = s
newton = 1000 * gram * metre / second ** 2 = N
pound_force = 9.80665 * metre / second ** 2 * pound = lbf
pascal = newton / metre ** 2 = Pa
bar = 1e5 * pascal
psi = pound_force / inch ** 2
ksi = 1000 * psi
radian = [angle] = rad = radians
degree = 0.017453292519943295 * radian = deg = degrees = °
"""

_WRITTEN = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")
# 1/16, 1 1/2 and 1-1/2, as drawings write inches
_FRACTION = re.compile(r"\s*([-+]?)(?:(\d+)(?:\s+|-))?(\d+)/(\d+)\s*(.*?)\s*")
# 4 deg 30 min, 4°30'
_MINUTES = re.compile(
    r"\s*([-+]?\d+)\s*(?:deg|°)\s*(\d+(?:\.\d*)?)\s*(?:'|′|’|min|arcmin|minutes?)\s*"
)
_FROM = re.compile(r"(.*?)\s*\b(?:from|to)(?: the)? (horizontal|vertical)\s*", re.DOTALL)
# products and quotients of units, each with a power of at most 3: nothing else reaches pint
_TERM = r"[A-Za-zµμ°]+(?:(?:\^|\*\*)?[23]|[²³])?"
_UNIT = re.compile(rf"{_TERM}(?:\s*[*/]\s*{_TERM}){{0,3}}")
_EXAMPLE = {
    "length": "10.2 mm",
    "angle": "4 deg",
    "stress": "270 MPa",
    "pressure": "90 psi",
    "density": "2.72 g/cm3",
    "force": "4 kN",
    "stiffness": "400 N/mm",
    "temperature": "65 degC",
}


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None)
    registry.load_definitions(_DEFINITIONS.strip().splitlines())
    return registry


@lru_cache(maxsize=256)
def _factor(unit: str, dimension: str) -> float | None:
    """What one unit is in internal units; None if the unit is unknown or of another dimension."""
    if unit in _COMMON[dimension]:
        return _COMMON[dimension][unit]
    if unit in _ALSO.get(dimension, ()):
        return _ALSO[dimension][unit]
    if dimension == "temperature":  # a scale with a beginning of its own
        return None
    if not _UNIT.fullmatch(unit):
        return None
    import pint

    registry = _registry()
    try:
        given = registry.Quantity(1.0, registry.parse_units(_powers(unit)))
        return float(given.to(_powers(INTERNAL_UNIT[dimension])).magnitude)
    except pint.PintError:
        return None


def _powers(unit: str) -> str:
    """Powers as people write them (mm2, cm^3, m³) in the form pint reads."""
    return re.sub(r"(?<=\w)(?:\^|\*\*)?([23])", r"**\1", unit.translate({178: "2", 179: "3"}))


def parse_quantity(text: object, dimension: str, field: str) -> float:
    """A quantity such as "10.2 mm", "0.402 in", "4 deg" or "90 psi" in internal units.

    As drawings have it: 0.060" and 1 1/16 in for inches, 4 deg 30 min and 30 arcmin, psig.
    dimension : "length" (mm), "angle" (radians), "stress" (MPa), "pressure" (MPa),
        "density" (g/cm3), "force" (N), "stiffness" (N/mm), "temperature" (degrees Celsius).
    field : how the input is called, for the message.
    Raises InputError if the text is not a number with a unit of that dimension.
    """
    *most, last = _COMMON[dimension]
    needed = f"a number with a unit of {dimension} ({', '.join(most)} or {last})"
    example = f'such as "{_EXAMPLE[dimension]}"'
    given = brief(text)
    special = _as_drawn(text, dimension) if isinstance(text, str) else None
    if special is not None:
        return special
    match = _WRITTEN.fullmatch(text) if isinstance(text, str) else None
    if isinstance(text, int | float) or (match and not match[2]):
        raise InputError(
            f"{field} is {given} without a unit; it must be {needed}, {example}",
            field,
            given,
            needed,
        )
    if match is None:
        raise InputError(
            f"{field} is {given}; it must be {needed}, {example}", field, given, needed
        )
    factor = _factor(match[2], dimension)
    if factor is None and re.match(r",\s*\d", match[2]):
        raise InputError(
            f"{field} is {given}, with a comma; it must be {needed}, {example}",
            field,
            given,
            needed,
        )
    if factor is None:
        raise InputError(
            f"{field} is {given}, and {brief(match[2])} is not a unit of {dimension}; "
            f"it must be {needed}, {example}",
            field,
            given,
            needed,
        )
    return float(match[1]) * factor + (
        _ZERO.get(match[2], 0.0) if dimension == "temperature" else 0
    )


def _as_drawn(text: str, dimension: str) -> float | None:
    """A fraction of an inch, or degrees and minutes, in internal units; None if it is neither."""
    if dimension == "angle" and (match := _MINUTES.fullmatch(text)) is not None:
        if float(match[2]) >= 60.0:
            return None
        size = abs(int(match[1])) + float(match[2]) / 60.0
        sign = -1.0 if match[1].startswith("-") else 1.0
        return sign * size * math.pi / 180.0
    match = _FRACTION.fullmatch(text) if dimension == "length" else None
    if match is None or len(text) > 40 or int(match[4]) == 0:
        return None
    factor = _factor(match[5], dimension)
    if factor is None:
        return None
    number = int(match[2] or 0) + int(match[3]) / int(match[4])
    return (-number if match[1] == "-" else number) * factor


def parse_leg_angle(text: object, field: str) -> float:
    """The angle of a leg, radians from vertical, also where written "28 deg from horizontal".

    Raises InputError as parse_quantity does.
    """
    match = _FROM.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        return parse_quantity(text, "angle", field)
    angle = parse_quantity(match[1], "angle", field)
    return 0.5 * math.pi - angle if match[2] == "horizontal" else angle


def write_quantity(value: float, dimension: str) -> str:
    """The shortest text in mm, degrees, MPa or g/cm3 that reads back to the same number."""
    unit = SHOWN_UNIT[dimension]
    factor = _factor(unit, dimension)
    assert factor is not None
    number = value / factor
    for digits in range(1, 18):
        text = repr(float(f"{number:.{digits}g}")).removesuffix(".0")
        if float(text) * factor == value:
            return f"{text} {unit}"
    # no number of degrees may give this angle to the last bit
    return f"{value!r} rad" if dimension == "angle" else f"{value!r} {unit}"
