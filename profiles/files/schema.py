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
    [around]                              # what is not the same all round, for `uneven`
    dome_tilt = "0.3 deg"                 # raised at angle 0
    dome_offset = "0.1 mm"                # of the dome against the nose, towards offset_angle
    ovality = "0.2 mm"                    # largest less smallest stand diameter; ovality_angle
    gauge_difference = 0.02               # thickest less thinnest over mean; gauge_angle
    yield_difference = 0.03               # the same of the yield strength, twice round the can
    [[around.wave]]                       # of dome and legs
    waves = 3
    height = "0.02 mm"                    # zero to peak; angle of a crest
    [[around.dent]]                       # round and bell-shaped, in the dome
    depth = "0.2 mm"
    width = "4 mm"                        # standard deviation; radius and angle of its middle
    [around.scan]                         # measured: distance off the chain, into the can
    arc_length = ["0 mm", "20 mm", "40 mm"]
    angle = ["0 deg", "120 deg", "240 deg"]
    offset = [["0 mm", "0 mm", "0 mm"], ["0.1 mm", "0 mm", "0 mm"], ["0 mm", "0 mm", "0 mm"]]

Dimensions as drawings give them (position of the inner leg, other surfaces, other data):
profiles/files/as_drawn.py.  [formed], written by the command doming, holds what forming left in
each layer (profiles/shape/formed.py).  formed = true, above the first table,
takes the estimate of profiles/forming.py: prior strain of each part, by the bottom's own radii.

Ranges are not checked here but by the dataclasses the tables turn into (profiles/limits.py).
This module imports pydantic, so it is imported only when a file is read.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.quantities import parse_leg_angle, parse_quantity

HERE = "@field@"  # stands for the dotted name until it is known where the value sits


def _quantity(dimension: str, value: object) -> float:
    return parse_quantity(value, dimension, HERE)


def _leg_angle(value: object) -> float:
    return parse_leg_angle(value, HERE)


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
LegAngle = Annotated[float, BeforeValidator(_leg_angle)]
Stress = Annotated[float, BeforeValidator(partial(_quantity, "stress"))]
Density = Annotated[float, BeforeValidator(partial(_quantity, "density"))]
Temperature = Annotated[float, BeforeValidator(partial(_quantity, "temperature"))]
Number = Annotated[float, BeforeValidator(_number)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class ShapeTable(_Table):
    """[shape]; see domemargin.profiles.shape.shape.Shape and profiles/files/as_drawn.py."""

    radii_on: str
    stand_diameter: Length | None = None
    inner_leg_diameter: Length | None = None
    inner_leg_side: str | None = None
    dome_depth: Length
    dome_depth_from: Length = 0.0
    dome_depth_on: str | None = None
    dome_radius_on: str | None = None
    shoulder_radius_on: str | None = None
    nose_radius_on: str | None = None
    heel_radius_on: str | None = None
    body_diameter_on: str | None = None
    dome_radius: Annotated[Any, PlainValidator(_one_or_more_lengths)]
    dome_break_diameter: list[Length] = []
    shoulder_radius: Length
    inner_leg_angle: LegAngle
    nose_radius: Length
    outer_leg_angle: LegAngle
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


class WaveTable(_Table):
    """[[around.wave]]; see domemargin.profiles.around.Wave."""

    waves: Number
    height: Length
    angle: Angle = 0.0


class DentTable(_Table):
    """[[around.dent]]; see domemargin.profiles.around.Dent."""

    depth: Length
    width: Length
    radius: Length = 0.0
    angle: Angle = 0.0


class ScanTable(_Table):
    """[around.scan]; see domemargin.profiles.around.Scan."""

    arc_length: list[Length]
    angle: list[Angle]
    offset: list[list[Length]]


class AroundTable(_Table):
    """[around]; see domemargin.profiles.around.Around."""

    dome_tilt: Angle = 0.0
    dome_offset: Length = 0.0
    offset_angle: Angle = 0.0
    ovality: Length = 0.0
    ovality_angle: Angle = 0.0
    gauge_difference: Number = 0.0
    gauge_angle: Angle = 0.0
    yield_difference: Number = 0.0
    yield_angle: Angle = 0.0
    wave: list[WaveTable] = []
    dent: list[DentTable] = []
    scan: ScanTable | None = None


class FileTable(_Table):
    """A whole profile file."""

    name: str
    shape: ShapeTable
    sheet: SheetTable
    material: MaterialTable
    zone: list[ZoneTable] = []
    along: AlongTable | None = None
    formed: Annotated[FormedTable | bool | None, Field(union_mode="left_to_right")] = None
    around: AroundTable | None = None


TABLES: dict[tuple[str, ...], type[_Table]] = {
    (): FileTable,
    ("shape",): ShapeTable,
    ("sheet",): SheetTable,
    ("material",): MaterialTable,
    ("material", "back_stress"): BackStressTable,
    ("zone",): ZoneTable,
    ("along",): AlongTable,
    ("formed",): FormedTable,
    ("around",): AroundTable,
    ("around", "wave"): WaveTable,
    ("around", "dent"): DentTable,
    ("around", "scan"): ScanTable,
    **{("material", "hardening", law): table for law, table in LAWS.items()},
}
