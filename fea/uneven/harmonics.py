"""Harmonics and stations round the can."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from domemargin.profiles.arrays import Floats


@dataclass(frozen=True)
class Round:
    """Harmonics 0 to `harmonics` at `stations` round the can.

    half : the bottom is its own mirror image in the plane of angle 0, so only cosines of position
    along radius and axis (sines along the hoop) occur, and half of the stations are enough.
    """

    harmonics: int
    stations: int
    half: bool = True

    def __post_init__(self) -> None:
        if self.stations < 2 * self.harmonics + 1 or (self.half and self.stations % 2):
            raise ValueError(
                f"stations is {self.stations}; it must be at least {2 * self.harmonics + 1}"
                + (" and even" if self.half else "")
            )

    @property
    def count(self) -> int:
        """Number of harmonics per unknown of a node."""
        return self.harmonics + 1 if self.half else 2 * self.harmonics + 1

    @cached_property
    def angles(self) -> Floats:
        """(M,) angles of the stations, radians; of half the can where that is enough."""
        step = 2.0 * np.pi / self.stations
        count = self.stations // 2 if self.half else self.stations
        return np.asarray(step * (np.arange(count) + 0.5), dtype=float)

    @cached_property
    def waves(self) -> Floats:
        """(H,) number of waves of each harmonic: first the cosines, then the sines."""
        waves = np.arange(self.harmonics + 1, dtype=float)
        return waves if self.half else np.concatenate((waves, waves[1:]))

    def basis(self, angles: Floats) -> tuple[Floats, Floats]:
        """(3, k, H) values and first two derivatives at angles (k,), for position along radius and
        axis, and for what lies along the hoop.

        Of the sines each pair is the cosine's turned by a quarter of a wave.
        """
        n = self.waves
        turn = np.where(np.arange(self.count) > self.harmonics, 0.5 * np.pi, 0.0)
        at = angles[:, None] * n - turn
        cos, sin = np.cos(at), np.sin(at)
        even = np.stack((cos, -n * sin, -n * n * cos))
        odd = np.stack((sin, n * cos, -n * n * sin))
        if not self.half:
            # a twist that is the same all round
            odd[0, :, 0] = 1.0
        return even, odd
