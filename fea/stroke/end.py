"""The end of a stroke that the station's spring ends: force against rise, without the noise of
mesh and steps.

A weak spring makes depth follow force: where the die's force rises by k N/mm and the spring's by
c, depth changes by 1 / (k + c) a newton, 1 to 5 mm a kN.  So a few newtons of numerical error
matter.  Two errors were found (measured on the ready tooling, 9 kN):

- metal that passes from element to element makes the force wave by 2 to 4 N, with a period of
  0.3 mm of rise: a local quadratic over five periods is read instead;
- steps of 0.1, 0.05, 0.025 and 0.0125 mm read 31, 20, 11 and 5 N too little (metal that bends and
  unbends within a few tenths of a mm is followed backward in time); the metal forgets its steps
  within 0.15 mm, so two short passes about the end, one of double step, give the limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from domemargin.profiles.tooling.parts import Spring

Floats = NDArray[np.float64]

WIDTH = 0.8  # mm on either side over which the force is read
FORGOTTEN = 0.3  # mm after which the metal has forgotten longer steps
FINE = 0.025  # mm, the step of the finer pass; the other has double
GRID = 0.1  # mm, lattice on which passes start
# excess of the shell's force over the axisymmetric solid's at equal rise, as a share of the
# force, on 20 toolings with 4 elements through the gauge: 0.007 to 0.017.  The shell leaves out the
# pressure across the gauge where tension bends the sheet round an edge.
SHELL_FORCE = 0.017
FORCE_ERROR = 7.0  # N; the largest difference to meshes 1.5 and 2 times as fine, six weak springs


@dataclass(frozen=True)
class Pass:
    """The force of the die (N) at places (mm) that it passed in even steps."""

    places: Floats
    forces: Floats

    def read(self, place: float) -> tuple[float, float]:
        """Force (N) and slope (N/mm) of a weighted quadratic about a place (Cleveland, J. Am.
        Stat. Assoc. 74, 1979: tricube weights)."""
        u = (self.places - place) / WIDTH
        near = np.abs(u) < 1.0
        root = np.sqrt((1.0 - np.abs(u[near]) ** 3) ** 3)
        terms = np.vander(u[near], 3, increasing=True)
        found = np.linalg.lstsq(terms * root[:, None], self.forces[near] * root, rcond=None)[0]
        return float(found[0]), float(found[1]) / WIDTH


@dataclass(frozen=True)
class Curve:
    """Force against rise as two passes give it, the second of double step."""

    fine: Pass
    double: Pass

    def read(self, place: float) -> tuple[float, float]:
        """Force (N) and its slope (N/mm) in the limit of short steps."""
        a, b = self.fine.read(place), self.double.read(place)
        return 2.0 * a[0] - b[0], 2.0 * a[1] - b[1]


def spare(spring: Spring, command: float, place: float, force: float) -> float:
    """Spring force less a force (N) with the die at a place; negative: the spring yields.

    command : place that the drive would bring the die to on a rigid station, mm.
    """
    return spring.load(command - place) - force


def spring_end(curve: Curve, spring: Spring, command: float, low: float, high: float) -> float:
    """The first place in low to high at which the spring carries the die's force, or high."""

    def left(place: float) -> float:
        return spare(spring, command, place, curve.read(place)[0])

    grid = np.linspace(low, high, 1 + max(2, round((high - low) / 0.05)))
    first = next((i for i, place in enumerate(grid) if left(float(place)) < 0.0), None)
    if first is None:
        return high
    if first == 0:
        return low
    a, b = float(grid[first - 1]), float(grid[first])
    while b - a > 1e-6:
        middle = 0.5 * (a + b)
        a, b = (middle, b) if left(middle) > 0.0 else (a, middle)
    return 0.5 * (a + b)
