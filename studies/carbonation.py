"""Pressure in a closed can of a carbonated drink, which its bottom must hold.

The drink is taken as water, and the carbon dioxide as shared between drink and headspace at
equilibrium.  Sugar and alcohol shift the pressure by some per cent, residual air adds to it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief

# IAPWS R2-83 critical point of water; ISO 2533 standard atmosphere; CODATA gas constant
_T_CRITICAL, _P_CRITICAL, _RHO_CRITICAL = 647.096, 22.064, 322.0  # K, MPa, kg/m3
ATMOSPHERE = 0.101325  # MPa
_GAS_CONSTANT = 8.314462618  # J/(mol K), and MPa cm3/(mol K)
_WATER_MOLAR = 18.015268e-3  # kg/mol
MOLAR_VOLUME = 22.414  # L/mol of a gas at 0 C and 1 atm: what 1 volume of carbonation is
GRAMS_PER_VOLUME = 44.0095 / MOLAR_VOLUME  # g/L of carbon dioxide in 1 volume
_KELVIN = 273.15
# volume expansion of the can: three times that of aluminium along a line, 23e-6 /K (any handbook)
_CAN_EXPANSION = 69e-6
# partial molar volume of dissolved carbon dioxide, 32 to 35 cm3/mol near room temperature
_DISSOLVED_VOLUME = 33.0
_HENRY_LIMIT = 1.5  # MPa of carbon dioxide: beyond, the law of Henry needs more than one term


def _saturation_sum(pairs: tuple[tuple[float, float], ...], tau: float) -> float:
    return math.fsum(a * tau**b for a, b in pairs)


def water_vapour_pressure(celsius: float) -> float:
    """Vapour pressure of water, MPa (Wagner & Pruss 1993, as used by IAPWS G7-04)."""
    pairs = (
        (-7.85951783, 1.0), (1.84408259, 1.5), (-11.7866497, 3.0),
        (22.6807411, 3.5), (-15.9618719, 4.0), (1.80122502, 7.5),
    )  # fmt: skip
    reduced = (celsius + _KELVIN) / _T_CRITICAL
    return _P_CRITICAL * math.exp(_saturation_sum(pairs, 1.0 - reduced) / reduced)


def water_density(celsius: float) -> float:
    """Density of liquid water at saturation, kg/m3 (Wagner & Pruss 1993)."""
    pairs = (
        (1.99274064, 1 / 3), (1.09965342, 2 / 3), (-0.510839303, 5 / 3),
        (-1.75493479, 16 / 3), (-45.5170352, 43 / 3), (-6.7469445e5, 110 / 3),
    )  # fmt: skip
    return _RHO_CRITICAL * (1.0 + _saturation_sum(pairs, 1.0 - (celsius + _KELVIN) / _T_CRITICAL))


def henry_constant(celsius: float) -> float:
    """k_H of carbon dioxide in water, fugacity over mole fraction, MPa (IAPWS G7-04, 2004)."""
    reduced = (celsius + _KELVIN) / _T_CRITICAL
    tau = 1.0 - reduced
    exponent = (
        -8.55445 / reduced
        + 4.01195 * tau**0.355 / reduced
        + 9.52345 * reduced**-0.41 * math.exp(tau)
    )
    return water_vapour_pressure(celsius) * math.exp(exponent)


def _iapws(celsius: float) -> float:
    moles = water_density(celsius) / _WATER_MOLAR * ATMOSPHERE / henry_constant(celsius)
    return moles * MOLAR_VOLUME * 1e-3


def _van_t_hoff(celsius: float) -> float:
    kelvin = celsius + _KELVIN
    per_pascal = 3.3e-4 * math.exp(2400.0 * (1.0 / kelvin - 1.0 / 298.15))  # mol/(m3 Pa)
    return per_pascal * ATMOSPHERE * 1e6 * MOLAR_VOLUME * 1e-3


def _beer(celsius: float) -> float:
    grams_per_bar = 10.0 * math.exp(-10.73797 + 2617.25 / (celsius + _KELVIN))  # g/(L bar)
    return grams_per_bar * ATMOSPHERE * 10.0 / GRAMS_PER_VOLUME


@dataclass(frozen=True)
class Solubility:
    """A formula for the solubility of carbon dioxide, and where it holds.

    volumes : temperature (C) -> volumes dissolved under 1 atm of carbon dioxide.
    low, high : range of validity, C.
    """

    name: str
    source: str
    volumes: Callable[[float], float]
    low: float
    high: float

    def at(self, celsius: float, field: str = "temperature") -> float:
        """Volumes per atm at a temperature (C).  Raises InputError outside the range."""
        if not self.low <= celsius <= self.high:
            allowed = f"{self.low:g} C to {self.high:g} C"
            raise InputError(
                f"{field} is {celsius:g} C; it must lie in {allowed}, where the formula "
                f"{self.name!r} for the solubility of carbon dioxide holds",
                field, f"{celsius:g} C", allowed,
            )  # fmt: skip
        return self.volumes(celsius)


SOLUBILITIES: dict[str, Solubility] = {
    formula.name: formula
    for formula in (
        # fitted to data from 274.19 K up; the last degree to the ice point is an extrapolation
        Solubility("iapws", "IAPWS G7-04 (2004), water", _iapws, 0.0, 100.0),
        # one coefficient: 5 % low at 40 C and 15 % low at 60 C
        Solubility("van-t-hoff", "Sander, Atmos. Chem. Phys. 15, 4399 (2015)", _van_t_hoff, 5, 35),
        Solubility("beer", "a brewers' fit; common practice, no source", _beer, 0.0, 25.0),
    )
}


@dataclass(frozen=True)
class ClosedCan:
    """A filled can.

    carbonation : carbon dioxide, volumes at 0 C and 1 atm per volume of drink as filled.
    fill, headspace : volumes of drink and of gas over it when filled, mL.
    filled_at : temperature of the drink when filled, C.
    air : air left in the headspace, mL at 1 atm and filled_at.
    expands : whether drink and can expand with temperature, the drink as water.
    real_gas : whether the gas departs from an ideal one, which adds 3 to 5 %.
    """

    carbonation: float
    fill: float = 355.0
    headspace: float = 20.0
    filled_at: float = 4.0
    air: float = 0.0
    expands: bool = True
    real_gas: bool = True

    def __post_init__(self) -> None:
        for name, value, low, high, unit in (
            ("carbonation", self.carbonation, 0.0, 6.0, "vol"),
            ("fill", self.fill, 20.0, 5000.0, "mL"),
            ("headspace", self.headspace, 0.5, 1000.0, "mL"),
            ("filled_at", self.filled_at, 0.0, 60.0, "C"),
            ("air", self.air, 0.0, self.headspace, "mL"),
        ):
            if not low <= value <= high:
                raise InputError(
                    f"{name} is {value:g} {unit}; it must lie in {low:g} to {high:g} {unit}",
                    name, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}",
                )  # fmt: skip


@dataclass(frozen=True)
class Stage:
    """A part of a can's history: its name, temperature (C) and altitude (m)."""

    name: str
    celsius: float
    altitude: float = 0.0


