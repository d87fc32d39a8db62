"""The tools of a doming station and the blank, as data; each is checked by itself.

Frame: (r, z) half plane of the punch, z up into the can; the punch's lowest circle is z = 0.
The clamp ring and the die, with its flange, come from below.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import check

LAWS = ("constant", "linear", "table")


def _check_all(owner: str, table: Any, skip: tuple[str, ...] = ()) -> None:
    for f in fields(table):
        if f.name not in skip:
            check(f"{owner}.{f.name}", getattr(table, f.name))


@dataclass(frozen=True)
class Punch:
    """The end of the punch that carries the can.  Lengths in mm, angles in radians.

    nose_radius : of its nose, on the punch.  nose_diameter : of the middle of its lowest circle
    or land.  land : width of the flat there.  leg_angle : from vertical, of the cone outside the
    nose.  heel_radius : of the corner into its side.  body_diameter : of its side.
    """

    nose_radius: float
    nose_diameter: float
    leg_angle: float
    heel_radius: float
    body_diameter: float
    land: float = 0.0

    def __post_init__(self) -> None:
        _check_all("punch", self)


@dataclass(frozen=True)
class Die:
    """The dome die with its flange.  Lengths in mm on the die, angles in radians.

    dome_radius : one radius, or one per zone from the centre outward; dome_break_diameter : where
    zones meet, one fewer.  edge_radius : from dome to side.  diameter : where its side meets the
    flange.  side_angle : of the side from vertical, wider at the flange.  fillet_radius : there.
    flange_height : of the die's centre above the flange; a spacer under the dome part adds to it.
    flange_diameter : outer.
    """

    dome_radius: tuple[float, ...]
    edge_radius: float
    diameter: float
    side_angle: float
    flange_height: float
    flange_diameter: float
    fillet_radius: float = 0.4
    dome_break_diameter: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        _check_all("die", self, ("dome_radius", "dome_break_diameter"))
        for radius in self.dome_radius:
            check("die.dome_radius", radius)
        for diameter in self.dome_break_diameter:
            check("die.dome_break_diameter", diameter)
        breaks, wanted = self.dome_break_diameter, len(self.dome_radius) - 1
        if len(breaks) != wanted:
            raise InputError(
                f"die.dome_break_diameter has {len(breaks)} entries; a die of "
                f"{len(self.dome_radius)} radii needs {wanted}",
                "die.dome_break_diameter",
                str(len(breaks)),
                str(wanted),
            )
        if any(b <= a for a, b in pairwise(breaks)):
            raise InputError(
                f"die.dome_break_diameter is {list(breaks)}; it must increase outward",
                "die.dome_break_diameter",
                str(list(breaks)),
                "increasing outward",
            )


@dataclass(frozen=True)
class Clamp:
    """The ring that holds the sheet against the punch.  mm, radians, N.

    inner_diameter, outer_diameter : of its cone.  edge_radius : of both its edges.  angle : of
    its cone from vertical.  force : with which it presses, up.
    """

    inner_diameter: float
    outer_diameter: float
    angle: float
    force: float
    edge_radius: float = 0.5

    def __post_init__(self) -> None:
        _check_all("clamp", self)
        if self.outer_diameter <= self.inner_diameter + 4.0 * self.edge_radius:
            least = self.inner_diameter + 4.0 * self.edge_radius
            raise InputError(
                f"clamp.outer_diameter is {self.outer_diameter:.6g} mm; it must be more than "
                f"{least:.6g} mm, the inner diameter and four edge radii",
                "clamp.outer_diameter",
                f"{self.outer_diameter:.6g} mm",
                f"more than {least:.6g} mm",
            )


@dataclass(frozen=True)
class Spring:
    """The spring that holds the station against the punch: force against overtravel.

    law : constant (preload), linear (preload + rate * overtravel) or table (straight lines
    through (travel, force), level after the last).  preload : N; below it the station stands
    still.  rate : N/mm.  travel : mm, increasing from 0.  force : N, not decreasing.
    """

    law: str
    preload: float = 0.0
    rate: float = 0.0
    travel: tuple[float, ...] = ()
    force: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.law not in LAWS:
            raise InputError(
                f"spring.law is {self.law!r}; it must be constant, linear or table",
                "spring.law",
                repr(self.law),
                ", ".join(LAWS),
            )
        if self.law != "table":
            check("spring.preload", self.preload)
            check("spring.rate", self.rate)
            return
        for value in self.travel:
            check("spring.travel", value)
        for value in self.force:
            check("spring.force", value)
        if len(self.travel) != len(self.force) or len(self.travel) < 2 or self.travel[0] != 0.0:
            raise InputError(
                f"spring.travel has {len(self.travel)} entries and spring.force "
                f"{len(self.force)}; they must be of one length, at least 2, travel from 0",
                "spring.travel",
                str(len(self.travel)),
                "as long as spring.force, from 0",
            )
        rises = all(b > a for a, b in pairwise(self.travel))
        if not rises or any(b < a for a, b in pairwise(self.force)):
            raise InputError(
                "spring.travel must increase and spring.force must not decrease along the table",
                "spring.travel",
                str(list(self.travel)),
                "increasing",
            )

    def load(self, travel: float) -> float:
        """Force at an overtravel (mm), N; at 0, the largest force without overtravel."""
        if self.law == "table":
            for (t0, t1), (f0, f1) in zip(pairwise(self.travel), pairwise(self.force)):
                if travel <= t1:
                    return f0 + (f1 - f0) * max(travel - t0, 0.0) / (t1 - t0)
            return self.force[-1]
        rate = self.rate if self.law == "linear" else 0.0
        return self.preload + rate * max(travel, 0.0)

    def overtravel(self, load: float) -> float:
        """Overtravel of the station under a load, mm; infinite where the spring yields."""
        if self.law == "table":
            if load <= self.force[0]:
                return 0.0
            for (t0, t1), (f0, f1) in zip(pairwise(self.travel), pairwise(self.force)):
                if load <= f1 and f1 > f0:
                    return t0 + (t1 - t0) * (load - f0) / (f1 - f0)
            return float("inf")
        if load <= self.preload:
            return 0.0
        rate = self.rate if self.law == "linear" else 0.0
        return (load - self.preload) / rate if rate > 0.0 else float("inf")


@dataclass(frozen=True)
class Friction:
    """Coefficients of friction of the sheet on each tool."""

    punch: float
    die: float
    clamp: float

    def __post_init__(self) -> None:
        _check_all("friction", self)


@dataclass(frozen=True)
class Blank:
    """The cup's bottom before doming: flat inside the nose, lying on the punch outside it.

    gauge, wall_gauge : mm.  transition_start : arc length from the middle of the heel to where
    the gauge starts to change; transition_length : over which it does.  wall_height : of straight
    wall that is modelled.  wall_grip : axial force with which the wall grips the punch, N.
    prior_strain : equivalent plastic strain outside the nose from cupping and ironing.
    """

    gauge: float
    wall_gauge: float
    transition_length: float
    transition_start: float = 4.0
    wall_height: float = 30.0
    wall_grip: float = 1500.0
    prior_strain: float = 0.0

    def __post_init__(self) -> None:
        _check_all("blank", self)


@dataclass(frozen=True)
class Marks:
    """Marks embossed in the bottom's centre.  All in mm.

    width, height : of a mark.  diameter : of the circle that contains the marks.
    counter_diameter : of a counter-face in the punch that presses the sheet onto the die there;
    0 without a counter-face, where the sheet is only stretched over the marks.
    """

    width: float = 1.0
    height: float = 0.1
    diameter: float = 20.0
    counter_diameter: float = 0.0

    def __post_init__(self) -> None:
        _check_all("marks", self)
