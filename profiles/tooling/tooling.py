"""A whole doming station: its tools, its setting and the blank, checked together."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import check, unknown_name
from domemargin.profiles.material import Material
from domemargin.profiles.tooling.chain import die_chain, punch_leg
from domemargin.profiles.tooling.parts import Blank, Clamp, Die, Friction, Marks, Punch, Spring


@dataclass(frozen=True)
class Tooling:
    """A doming station: tools, setting and blank.

    set : how far the end of the punch's stroke lies beyond the place where the flange would meet
    the sheet under the nose were the station rigid, mm; negative: it stops short of that place.
    thinning_limit : share of the gauge, as a mean over 1 mm, beyond which sheet is taken to split;
    None takes it from the hardening (doming_readings.neck_thinning).
    marks : embossed in the centre.  clamp : None where no ring holds the sheet.
    """

    name: str
    punch: Punch
    die: Die
    clamp: Clamp | None
    spring: Spring
    set: float
    friction: Friction
    blank: Blank
    material: Material
    thinning_limit: float | None = None
    marks: Marks = field(default_factory=Marks)

    def __post_init__(self) -> None:
        check("station.set", self.set)
        if self.thinning_limit is not None:
            check("forming_limit.thinning", self.thinning_limit)
        if self.material.yield_strength is None:
            raise InputError(
                "material.yield_strength is missing; metal that is formed must yield",
                "material.yield_strength",
                "missing",
                "a stress",
            )
        room = self.punch.nose_diameter - self.punch.land - 2.0 * self.punch.nose_radius
        most = room - 2.0 * self.blank.gauge
        if self.die.diameter >= most:
            raise InputError(
                f"die.diameter is {self.die.diameter:.6g} mm; it must be less than {most:.6g} mm "
                "to leave the sheet room within the punch",
                "die.diameter",
                f"{self.die.diameter:.6g} mm",
                f"less than {most:.6g} mm",
            )
        _check_fit(self)

    @property
    def clamp_force(self) -> float:
        """Force of the clamp ring, N; 0 where there is none."""
        return 0.0 if self.clamp is None else self.clamp.force

    def replaced(self, **changes: Any) -> Tooling:
        """The tooling with some values changed, checked again.

        changes : "set", "name", "material", or table and field joined by two underscores, such
            as die__flange_height=10.8; internal units.  A factor on the friction of all tools is
            friction=... .  Raises InputError.
        """
        parts: dict[str, Any] = {}
        fields_of: dict[str, dict[str, Any]] = {}
        for name, value in changes.items():
            if name == "friction" and isinstance(value, int | float):
                parts[name] = Friction(value, value, value)
                continue
            table, _, key = name.partition("__")
            if not hasattr(self, table):
                raise unknown_name(name, [f.name for f in fields(self)])
            if not key:
                parts[table] = value
                continue
            old = getattr(self, table)
            if old is None:
                raise InputError(
                    f"{table}.{key} is {value!r}; it must be absent, for the tooling has no "
                    f"[{table}]",
                    f"{table}.{key}",
                    repr(value),
                    "absent",
                )
            if not hasattr(old, key):
                raise unknown_name(f"{table}.{key}", [f.name for f in fields(old)])
            fields_of.setdefault(table, {})[key] = value
        for table, values in fields_of.items():
            parts[table] = replace(parts.get(table, getattr(self, table)), **values)
        return replace(self, **parts)


def _check_fit(tooling: Tooling) -> None:
    """Reject tools that do not fit together.  Raises InputError."""
    punch, clamp = tooling.punch, tooling.clamp
    if punch_leg(punch) <= 0.0:
        raise InputError(
            f"punch.heel_radius is {punch.heel_radius:.6g} mm; it leaves no cone between nose and "
            "heel; a smaller one would",
            "punch.heel_radius",
            f"{punch.heel_radius:.6g} mm",
            "smaller",
        )
    die_chain(tooling.die)
    nose = punch.nose_diameter + punch.land
    if clamp is not None and clamp.inner_diameter < nose:
        raise InputError(
            f"clamp.inner_diameter is {clamp.inner_diameter:.6g} mm; it must be at least "
            f"{nose:.6g} mm, outside the punch nose",
            "clamp.inner_diameter",
            f"{clamp.inner_diameter:.6g} mm",
            f"at least {nose:.6g} mm",
        )
