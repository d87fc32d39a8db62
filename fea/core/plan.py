"""How a path is followed, and what its limit is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from domemargin.fea.core.path import Newton


@dataclass(frozen=True)
class Plan:
    """How to ramp.

    step : length of a step, as a share of the two scales.
    volume_scale : mm^3 per radian.  pressure_scale : MPa.
    ceiling : pressure at which to stop looking, MPa.
    most_steps : bound on the number of steps; TRIES times as many may be tried.
    located : relative error to which a limit pressure is found.
    ripple : a limit counts once the pressure has fallen by this share of it.  A dip that heals
        before is passed over, as a can under test passes over it: it takes more pressure.
    known : path length beyond which a fall of `FALLEN` is enough, where a limit was found before.
    stray : a second path that opens while the pressure rises counts once the pressure has risen
        by this share with the tangent still indefinite.
    lengths : of the steps, one by one, in place of `step`; the last one goes on.  What a shortened
        step leaves is made up for, so that the next begins where it would have.
    """

    step: float
    volume_scale: float
    pressure_scale: float
    ceiling: float
    most_steps: int = 400
    located: float = 1e-3
    ripple: float = 0.01
    known: float = math.inf
    stray: float = 0.01
    lengths: tuple[float, ...] = ()
    history: bool = False
    newton: Newton = field(default_factory=Newton)

    def length(self, number: int) -> float:
        """Length of a step by its number, from 0."""
        return self.lengths[min(number, len(self.lengths) - 1)] if self.lengths else self.step


class Limit(NamedTuple):
    """Where the path turns, or its tangent first becomes indefinite.

    pressure : MPa.  before : the last state before it.
    kind : limit (pressure turns) or bifurcation (a pivot turns while pressure still rises).
    place : path length that leads to it, in the unit of Plan.step.
    corner : from 0, the path bends gently there, to 1, it turns at a corner.
    """

    pressure: float
    before: int
    kind: str
    place: float = 0.0
    corner: float = 0.0

    def describe(self, pressure: float) -> str:
        """The same in a sentence, with the pressure that is quoted for it (MPa)."""
        if self.kind == "limit":
            return f"the pressure turns at {pressure:.4g} MPa"
        return f"the tangent turns indefinite at {pressure:.4g} MPa while the pressure rises"
