"""A bottom in trade dimensions: plain numbers in mm and radians."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.limits import check

SURFACES = ("inside", "mid", "outside")


@dataclass(frozen=True)
class Shape:
    """The dimensions of a bottom.  Lengths in mm, angles in radians.

    radii_on : surface on which radii, break diameters and the body diameter are given:
        "inside" (of the can), "mid" or "outside".
    stand_diameter : diameter of the stand ring (the lowest circle; the same on all surfaces).
    dome_depth : on the outside surface, from the stand plane up to the dome centre.
    dome_radius : one radius, or one per zone from the centre outward.
    dome_break_diameter : diameters at which a dome of several zones changes radius, increasing,
        one fewer than radii.  Zones join tangentially.
    shoulder_radius, nose_radius, heel_radius : radii of the arcs.
    inner_leg_angle : from vertical; positive where the leg goes outward on its way down.
    outer_leg_angle : from vertical.
    body_diameter : of the straight sidewall.
    wall_height : of the straight sidewall above the heel that is modelled.

    Raises InputError for a value out of range (profiles/limits.py), or a stand as wide as the body.
    """

    radii_on: str
    stand_diameter: float
    dome_depth: float
    dome_radius: float | tuple[float, ...]
    shoulder_radius: float
    inner_leg_angle: float
    nose_radius: float
    outer_leg_angle: float
    heel_radius: float
    body_diameter: float
    wall_height: float
    dome_break_diameter: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.radii_on not in SURFACES:
            raise InputError(
                f"shape.radii_on is {brief(self.radii_on)}; it must be inside, mid or outside",
                "shape.radii_on",
                brief(self.radii_on),
                "inside, mid or outside",
            )
        for name in _PLAIN:
            check(f"shape.{name}", getattr(self, name))
        if self.stand_diameter >= self.body_diameter:
            given, allowed = (f"{d:.6g} mm" for d in (self.stand_diameter, self.body_diameter))
            raise InputError(
                f"shape.stand_diameter is {given}; it must be less than body_diameter, {allowed}",
                "shape.stand_diameter",
                given,
                f"less than {allowed}",
            )
        if not self.dome_radii:
            raise InputError("shape.dome_radius is empty; it needs a radius", "shape.dome_radius")
        for radius in self.dome_radii:
            check("shape.dome_radius", radius)
        for diameter in self.dome_break_diameter:
            check("shape.dome_break_diameter", diameter)
        breaks = self.dome_break_diameter
        if len(breaks) != len(self.dome_radii) - 1:
            raise InputError(
                f"shape.dome_break_diameter has {_counted(len(breaks), 'entry', 'entries')}; "
                f"a dome of {_counted(len(self.dome_radii), 'radius', 'radii')} needs "
                f"{len(self.dome_radii) - 1}",
                "shape.dome_break_diameter",
                str(len(breaks)),
                str(len(self.dome_radii) - 1),
            )
        if any(b <= a for a, b in pairwise(breaks)):
            listed = ", ".join(f"{d:.6g}" for d in breaks)
            raise InputError(
                f"shape.dome_break_diameter is {listed} mm; it must increase outward",
                "shape.dome_break_diameter",
                f"{listed} mm",
                "increasing outward",
            )

    @property
    def dome_radii(self) -> tuple[float, ...]:
        """Radii of the dome zones from the centre outward, mm, on the surface radii_on."""
        return self.dome_radius if isinstance(self.dome_radius, tuple) else (self.dome_radius,)


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


_PLAIN = tuple(
    f.name
    for f in fields(Shape)
    if f.name not in ("radii_on", "dome_radius", "dome_break_diameter")
)


@dataclass(frozen=True)
class Sheet:
    """Gauges of a bottom and where one changes into the other.  All in mm.

    bottom_gauge : thickness from the centre to the transition.
    wall_gauge : thickness above the transition.
    transition_length : arc length over which the gauge changes, along half a cosine wave.
    transition_start : arc length from the middle of the heel arc to the start of the
        transition; positive is up the wall, negative is towards the nose.

    Raises InputError for a value out of range (profiles/limits.py).
    """

    bottom_gauge: float
    wall_gauge: float
    transition_length: float
    transition_start: float = 0.0

    def __post_init__(self) -> None:
        for f in fields(self):
            check(f"sheet.{f.name}", getattr(self, f.name))


def mid_radius(radius: float, surface: str, convex_inside: bool, gauge: float) -> float:
    """Radius on the mid surface of an arc given on a surface, mm.

    convex_inside : the arc bulges into the can (dome, shoulder), so that its inside radius is
        the larger one; False for nose and heel and for the body.
    """
    if surface == "mid":
        return radius
    half = 0.5 * gauge if (surface == "inside") != convex_inside else -0.5 * gauge
    return radius + half