@dataclass(frozen=True)
class StagePressure:
    """A stage with the pressure the bottom holds there over the air outside, MPa."""

    stage: Stage
    pressure_mpa: float
    headspace_ml: float


@dataclass(frozen=True)
class Required:
    """The pressures of a can's history; the highest is the one the bottom must hold, MPa."""

    can: ClosedCan
    formula: str
    source: str
    stages: tuple[StagePressure, ...]

    @property
    def highest(self) -> StagePressure:
        """The stage with the highest pressure."""
        return max(self.stages, key=lambda one: one.pressure_mpa)


def air_pressure(altitude: float) -> float:
    """Pressure of the air, MPa, at an altitude of -500 to 11,000 m (ISO 2533:1975)."""
    if not -500.0 <= altitude <= 11_000.0:
        allowed = "-500 m to 11000 m"
        raise InputError(
            f"altitude is {altitude:g} m; it must lie in {allowed}",
            "altitude", f"{altitude:g} m", allowed,
        )  # fmt: skip
    return ATMOSPHERE * math.pow(1.0 - 0.0065 * altitude / 288.15, 5.25588)


def second_virial(celsius: float) -> float:
    """Second virial coefficient of carbon dioxide, cm3/mol (Pitzer's correlation in Abbott's
    form: Smith & Van Ness, Introduction to Chemical Engineering Thermodynamics)."""
    critical, pressure, acentric = 304.13, 7.377, 0.224  # K, MPa, -
    reduced = (celsius + _KELVIN) / critical
    simple = 0.083 - 0.422 / math.pow(reduced, 1.6)
    other = 0.139 - 0.172 / math.pow(reduced, 4.2)
    return _GAS_CONSTANT * critical / pressure * (simple + acentric * other)


