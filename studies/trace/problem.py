"""What is fitted to a trace: dimensions and pose as one vector, and the residuals it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.local import cosine_step
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.nearest import Feet, nearest
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.studies.trace.pose import Pose, changed, within

PLAIN = (
    "stand_diameter",
    "dome_depth",
    "shoulder_radius",
    "inner_leg_angle",
    "nose_radius",
    "outer_leg_angle",
    "heel_radius",
    "body_diameter",
)
FACES = {"outside": -0.5, "inside": 0.5, "mid": 0.0}
NARROW = 2.5  # mm of diameter that a zone of the dome has at least
_PENALTY = 5.0  # mm, of all points where a chain does not close


class Problem:
    """Points and what is fitted; residuals of a vector of parameters.

    The vector: PLAIN, radii of the dome, break diameters, then axis, floor, tilt and shift.
    """

    def __init__(
        self, x: Floats, z: Floats, face: str, start: Shape, sheet: Sheet, pose: Pose,
        held: Sequence[str], axis_given: bool,
    ) -> None:  # fmt: skip
        self.x, self.z, self.sheet, self.pose, self.base = x, z, sheet, pose, start
        self.lift = FACES[face]
        zones = len(start.dome_radii)
        self.zones = zones
        one = zones == 1
        self.names = (
            *PLAIN,
            *(("dome_radius",) if one else tuple(f"dome_radius_{i + 1}" for i in range(zones))),
            *(f"dome_break_diameter_{i + 1}" for i in range(zones - 1)),
            "axis", "floor", "tilt", "shift",
        )  # fmt: skip
        values = [float(getattr(start, name)) for name in PLAIN]
        values += [*start.dome_radii, *start.dome_break_diameter]
        self.origin = np.array([*values, pose.axis, pose.floor, pose.tilt, 0.0])
        fixed = set(held)
        if not pose.both:
            fixed |= {"tilt", "shift"}
        if axis_given:
            fixed |= {"axis"}
        self.free = np.array([i for i, n in enumerate(self.names) if n not in fixed])
        self.scale = np.where([n.endswith("angle") or n == "tilt" for n in self.names], 0.02, 0.5)

    def full(self, free: Floats) -> Floats:
        """The whole vector of the free part."""
        x = self.origin.copy()
        x[self.free] += self.scale[self.free] * free
        return x

    def shape_of(self, full: Floats) -> Shape | None:
        """The dimensions; None where one is out of range."""
        plain: dict[str, Any] = dict(zip(PLAIN, full[: len(PLAIN)].tolist()))
        dome = full[len(PLAIN) : len(PLAIN) + 2 * self.zones - 1].tolist()
        radii, breaks = dome[: self.zones], dome[self.zones :]
        if np.any(np.diff([0.0, *breaks, plain["stand_diameter"]]) < NARROW):
            return None
        if not all(within(name, value) for name, value in plain.items()):
            return None
        plain["dome_radius"] = tuple(radii) if self.zones > 1 else radii[0]
        plain["dome_break_diameter"] = tuple(breaks)
        return changed(self.base, plain)

    def pose_of(self, full: Floats) -> Pose:
        """How the trace lies."""
        return self.pose._replace(axis=full[-4], floor=full[-3], tilt=full[-2])

    def judged(self, full: Floats) -> tuple[Shape, Floats, Feet, Floats] | None:
        """Shape, residuals, feet and sides; None where the chain does not close."""
        shape = self.shape_of(full)
        chain = None if shape is None else solve(shape, self.sheet)
        if shape is None or not isinstance(chain, Chain):
            return None
        u, h = self.pose_of(full).placed(self.x, self.z)
        side = np.where(u < 0.0, -1.0, 1.0)
        gauge = self.sheet.bottom_gauge
        feet = nearest(chain.meridian, np.abs(u), h, self.lift * gauge)
        first, last = chain.meridian.span("heel")
        begin = 0.5 * (first + last) + self.sheet.transition_start
        share = cosine_step((feet.s - begin) / self.sheet.transition_length)
        thick = gauge + (self.sheet.wall_gauge - gauge) * share
        off = feet.away - self.lift * thick
        if full[-1] != 0.0:
            # the dome and its shoulder moved sideways as one, the inner leg leaning to follow: by
            # so much along the normal
            top, foot = chain.meridian.span("inner_leg")
            share = np.clip((foot - feet.s) / max(foot - top, 1e-9), 0.0, 1.0)
            off = off + full[-1] * share * side * np.sin(feet.phi)
        return shape, off, feet, side

    def residuals(self, free: Floats) -> Floats:
        """(n,) distances of the points from the face, mm."""
        found = self.judged(self.full(free))
        if found is None:
            return np.full(self.x.size, _PENALTY)
        return np.asarray(np.clip(found[1] + np.sign(found[1]) * found[2].beyond, -3.0, 3.0))
