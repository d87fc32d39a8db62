"""The path control that a user of a general-purpose library writes to get past a limit point.

Arc length with a normal plane and two right-hand sides (E. Riks, Int. J. Solids Struct. 15, 1979,
529; M. A. Crisfield, Non-linear Finite Element Analysis of Solids and Structures, vol. 1, 1991,
ch. 9), step length by the iterations of the last step.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

import numpy as np

from domemargin.profiles.arrays import Floats


class Answer(NamedTuple):
    """limit : MPa, None where none was found.  iterations : tangents factored."""

    limit: float | None
    iterations: int


class Pressed(Protocol):
    """A body under pressure, as a library gives it; unknowns : how many."""

    @property
    def unknowns(self) -> int: ...

    def system(self, u: Floats, p: float) -> tuple[Floats, Floats, Callable[[Floats], Floats]]:
        """Residual, load of a unit pressure, and the factored tangent, at a trial."""

    def accept(self, u: Floats) -> None:
        """Make a converged trial the state that the next step starts from."""


def press(
    body: Pressed, first: float, aim: float = 4.0, tolerance: float = 1e-3, most: int = 400
) -> Answer:
    """Raise the pressure to its first limit.

    first : first step, MPa.  aim : iterations that a step should take.
    tolerance : of the residual, as a share of the pressure forces.
    """
    u, p, iterations = np.zeros(body.unknowns), 0.0, 0
    _, load, solve = body.system(u, p)
    way = solve(load) * first
    size = np.linalg.norm(way)  # the scale of displacements; that of pressure is `first`
    length, sign = 1.0, 1.0
    pressures, places = [0.0], [0.0]
    while len(pressures) <= most:
        along = np.append(way / size, 1.0)
        along *= sign / np.linalg.norm(along)
        normal, rise = along[:-1] / size, along[-1] / first
        du, dp, used = length * along[:-1] * size, length * along[-1] * first, 0
        try:
            while True:
                residual, load, solve = body.system(u + du, p + dp)
                iterations, used = iterations + 1, used + 1
                growth = solve(load)
                force = max(abs(p + dp), first) * np.linalg.norm(load)
                if used > 1 and np.linalg.norm(residual) <= tolerance * force:
                    break
                if used == 12 or not np.isfinite(residual).all():
                    raise ArithmeticError
                back = solve(-residual)
                gap = length - normal @ du - rise * dp
                change = (gap - normal @ back) / (normal @ growth + rise)
                du, dp = du + back + change * growth, dp + change
        except (ArithmeticError, RuntimeError):  # the latter: exactly singular
            length *= 0.5
            if length < 1e-3:
                break
            continue
        u, p, way = u + du, p + dp, growth * first
        body.accept(u)
        sign = float(np.sign(normal @ way + rise * first))  # go on the way the path came
        pressures.append(p)
        places.append(places[-1] + length)
        length *= float(np.clip(np.sqrt(aim / used), 0.5, 2.0))
        if p < 0.99 * max(pressures):
            top = int(np.argmax(pressures))
            near = slice(max(top - 1, 0), top + 2)
            c2, c1, c0 = np.polyfit(places[near], pressures[near], 2)
            return Answer(float(c0 - 0.25 * c1**2 / c2), iterations)
    return Answer(None, iterations)
