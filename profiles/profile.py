"""A profile: the shape of a bottom, its sheet and its metal, ready to be solved."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from domemargin.profiles.around import Around
from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import LIMITS, check, check_material, unknown_name
from domemargin.profiles.local import Along, Zone, cosine_step, smooth_through
from domemargin.profiles.material import Material
from domemargin.profiles.quantities import parse_quantity
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.closing import shape_error
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.shape.shape import Shape, Sheet


@dataclass(frozen=True)
class Profile:
    """A bottom.

    name : how it is called in reports.
    shape, sheet, material : its dimensions, gauges and metal.
    zones, along : gauge and metal that differ along the meridian.
    formed : hardening and stress that forming left, layer by layer; it takes the place of any
        prior strain.
    around : what is not the same all round; only `uneven` looks at it, all else rejects it.

    Raises ShapeError if the dimensions do not close to a tangent chain, InputError if zones or
    table do not fit.
    """

    name: str
    shape: Shape
    sheet: Sheet
    material: Material
    zones: tuple[Zone, ...] = ()
    along: Along | None = None
    formed: FormedState | None = None
    around: Around | None = None

    def __post_init__(self) -> None:
        chain = solve(self.shape, self.sheet)
        if not isinstance(chain, Chain):
            raise shape_error(self.shape, self.sheet, chain)
        self.__dict__["chain"] = chain  # fills the cached property below
        for i, zone in enumerate(self.zones):
            if zone.start is not None and zone.start >= self.meridian.length:
                raise InputError(
                    f"zone[{i + 1}].from is {zone.start:.6g} mm; "
                    f"it must be less than the developed length, {self.meridian.length:.6g} mm",
                    f"zone[{i + 1}].from",
                    f"{zone.start:.6g} mm",
                    f"less than {self.meridian.length:.6g} mm",
                )
        if self.zones or (self.along is not None and self.along.gauge is not None):
            self._check_gauge()
        if self.formed is not None:
            self._check_formed()
        if self.material.yield_strength is None:
            along = self.along is not None and self.along.yield_strength is not None
            if along or any(zone.yield_strength is not None for zone in self.zones):
                raise InputError(
                    "yield_strength is given along the meridian but the material is linear "
                    "elastic; give material.yield_strength too",
                    "material.yield_strength",
                    "missing",
                    "a stress",
                )

    def _check_formed(self) -> None:
        """Reject a formed state beside what it holds already, and in metal that cannot yield."""
        prior = self.along is not None and self.along.prior_strain is not None
        if prior or any(zone.prior_strain is not None for zone in self.zones):
            raise InputError(
                "prior_strain is given beside [formed], which holds the metal's strain; "
                "give one of the two",
                "prior_strain",
                "given",
                "absent beside [formed]",
            )
        if self.material.yield_strength is None:
            raise InputError(
                "formed is given but the material is linear elastic; give "
                "material.yield_strength too",
                "material.yield_strength",
                "missing",
                "a stress",
            )

    def _check_gauge(self) -> None:
        """Reject a local gauge that leaves no radius on the tighter surface of an arc."""
        arcs = [
            (segment, start)
            for segment, start in zip(self.meridian.segments, self.meridian.breaks)
            if segment.curvature != 0.0
        ]
        share = np.linspace(0.02, 0.98, 25)
        s = np.array([start + share * segment.length for segment, start in arcs])
        for (segment, _), thickest in zip(arcs, self.thickness(s).max(axis=1)):
            most = 2.0 / abs(segment.curvature)
            if thickest >= most:
                field = "zone.gauge" if self.zones else "along.gauge"
                raise InputError(
                    f"{field} makes the {segment.part} {thickest:.4g} mm thick; its mid-surface "
                    f"radius allows less than {most:.4g} mm",
                    field,
                    f"{thickest:.4g} mm",
                    f"less than {most:.4g} mm",
                )

    @property
    def is_formed(self) -> bool:
        """Whether the metal brings strain from forming: layer by layer, by zones or by a table."""
        prior = self.along is not None and self.along.prior_strain is not None
        zones = any(zone.prior_strain is not None for zone in self.zones)
        return self.formed is not None or prior or zones

    @cached_property
    def chain(self) -> Chain:
        """The solved tangent chain with its leg lengths and dome edge."""
        chain = solve(self.shape, self.sheet)
        assert isinstance(chain, Chain)  # checked on creation
        return chain

    @cached_property
    def meridian(self) -> Meridian:
        """The mid-surface line by arc length."""
        return replace(self.chain.meridian, formed=self.formed)

    @cached_property
    def transition(self) -> tuple[float, float]:
        """Arc lengths from the axis at which the gauge starts and ends to change, mm."""
        first, last = self.meridian.span("heel")
        start = 0.5 * (first + last) + self.sheet.transition_start
        return start, start + self.sheet.transition_length

    def thickness(self, s: ArrayLike) -> Floats:
        """Thickness at arc lengths s, mm (any shape)."""
        s = np.asarray(s, dtype=float)
        if self.along is not None and self.along.gauge is not None:
            t = np.interp(s, self.along.arc_length, self.along.gauge)
        else:
            start, stop = self.transition
            t0, tw = self.sheet.bottom_gauge, self.sheet.wall_gauge
            t = t0 + (tw - t0) * cosine_step((s - start) / (stop - start))
        for zone in self.zones:
            if zone.gauge is not None:
                t = t + zone.weight(s, self.meridian) * (zone.gauge - t)
            elif zone.gauge_factor is not None:
                t = t * (1.0 + zone.weight(s, self.meridian) * (zone.gauge_factor - 1.0))
        return np.asarray(t)

    def prior_strain(self, s: ArrayLike) -> Floats:
        """Equivalent plastic strain the metal brings from forming, at arc lengths s (any shape)."""
        return self._laid_over(s, "prior_strain", 0.0)

    def yield_factor(self, s: ArrayLike) -> Floats:
        """Factor on the material's yield curve at arc lengths s (any shape)."""
        virgin = self.material.yield_strength
        if virgin is None:
            return np.ones_like(np.asarray(s, dtype=float))
        return self._laid_over(s, "yield_strength", virgin) / virgin

    def offset(self, s: ArrayLike) -> tuple[Floats, Floats]:
        """Shape error at arc lengths s: distance of the mid surface from the chain along its
        normal (mm, positive into the can) and its slope along s (any shape)."""
        s = np.asarray(s, dtype=float)
        if self.along is None or self.along.offset is None:
            return np.zeros_like(s), np.zeros_like(s)
        table = np.array(self.along.arc_length), np.array(self.along.offset)
        return smooth_through(*table, s)

    def _laid_over(self, s: ArrayLike, name: str, default: float) -> Floats:
        s = np.asarray(s, dtype=float)
        table = getattr(self.along, name, None)
        value = np.full_like(s, default)
        if self.along is not None and table is not None:
            value = np.interp(s, self.along.arc_length, table)
        for zone in self.zones:
            target = getattr(zone, name)
            if target is not None:
                value = value + zone.weight(s, self.meridian) * (target - value)
        return np.asarray(value)

    @cached_property
    def breakpoints(self) -> Floats:
        """Arc lengths, increasing from 0 to the developed length, between which all is smooth.

        Junctions of the chain, ends of the transition and of zones, entries of the table.
        """
        points = [*self.meridian.breaks, *self.transition]
        for zone in self.zones:
            points += zone.edges(self.meridian)
        if self.along is not None:
            points += self.along.arc_length
        unique = np.unique(points)
        return unique[(unique >= 0.0) & (unique <= self.meridian.length)]

    def replaced(self, **changes: Any) -> Profile:
        """The profile with some values changed, checked again; mm, radians and MPa.

        changes : any field of Shape, Sheet, Material or Profile, such as
            replaced(dome_depth=10.1, bottom_gauge=0.26, yield_strength=280.0).
            A text with a unit does as well: replaced(inner_leg_angle="2 deg").
            A new yield_strength moves the whole yield curve up or down: hardening given as a
            table is moved with it.
        Raises InputError or ShapeError; a chain that does not close is blamed on a changed
        dimension where another value of it would do.
        """
        own: dict[str, Any] = {}
        parts: dict[str, dict[str, Any]] = {"shape": {}, "sheet": {}, "material": {}}
        for name, value in changes.items():
            owner = _OWNER.get(name)
            if owner is None:
                raise unknown_name(name, _OWNER)
            if isinstance(value, str) and f"{owner}.{name}" in LIMITS:
                value = parse_quantity(value, LIMITS[f"{owner}.{name}"].kind, name)
            (own if owner == "profile" else parts[owner])[name] = value
        for owner, new in parts.items():
            if not new:
                continue
            old = own.get(owner, getattr(self, owner))
            if owner == "material":
                new = _checked_material(old, new)
            own[owner] = replace(old, **new)
            if owner == "material":
                check_material(own[owner])
        shape, sheet = own.get("shape", self.shape), own.get("sheet", self.sheet)
        chain = solve(shape, sheet)
        if not isinstance(chain, Chain):
            raise shape_error(shape, sheet, chain, changes)
        return replace(self, **own)


def _checked_material(old: Material, new: dict[str, Any]) -> dict[str, Any]:
    for name, value in new.items():
        if f"material.{name}" in LIMITS and value is not None:
            check(f"material.{name}", value)
    strength = new.get("yield_strength")
    if strength is not None:
        moved = replace(old, hardening=new.get("hardening", old.hardening)).at_yield(strength)
        new = {**new, "hardening": moved.hardening}
    return new


_OWNER = {
    **{f.name: "shape" for f in fields(Shape)},
    **{f.name: "sheet" for f in fields(Sheet)},
    **{f.name: "material" for f in fields(Material)},
    **{f.name: "profile" for f in fields(Profile)},
}
