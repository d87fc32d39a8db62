"""Gauge and metal that differ along the meridian: zones, and tables against arc length."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.limits import check
from domemargin.profiles.shape.meridian import PARTS, Meridian

# Of a shape error against arc length: 45 degrees off the chain, which no measured bottom has.  Of
# 700 random steps of 0.001 to 0.5 mm within 0.01 to 5 mm the solver failed on 5, all of slopes of
# 3.3 and more.
MOST_SLOPE = 1.0

CHANGES = ("gauge", "gauge_factor", "prior_strain", "yield_strength")


@dataclass(frozen=True)
class Zone:
    """A stretch of the meridian with its own gauge or metal.

    part : the part of the bottom it covers (one of meridian.PARTS), or None.
    start, stop : else the arc lengths it covers, mm.
    gauge : thickness there, mm; or gauge_factor : multiplies the sheet's thickness.
    prior_strain : equivalent plastic strain the metal brings from forming.
    yield_strength : initial yield stress before that strain, MPa; it scales the yield curve.
    blend : arc length over which the zone fades in and out at each end, centred on the end,
        along half a cosine wave, mm; 0 is a sharp edge.  There is no fade on the axis and at
        the top of the wall.

    Where zones overlap, the later one in the list is laid over the earlier one.
    Raises InputError for a value out of range or for an unclear extent.
    """

    part: str | None = None
    start: float | None = None
    stop: float | None = None
    gauge: float | None = None
    gauge_factor: float | None = None
    prior_strain: float | None = None
    yield_strength: float | None = None
    blend: float = 0.5

    def __post_init__(self) -> None:
        for name in (*CHANGES, "blend"):
            if getattr(self, name) is not None:
                check(f"zone.{name}", getattr(self, name))
        ends = (self.start, self.stop)
        if (self.part is None) == (ends == (None, None)) or (None in ends and self.part is None):
            raise InputError(
                "zone.part is unclear; a zone needs either part or both from and to",
                "zone.part",
                brief(self.part),
                "either part or both from and to",
            )
        if self.part is not None and self.part not in PARTS:
            raise InputError(
                f"zone.part is {brief(self.part)}; it must be one of {', '.join(PARTS)}",
                "zone.part",
                brief(self.part),
                ", ".join(PARTS),
            )
        if self.start is not None and self.stop is not None:
            check("zone.from", self.start)
            check("zone.to", self.stop)
            if self.stop <= self.start:
                raise InputError(
                    f"zone.to is {self.stop:.6g} mm; it must be beyond from, {self.start:.6g} mm",
                    "zone.to",
                    f"{self.stop:.6g} mm",
                    f"more than {self.start:.6g} mm",
                )
        if self.gauge is not None and self.gauge_factor is not None:
            raise InputError(
                f"zone.gauge_factor is {self.gauge_factor:.6g} beside gauge "
                f"{self.gauge:.6g} mm; give one of the two",
                "zone.gauge_factor",
                f"{self.gauge_factor:.6g}",
                "absent beside gauge",
            )

        if not any(getattr(self, name) is not None for name in CHANGES):
            raise InputError(
                f"zone.gauge is missing; a zone needs at least one of {', '.join(CHANGES)}",
                "zone.gauge",
                "missing",
                f"at least one of {', '.join(CHANGES)}",
            )

    def extent(self, meridian: Meridian) -> tuple[float, float]:
        """First and last arc length of the zone on a meridian, mm."""
        if self.part is not None:
            return meridian.span(self.part)
        assert self.start is not None
        assert self.stop is not None
        return self.start, min(self.stop, meridian.length)

    def weight(self, s: Floats, meridian: Meridian) -> Floats:
        """How much of the zone applies at arc lengths s: 0 outside to 1 inside (any shape)."""
        first, last = self.extent(meridian)
        weight = np.ones_like(s)
        if first > 0.0:
            weight *= _step(s - first, self.blend)
        if last < meridian.length:
            weight *= 1.0 - _step(s - last, self.blend)
        return weight

    def edges(self, meridian: Meridian) -> tuple[float, ...]:
        """Arc lengths at which the weight is not smooth, mm."""
        first, last = self.extent(meridian)
        half = 0.5 * self.blend
        return (first - half, first + half, last - half, last + half)


def _step(distance: Floats, width: float) -> Floats:
    """0 to 1 along half a cosine wave of the given width centred on 0; sharp if width is 0."""
    if width == 0.0:
        return (distance >= 0.0).astype(float)
    return cosine_step(distance / width + 0.5)


def cosine_step(x: Floats) -> Floats:
    """0 for x <= 0, 1 for x >= 1, half a cosine wave between (any shape)."""
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(x, 0.0, 1.0))


@dataclass(frozen=True)
class Along:
    """Gauge and metal as measured against arc length from the axis.

    arc_length : increasing, mm, at least two.  gauge : mm.  prior_strain : -.
    yield_strength : MPa, as in Zone.  offset : shape error, the distance of the mid surface
        from the tangent chain along its normal, positive into the can, mm.
    Each is None or has one entry per arc length.

    Straight lines between entries, the end values beyond them; the offset runs along a smooth
    curve (smooth_through).  Zones are laid over it.
    Raises InputError for a value out of range, lists that do not match, or an offset whose slope is
    above MOST_SLOPE.
    """

    arc_length: tuple[float, ...]
    gauge: tuple[float, ...] | None = None
    prior_strain: tuple[float, ...] | None = None
    yield_strength: tuple[float, ...] | None = None
    offset: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        count = len(self.arc_length)
        for f in fields(self):
            values = getattr(self, f.name)
            if values is None:
                continue
            if len(values) != count:
                raise InputError(
                    f"along.{f.name} has {len(values)} entries; "
                    f"it needs {count}, one per arc_length",
                    f"along.{f.name}",
                    str(len(values)),
                    str(count),
                )
            for i, value in enumerate(values):
                check(f"along.{f.name}", value, f"along.{f.name}[{i + 1}]")
        if count < 2 or any(b <= a for a, b in pairwise(self.arc_length)):
            listed = ", ".join(f"{value:.6g}" for value in self.arc_length)
            raise InputError(
                f"along.arc_length is {listed} mm; it needs at least two increasing lengths",
                "along.arc_length",
                f"{listed} mm",
                "at least two, increasing",
            )
        if self.offset is not None:
            self._check_slope(np.array(self.arc_length), np.array(self.offset))

    def _check_slope(self, s: Floats, offset: Floats) -> None:
        """Reject a shape error that leaves the chain more steeply than MOST_SLOPE."""
        inside = np.linspace(0.0, 1.0, 9)  # the slope is a parabola between two entries
        at = s[:-1, None] + np.diff(s)[:, None] * inside
        slope = np.abs(smooth_through(s, offset, at)[1]).max(axis=1)
        i = int(np.argmax(slope))
        if slope[i] > MOST_SLOPE:
            change = f"{offset[i]:.6g} mm to {offset[i + 1]:.6g} mm"
            raise InputError(
                f"along.offset goes from {change} between {s[i]:.6g} mm and {s[i + 1]:.6g} mm of "
                f"arc length, with a slope of {slope[i]:.3g}; it must be at most {MOST_SLOPE:g} "
                "(45 deg)",
                "along.offset",
                change,
                f"a slope of at most {MOST_SLOPE:g}",
            )


def smooth_through(x: Floats, y: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Value and slope of a smooth curve through points (x, y), x increasing, at any places.

    Cubic between points, with the slope of the parabola through three neighbours at a point
    and level ends; held beyond them.
    """
    step, rise = np.diff(x), np.diff(y) / np.diff(x)
    slope = np.zeros_like(y)
    slope[1:-1] = (rise[:-1] * step[1:] + rise[1:] * step[:-1]) / (step[:-1] + step[1:])
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h = step[i]
    t = np.clip((at - x[i]) / h, 0.0, 1.0)
    a, b, m, n = y[i], y[i + 1], h * slope[i], h * slope[i + 1]
    value = a + t * (m + t * (3.0 * (b - a) - 2.0 * m - n + t * (2.0 * (a - b) + m + n)))
    turn = m + t * (2.0 * (3.0 * (b - a) - 2.0 * m - n) + 3.0 * t * (2.0 * (a - b) + m + n))
    return value, turn / h