def pressure_at(can: ClosedCan, stage: Stage, formula: str = "iapws") -> StagePressure:
    """The gauge pressure in a closed can at a stage of its history, MPa.

    Raises InputError outside the range of the formula, and where the drink would fill the can.
    """
    field = f"temperature of stage {brief(stage.name)}"
    solubility = SOLUBILITIES[formula].at(stage.celsius, field)
    kelvin = stage.celsius + _KELVIN
    drink, gas = _volumes(can, stage.celsius)
    if gas <= 0.02 * can.headspace:
        raise InputError(
            f"{field} is {stage.celsius:g} C, where the drink would fill the can; it must be "
            "lower, or the headspace larger",
            field, f"{stage.celsius:g} C", "lower",
        )  # fmt: skip
    moles = can.carbonation * can.fill / MOLAR_VOLUME  # mmol of carbon dioxide in the can
    dissolved = solubility * drink / MOLAR_VOLUME / ATMOSPHERE  # mmol per MPa, ideal
    free = 1e3 * gas / (_GAS_CONSTANT * kelvin)  # mmol per MPa, ideal
    pressure = moles / (dissolved + free)
    if can.real_gas:
        # fugacity of the gas, and Henry's law at pressure (Krichevsky & Kasarnovsky)
        departure = second_virial(stage.celsius) / (_GAS_CONSTANT * kelvin)
        swelling = _DISSOLVED_VOLUME / (_GAS_CONSTANT * kelvin)
        for _ in range(30):
            more = dissolved * math.exp((departure - swelling) * pressure)
            pressure = moles / (more + free / (1.0 + departure * pressure))
    if pressure > _HENRY_LIMIT:
        raise InputError(
            f"carbonation is {can.carbonation:g} vol, which gives {pressure:.2f} MPa of carbon "
            f"dioxide at {stage.celsius:g} C; it must stay below {_HENRY_LIMIT:g} MPa, where "
            "Henry's law holds",
            "carbonation", f"{can.carbonation:g} vol", f"below {_HENRY_LIMIT:g} MPa",
        )  # fmt: skip
    air = ATMOSPHERE * can.air / gas * kelvin / (can.filled_at + _KELVIN)
    inside = pressure + water_vapour_pressure(stage.celsius) + air
    return StagePressure(stage, inside - air_pressure(stage.altitude), gas)


def _volumes(can: ClosedCan, celsius: float) -> tuple[float, float]:
    """Volumes of drink and of headspace at a temperature, mL."""
    if not can.expands:
        return can.fill, can.headspace
    drink = can.fill * water_density(can.filled_at) / water_density(celsius)
    whole = can.fill + can.headspace
    return drink, whole * (1.0 + _CAN_EXPANSION * (celsius - can.filled_at)) - drink


def required_pressure(
    can: ClosedCan, stages: tuple[Stage, ...], formula: str = "iapws"
) -> Required:
    """Pressures along a can's history, each at equilibrium, which a short stage stays below.

    formula : of SOLUBILITIES.  Raises InputError.
    """
    if not stages:
        raise InputError("no stage is given; at least one temperature is needed", "stages")
    if formula not in SOLUBILITIES:
        allowed = ", ".join(SOLUBILITIES)
        raise InputError(
            f"formula is {brief(formula)}; it must be one of {allowed}", "formula", formula
        )
    rows = tuple(pressure_at(can, stage, formula) for stage in stages)
    return Required(can, formula, SOLUBILITIES[formula].source, rows)
