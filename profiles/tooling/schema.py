"""The plain form of a tooling file: which keys there are and what kind of value each takes.

profiles/ready_tooling/north.toml shows a whole one.  The spring is one of

    [spring]
    law = "linear"                        # or "constant", with no rate
    preload = "12 kN"                     # below it the station stands still
    rate = "400 N/mm"
    [spring]
    law = "table"                         # such as a worn spring, as measured
    travel = ["0 mm", "1 mm"]
    force = ["11 kN", "11.2 kN"]

[clamp] may be left out: no ring holds the sheet then.

and material, a name or a table, is as in a profile file.  This module imports pydantic.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainValidator

from domemargin.profiles.files.schema import HERE, LAWS, Angle, Length, MaterialTable, Number
from domemargin.profiles.quantities import parse_quantity

Force = Annotated[float, BeforeValidator(lambda v: parse_quantity(v, "force", HERE))]
Stiffness = Annotated[float, BeforeValidator(lambda v: parse_quantity(v, "stiffness", HERE))]


def _one_or_more(dimension: str, value: object) -> tuple[float, ...]:
    entries = value if isinstance(value, list) else [value]
    many = isinstance(value, list)
    return tuple(
        parse_quantity(entry, dimension, f"{HERE}[{i + 1}]" if many else HERE)
        for i, entry in enumerate(entries)
    )


Lengths = Annotated[Any, PlainValidator(partial(_one_or_more, "length"))]
Forces = Annotated[Any, PlainValidator(partial(_one_or_more, "force"))]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class PunchTable(_Table):
    """[punch]; see domemargin.profiles.tooling.parts.Punch."""

    nose_radius: Length
    nose_diameter: Length
    land: Length = 0.0
    leg_angle: Angle
    heel_radius: Length
    body_diameter: Length


class DieTable(_Table):
    """[die]; see domemargin.profiles.tooling.parts.Die."""

    dome_radius: Lengths
    dome_break_diameter: Lengths = ()
    edge_radius: Length
    diameter: Length
    side_angle: Angle
    fillet_radius: Length = 0.4
    flange_height: Length
    flange_diameter: Length


class ClampTable(_Table):
    """[clamp]; see domemargin.profiles.tooling.parts.Clamp."""

    inner_diameter: Length
    outer_diameter: Length
    edge_radius: Length = 0.5
    angle: Angle
    force: Force


class SpringTable(_Table):
    """[spring]; see domemargin.profiles.tooling.parts.Spring."""

    law: Literal["constant", "linear", "table"]
    preload: Force | None = None
    rate: Stiffness | None = None
    travel: Lengths = ()
    force: Forces = ()


class StationTable(_Table):
    """[station]."""

    set: Length


class FrictionTable(_Table):
    """[friction]; see domemargin.profiles.tooling.parts.Friction."""

    punch: Number
    die: Number
    clamp: Number


class BlankTable(_Table):
    """[blank]; see domemargin.profiles.tooling.parts.Blank."""

    gauge: Length
    wall_gauge: Length
    transition_start: Length = 4.0
    transition_length: Length
    wall_height: Length = 30.0
    wall_grip: Force = 1500.0
    prior_strain: Number = 0.0


class MarksTable(_Table):
    """[marks]; see domemargin.profiles.tooling.parts.Marks."""

    width: Length = 1.0
    height: Length = 0.1
    diameter: Length = 20.0
    counter_diameter: Length = 0.0


class LimitTable(_Table):
    """[forming_limit]."""

    thinning: Number


class ToolingTable(_Table):
    """A whole tooling file."""

    name: str
    punch: PunchTable
    die: DieTable
    clamp: ClampTable | None = None
    spring: SpringTable
    station: StationTable
    friction: FrictionTable
    blank: BlankTable
    material: MaterialTable
    forming_limit: LimitTable | None = None
    marks: MarksTable = MarksTable()


TOOLING_TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    (): ToolingTable,
    ("punch",): PunchTable,
    ("die",): DieTable,
    ("clamp",): ClampTable,
    ("spring",): SpringTable,
    ("station",): StationTable,
    ("friction",): FrictionTable,
    ("blank",): BlankTable,
    ("material",): MaterialTable,
    ("forming_limit",): LimitTable,
    ("marks",): MarksTable,
    **{("material", "hardening", law): table for law, table in LAWS.items()},
}
