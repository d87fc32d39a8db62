"""Carbonation, temperatures and volumes as people write them, and the answer in words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief
from domemargin.studies.carbonation import GRAMS_PER_VOLUME, ClosedCan, Required, Stage

if TYPE_CHECKING:
    from collections.abc import Sequence

# unit -> (factor, shift): value in internal units = factor x number + shift
_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "carbonation": {"vol": (1.0, 0.0), "g/L": (1.0 / GRAMS_PER_VOLUME, 0.0)},
    "temperature": {"C": (1.0, 0.0), "F": (5.0 / 9.0, -160.0 / 9.0), "K": (1.0, -273.15)},
    "volume": {"mL": (1.0, 0.0), "cL": (10.0, 0.0), "L": (1000.0, 0.0), "cm3": (1.0, 0.0)},
    "altitude": {"m": (1.0, 0.0), "km": (1000.0, 0.0), "ft": (0.3048, 0.0)},
}
_EXAMPLE = {
    "carbonation": "2.6 vol", "temperature": "62 C", "volume": "355 mL", "altitude": "1500 m"
}  # fmt: skip
_NUMBER = r"([-+]?(?:\d+\.?\d*|\.\d+))"

_STAGE = re.compile(
    rf"\s*(.*?)\s*({_NUMBER}\s*°?\s*[CFK])(?:\s+({_NUMBER}\s*(?:km|m|ft)))?\s*", re.IGNORECASE
)


def quantity(text: str, kind: str, field: str) -> float:
    """A text such as "2.6 vol", "62 C", "355 mL" or "1500 m" in vol, C, mL or m.

    kind : "carbonation", "temperature", "volume" or "altitude".  Raises InputError.
    """
    match = re.fullmatch(rf"\s*{_NUMBER}\s*°?\s*(\S+)\s*", text)
    units = {name.casefold(): pair for name, pair in _UNITS[kind].items()}
    if match is None or match[2].casefold() not in units:
        needed = f'a number with {", ".join(_UNITS[kind])}, such as "{_EXAMPLE[kind]}"'
        raise InputError(f"{field} is {brief(text)}; it must be {needed}", field, text, needed)
    factor, shift = units[match[2].casefold()]
    return float(match[1]) * factor + shift


def stage_of(text: str, altitude: float) -> Stage:
    """A stage from a name, a temperature and, if it differs, an altitude: "hot store 45 C 900 m".

    altitude : of stages that name none, m.  Raises InputError.
    """
    match = _STAGE.fullmatch(text)
    if match is None:
        needed = 'a name and a temperature, such as "pasteurising 62 C"'
        raise InputError(f"--stage is {brief(text)}; it must be {needed}", "--stage", text, needed)
    if match[4] is not None:
        altitude = quantity(match[4], "altitude", "--stage")
    celsius = quantity(match[2], "temperature", "--stage")
    return Stage(match[1] or f"at {celsius:.4g} C", celsius, altitude)


def can_of(
    carbonation: str, fill: str, headspace: str, filled_at: str, air: str
) -> ClosedCan:  # fmt: skip
    """The can from the texts of a command's arguments.  Raises InputError."""
    return ClosedCan(
        carbonation=quantity(carbonation, "carbonation", "CARBONATION"),
        fill=quantity(fill, "volume", "--fill"),
        headspace=quantity(headspace, "volume", "--headspace"),
        filled_at=quantity(filled_at, "temperature", "--filled-at"),
        air=quantity(air, "volume", "--air"),
    )


def required_data(required: Required) -> dict[str, Any]:
    """The answer as plain data for JSON."""
    from dataclasses import asdict

    from domemargin.fea.core.record import CAUTION

    return {
        "can": asdict(required.can),
        "formula": required.formula,
        "source": required.source,
        "stages": [
            asdict(one.stage)
            | {"pressure_mpa": one.pressure_mpa, "headspace_ml": one.headspace_ml}
            for one in required.stages
        ],
        "required_mpa": required.highest.pressure_mpa,
        "required_celsius": required.highest.stage.celsius,
        "caution": CAUTION,
    }  # fmt: skip


def required_lines(required: Required) -> Sequence[str]:
    """The answer in words, at most 80 columns wide."""
    from domemargin.profiles.units import PSI

    can, highest = required.can, required.highest
    wide = max(len(one.stage.name) for one in required.stages)
    lines = [
        f"{can.carbonation:.4g} vol ({can.carbonation * GRAMS_PER_VOLUME:.3g} g/L) in "
        f"{can.fill:.4g} mL, {can.headspace:.3g} mL of headspace, filled at {can.filled_at:.3g} C",
        "",
    ]
    for one in required.stages:
        where = f" at {one.stage.altitude:.0f} m" if one.stage.altitude else ""
        lines.append(
            f"{one.stage.name:<{wide}}  {one.stage.celsius:5.1f} C  "
            f"{one.pressure_mpa / PSI:6.1f} psi  {one.pressure_mpa:.4f} MPa{where}"
        )
    psi = highest.pressure_mpa / PSI
    if psi <= 0.0:
        lines += ["", "The drink asks nothing of the bottom: the can is under no pressure."]
        return lines
    return [
        *lines,
        "",
        f"The bottom must hold {psi:.1f} psi ({highest.stage.name}):",
        f'  domemargin reversal PROFILE --require "{psi:.1f} psi" '
        f'--temperature "{highest.stage.celsius:.4g} degC"',
        "",
        f"Solubility: {required.source}. Equilibrium is assumed, which a",
        "short stage stays below. Sugar and alcohol move the pressure by some per cent,",
        "air left in the headspace adds to it: add a reserve of your own.",
    ]
