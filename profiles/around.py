"""What of a bottom is not the same all round: shape, gauge and yield strength against angle."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import check
from domemargin.profiles.local import cosine_step
from domemargin.profiles.shape.meridian import Meridian


@dataclass(frozen=True)
class Wave:
    """A wave of the dome's and legs' surface along its normal, positive into the can.

    waves : number round the can, 0 to 20.  height : zero to peak, mm.  angle : of a crest, radians.
    It has its full height from half of the dome edge's radius outward to the stand ring, and fades
    towards the axis and the heel.
    """

    waves: int
    height: float
    angle: float = 0.0

    def __post_init__(self) -> None:
        check("around.wave.waves", self.waves)
        check("around.wave.height", self.height)
        check("around.wave.angle", self.angle)
        if self.waves != int(self.waves):
            raise InputError(
                f"around.wave.waves is {self.waves:g}; it must be a whole number",
                "around.wave.waves",
                f"{self.waves:g}",
                "a whole number",
            )


@dataclass(frozen=True)
class Dent:
    """A round dent of bell shape in the dome, pressed out of the can (towards the outside).

    depth : at its middle, mm; negative is a bump into the can.  width : standard deviation of the
    bell, mm.  radius : of its middle from the axis, mm.  angle : where round the can, radians.
    """

    depth: float
    width: float
    radius: float = 0.0
    angle: float = 0.0

    def __post_init__(self) -> None:
        for name in ("depth", "width", "radius", "angle"):
            check(f"around.dent.{name}", getattr(self, name))


@dataclass(frozen=True)
class Scan:
    """A measured shape: distance from the even bottom along its normal, into the can.

    angle : (k,) radians, rising, within one turn; the shape runs on smoothly through them (as a sum
    of waves) and need not be evenly spaced.  arc_length : (m,) mm.  offset : m rows of k, mm.
    """

    arc_length: tuple[float, ...]
    angle: tuple[float, ...]
    offset: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        for i, value in enumerate(self.arc_length):
            check("around.scan.arc_length", value, f"around.scan.arc_length[{i + 1}]")
        turn = 2.0 * np.pi
        for name, values, what in (
            ("arc_length", self.arc_length, "rise from entry to entry"),
            ("angle", self.angle, "rise from entry to entry, within one turn"),
        ):
            rising = all(b > a for a, b in pairwise(values))
            whole = name == "angle" and values[-1] - values[0] >= turn
            if len(values) < 2 or not rising or whole:
                raise InputError(
                    f"around.scan.{name} has {len(values)} entries that do not fit; "
                    f"it must have two or more that {what}",
                    f"around.scan.{name}",
                    f"{len(values)} entries",
                    what,
                )
        shape = [len(row) for row in self.offset]
        if shape != [len(self.angle)] * len(self.arc_length):
            raise InputError(
                f"around.scan.offset has {len(shape)} rows; it must have "
                f"{len(self.arc_length)} rows of {len(self.angle)} entries",
                "around.scan.offset",
                f"{len(shape)} rows",
                f"{len(self.arc_length)} rows of {len(self.angle)} entries",
            )
        for value in self.angle:
            check("around.scan.angle", value)
        for row in self.offset:
            for value in row:
                check("around.scan.offset", value)


@dataclass(frozen=True)
class Around:
    """What differs round the can; angles are counted from the direction of the dome's tilt.

    dome_tilt : of the dome about a line across the can through its edge, radians; at angle 0 it is
        raised.  dome_offset : of the dome against the nose, mm, towards offset_angle.  Both fade
        along shoulder and inner leg, from the edge of the dome to the stand ring.
    ovality : largest less smallest diameter of the stand ring, mm; the whole can is oval,
        largest towards ovality_angle.
    gauge_difference : thickest less thinnest gauge over the mean, one wave round the can, thickest
        at gauge_angle.
    yield_difference : the same of the yield strength, two waves round the can (rolling direction),
        highest at yield_angle and opposite.
    wave, dent, scan : further shape.
    """

    dome_tilt: float = 0.0
    dome_offset: float = 0.0
    offset_angle: float = 0.0
    ovality: float = 0.0
    ovality_angle: float = 0.0
    gauge_difference: float = 0.0
    gauge_angle: float = 0.0
    yield_difference: float = 0.0
    yield_angle: float = 0.0
    wave: tuple[Wave, ...] = ()
    dent: tuple[Dent, ...] = ()
    scan: Scan | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            if field.name not in ("wave", "dent", "scan"):
                check(f"around.{field.name}", getattr(self, field.name))

    def changed(self, **amounts: Any) -> Around:
        """The same with some fields changed, checked again.  Raises InputError."""
        return replace(self, **amounts)

    @property
    def is_even(self) -> bool:
        """Whether nothing differs."""
        sizes = (
            self.dome_tilt, self.dome_offset, self.ovality,
            self.gauge_difference, self.yield_difference,
        )  # fmt: skip
        return not any(sizes) and not self.wave and not self.dent and self.scan is None

    def displacement(self, s: Floats, angle: Floats, meridian: Meridian) -> Floats:
        """(k, m, 3) along radius, hoop and axis, mm, at arc lengths s (k,) and angles (m,)."""
        at = meridian.at(s)
        r, z, phi = at.r[:, None], at.z[:, None], at.phi[:, None]
        out = np.zeros((len(s), len(angle), 3))
        edge = meridian.span("dome")[1]
        first, last = meridian.span("nose")
        lowest = first + (last - first) * _share_to_bottom(meridian, first, last)
        middle, width = 0.5 * (edge + lowest), lowest - edge
        fade = (1.0 - cosine_step((s - middle) / width + 0.5))[:, None]
        edge_z = float(meridian.at(edge).z)
        if self.dome_tilt:
            # a turn about the line at angle 90 degrees through the dome edge's middle, in full
            cos, sin = np.cos(self.dome_tilt), np.sin(self.dome_tilt)
            x, up = r * np.cos(angle), z - edge_z
            dx, dz = x * (cos - 1.0) - up * sin, x * sin + up * (cos - 1.0)
            out[:, :, 0] += fade * dx * np.cos(angle)
            out[:, :, 1] -= fade * dx * np.sin(angle)
            out[:, :, 2] += fade * dz
        if self.dome_offset:
            turn = angle - self.offset_angle
            out[:, :, 0] += fade * self.dome_offset * np.cos(turn)
            out[:, :, 1] -= fade * self.dome_offset * np.sin(turn)
        if self.ovality:
            stretch = 0.25 * self.ovality / float(meridian.at(lowest).r)
            turn = 2.0 * (angle - self.ovality_angle)
            out[:, :, 0] += stretch * r * np.cos(turn)
            out[:, :, 1] -= stretch * r * np.sin(turn)
        normal = np.zeros(out.shape[:2])
        if self.wave:
            edge_r = float(meridian.at(edge).r)
            rise = np.clip(2.0 * r / edge_r, 0.0, 1.0)
            heel = meridian.span("heel")[0]
            over = np.clip((s - lowest) / (heel - lowest), 0.0, 1.0)[:, None]
            window = cosine_step(rise) * (1.0 - cosine_step(over))
            for wave in self.wave:
                normal += window * wave.height * np.cos(wave.waves * (angle - wave.angle))
        for dent in self.dent:
            x = r * np.cos(angle) - dent.radius * np.cos(dent.angle)
            y = r * np.sin(angle) - dent.radius * np.sin(dent.angle)
            far = (x * x + y * y) / (2.0 * dent.width**2)
            normal -= fade * dent.depth * np.exp(-far)
        if self.scan is not None:
            normal += _scanned(self.scan, s, angle)
        out[:, :, 0] -= normal * np.sin(phi)
        out[:, :, 2] += normal * np.cos(phi)
        return out

    def gauge_factor(self, angle: Floats) -> Floats:
        """Gauge over its mean at angles, any shape."""
        return np.asarray(1.0 + 0.5 * self.gauge_difference * np.cos(angle - self.gauge_angle))

    def yield_factor(self, angle: Floats) -> Floats:
        """Yield strength over its mean at angles, any shape."""
        turn = 2.0 * (angle - self.yield_angle)
        return np.asarray(1.0 + 0.5 * self.yield_difference * np.cos(turn))


def _share_to_bottom(meridian: Meridian, first: float, last: float) -> float:
    """Where along the nose its lowest point lies."""
    s = np.linspace(first, last, 401)
    return float(np.argmin(meridian.at(s).z) / 400.0)


def _scanned(scan: Scan, s: Floats, angle: Floats) -> Floats:
    """(k, m) offset: straight lines along the meridian, waves round the can."""
    given, rows = np.asarray(scan.angle), np.asarray(scan.offset)
    most = (len(given) - 1) // 2
    waves = np.arange(most + 1)
    table = np.concatenate((np.cos(np.outer(given, waves)), np.sin(np.outer(given, waves[1:]))), 1)
    found = np.linalg.lstsq(table, rows.T, rcond=None)[0]
    at = np.concatenate((np.cos(np.outer(angle, waves)), np.sin(np.outer(angle, waves[1:]))), 1)
    along = np.stack([np.interp(s, scan.arc_length, row) for row in found])
    return np.asarray((at @ along).T)
