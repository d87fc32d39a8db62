"""The plain form of a profile file: which keys there are and what kind of value each takes.

Beside the plain form (profiles/ready/north.toml) a file may hold

    [shape]
    dome_radius = ["52 mm", "40 mm"]      # zones of the dome from the centre outward
    dome_break_diameter = ["28 mm"]       # where they meet, on the surface radii_on
    [sheet]
    transition_start = "1 mm"             # beyond the middle of the heel arc, up the wall
    [material]
    hardening = { law = "swift", reference_strain = 0.002, exponent = 0.05 }
        # or linear (modulus), voce (saturation, rate), table (plastic_strain, stress),
        # perfect; elastic, or no yield_strength at all, never yields
    kinematic_share = 0.3
        # or back_stress = { saturation = "40 MPa", rate = 60 }, one that fades where strain turns
    r_value = 0.8                         # mean r-value: Hosford's yield surface
    temperature = "65 degC"               # of the bottom; values are those at room temperature
    bake = "205 degC"                     # values are as rolled, and the can was baked 10 to 20 min
    [[zone]]                              # later zones lie over earlier ones
    part = "nose"                         # or from = "24 mm" and to = "27 mm" of arc length
    gauge_factor = 0.97                   # or gauge = "0.26 mm"
    prior_strain = 0.15
    yield_strength = "290 MPa"            # before that strain; scales the whole yield curve
    blend = "0.5 mm"                      # fade at each end; "0 mm" is a sharp edge
    [along]                               # straight lines between entries, ends held
    arc_length = ["0 mm", "20 mm"]
    gauge = ["0.27 mm", "0.26 mm"]        # in place of [sheet]'s; likewise
    prior_strain = [0.0, 0.02]            # and yield_strength
    offset = ["0.02 mm", "0 mm"]          # shape error: mid surface off the chain, into the can,
                                          # at a slope of 1 at most

[formed], written by the command doming, holds what forming left in each layer
(profiles/shape/formed.py).  formed = true, above the first table, takes the estimate of
profiles/forming.py: prior strain of each part, by the bottom's own radii.

Ranges are not checked here but by the dataclasses the tables turn into (profiles/limits.py).
This module imports pydantic, so it is imported only when a file is read.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.quantities import parse_quantity

HERE = "@field@"  # stands for the dotted name until it is known where the value sits


def _quantity(dimension: str, value: object) -> float:
    return parse_quantity(value, dimension, HERE)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(
            f"{HERE} is {brief(value)}; it must be a plain number", HERE, brief(value), "a number"
        )
    try:
        return float(value)
    except OverflowError:
        return float("inf")


def _one_or_more_lengths(value: object) -> float | tuple[float, ...]:
    if isinstance(value, list) and value:
        return tuple(
            parse_quantity(entry, "length", f"{HERE}[{i + 1}]") for i, entry in enumerate(value)
        )
    return _quantity("length", value)


Length = Annotated[float, BeforeValidator(partial(_quantity, "length"))]
Angle = Annotated[float, BeforeValidator(partial(_quantity, "angle"))]
Stress = Annotated[float, BeforeValidator(partial(_quantity, "stress"))]
Density = Annotated[float, BeforeValidator(partial(_quantity, "density"))]
Temperature = Annotated[float, BeforeValidator(partial(_quantity, "temperature"))]
Number = Annotated[float, BeforeValidator(_number)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class ShapeTable(_Table):
    """[shape]; see domemargin.profiles.shape.shape.Shape."""

    radii_on: str
    stand_diameter: Length
    dome_depth: Length
    dome_radius: Annotated[Any, PlainValidator(_one_or_more_lengths)]
    dome_break_diameter: list[Length] = []
    shoulder_radius: Length
    inner_leg_angle: Angle
    nose_radius: Length
    outer_leg_angle: Angle
    heel_radius: Length
    body_diameter: Length
    wall_height: Length


class SheetTable(_Table):
    """[sheet]; see domemargin.profiles.shape.shape.Sheet."""

    bottom_gauge: Length
    wall_gauge: Length
    transition_length: Length
    transition_start: Length = 0.0


class LinearTable(_Table):
    """hardening with law = "linear"."""

    law: Literal["linear"]
    modulus: Stress


class VoceTable(_Table):
    """hardening with law = "voce"."""

    law: Literal["voce"]
    saturation: Stress
    rate: Number


class SwiftTable(_Table):
    """hardening with law = "swift"."""

    law: Literal["swift"]
    reference_strain: Number
    exponent: Number


class PointsTable(_Table):
    """hardening with law = "table"."""

    law: Literal["table"]
    plastic_strain: list[Number]
    stress: list[Stress]


class PlainTable(_Table):
    """hardening with law = "perfect" (no hardening) or "elastic" (no yielding)."""

    law: Literal["perfect", "elastic"]


LAWS: dict[str, type[_Table]] = {
    "linear": LinearTable,
    "voce": VoceTable,
    "swift": SwiftTable,
    "table": PointsTable,
    "perfect": PlainTable,
    "elastic": PlainTable,
}
AnyLaw = LinearTable | VoceTable | SwiftTable | PointsTable | PlainTable


class BackStressTable(_Table):
    """material.back_stress; see domemargin.profiles.material.BackStress."""

    saturation: Stress
    rate: Number


class MaterialTable(_Table):
    """[material]; see domemargin.profiles.material.Material."""

    name: str = "as given"
    elastic_modulus: Stress
    poisson_ratio: Number
    yield_strength: Stress | None = None
    hardening: Annotated[AnyLaw, Field(discriminator="law")] = PlainTable(law="perfect")
    kinematic_share: Number = 0.0
    back_stress: BackStressTable | None = None
    r_value: Number | None = None
    temperature: Temperature | None = None
    bake: Temperature | None = None
    density: Density = 2.72


class ZoneTable(_Table):
    """[[zone]]; see domemargin.profiles.local.Zone."""

    part: str | None = None
    start: Annotated[Length | None, Field(alias="from")] = None
    stop: Annotated[Length | None, Field(alias="to")] = None
    gauge: Length | None = None
    gauge_factor: Number | None = None
    prior_strain: Number | None = None
    yield_strength: Stress | None = None
    blend: Length = 0.5


class AlongTable(_Table):
    """[along]; see domemargin.profiles.local.Along."""

    arc_length: list[Length]
    gauge: list[Length] | None = None
    prior_strain: list[Number] | None = None
    yield_strength: list[Stress] | None = None
    offset: list[Length] | None = None


class FormedTable(_Table):
    """[formed]; see domemargin.profiles.shape.formed.FormedState.  Written by `doming`."""

    arc_length: list[Length]
    place: list[Number]
    plastic_strain: list[list[Number]]
    yield_factor: list[list[Number]]
    back_meridian: list[list[Stress]]
    back_hoop: list[list[Stress]]
    stress_meridian: list[list[Stress]]
    stress_hoop: list[list[Stress]]


class FileTable(_Table):
    """A whole profile file."""

    name: str
    shape: ShapeTable
    sheet: SheetTable
    material: MaterialTable
    zone: list[ZoneTable] = []
    along: AlongTable | None = None
    formed: Annotated[FormedTable | bool | None, Field(union_mode="left_to_right")] = None


TABLES: dict[tuple[str, ...], type[_Table]] = {
    (): FileTable,
    ("shape",): ShapeTable,
    ("sheet",): SheetTable,
    ("material",): MaterialTable,
    ("material", "back_stress"): BackStressTable,
    ("zone",): ZoneTable,
    ("along",): AlongTable,
    ("formed",): FormedTable,
    **{("material", "hardening", law): table for law, table in LAWS.items()},
}
