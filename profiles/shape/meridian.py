"""The mid-surface line of a bottom: a chain of arcs and straight lines by arc length.

Frame: (r, z) half plane, z up into the can, stand plane z = 0 on the outside surface.
The line starts on the axis and runs outward, then up the sidewall.  Its tangent is
(cos phi, sin phi) and its normal (-sin phi, cos phi) points to the inside of the can.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.formed import FormedState

PARTS = ("dome", "shoulder", "inner_leg", "nose", "outer_leg", "heel", "sidewall")


class Points(NamedTuple):
    """Mid-surface values at given arc lengths; every field has the shape of the arc lengths.

    r, z : mm.  phi : tangent angle, radians.  curvature : d phi / d s, 1/mm.
    """

    r: Floats
    z: Floats
    phi: Floats
    curvature: Floats


@dataclass(frozen=True)
class Segment:
    """One arc or straight line of the chain.

    part : which part of the bottom it belongs to (one of PARTS).
    r, z : its start, mm.  phi : tangent angle at its start, radians.
    length : mm.  curvature : d phi / d s, 1/mm; 0 for a straight line.
    """

    part: str
    r: float
    z: float
    phi: float
    length: float
    curvature: float

    def at(self, distance: ArrayLike) -> Points:
        """Points at distances from the segment's start, mm (closed form, any shape)."""
        d = np.asarray(distance, dtype=float)
        turn = self.curvature * d
        # chord = d * sinc(turn / 2), along the mean tangent: exact for arcs and for lines
        chord = d * np.sinc(turn / (2.0 * np.pi))
        mean = self.phi + 0.5 * turn
        return Points(
            self.r + chord * np.cos(mean),
            self.z + chord * np.sin(mean),
            self.phi + turn,
            np.full_like(d, self.curvature),
        )

    def next(self, part: str, length: float, curvature: float) -> Segment:
        """The segment that continues this one tangentially."""
        end = self.at(self.length)
        return Segment(part, float(end.r), float(end.z), float(end.phi), length, curvature)


@dataclass(frozen=True)
class Meridian:
    """A tangent chain of segments from the axis outward.

    formed : the formed state of the metal along it, or None.
    """

    segments: tuple[Segment, ...]
    formed: FormedState | None = None

    @cached_property
    def breaks(self) -> Floats:
        """(n_segments + 1,) arc lengths at which segments start and end, mm."""
        lengths = [segment.length for segment in self.segments]
        return np.concatenate(([0.0], np.cumsum(lengths)))

    @property
    def length(self) -> float:
        """Developed length, mm."""
        return float(self.breaks[-1])

    def span(self, part: str) -> tuple[float, float]:
        """First and last arc length of a part, mm.  Raises KeyError if the chain lacks it."""
        index = [i for i, segment in enumerate(self.segments) if segment.part == part]
        if not index:
            raise KeyError(part)
        return float(self.breaks[index[0]]), float(self.breaks[index[-1] + 1])

    def at(self, s: ArrayLike) -> Points:
        """Points at arc lengths s, mm (any shape).

        On a junction the curvature is that of the segment that starts there.
        """
        s = np.asarray(s, dtype=float)
        index = np.clip(
            np.searchsorted(self.breaks, s, side="right") - 1, 0, len(self.segments) - 1
        )
        out = Points(*(np.empty(s.shape) for _ in range(4)))
        for i, segment in enumerate(self.segments):
            here = index == i
            if np.any(here):
                for target, value in zip(out, segment.at(s[here] - self.breaks[i]), strict=True):
                    target[here] = value
        return out
