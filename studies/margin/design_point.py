"""Where cans fail first: the likeliest combination of inputs at which a limit is just missed.

In independent standard normal scores u the likelihood falls with the distance from the origin, so
the likeliest failing can is the nearest point of the surface g(u) = 0 (Hasofer & Lind 1974).  The
search is that of Rackwitz & Fiessler (1978) with the step control of Zhang & Der Kiureghian
(1995); values from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats

State = Callable[[Floats], Floats]  # (n, d) scores -> (n,) g, negative where a can fails

FAR = 8.0  # standard deviations up to which a failing combination is looked for
CLOSE = 0.02  # of the surface, in standard deviations, at which a search has arrived
STEP = 0.5  # standard deviations, half the distance of the two values of a difference
_ROUNDS = 25
_SAME = 0.9  # cosine of two directions above which they lead to one point
WORTH = 1.5  # standard deviations beyond the nearest point at which another still matters


@dataclass(frozen=True)
class DesignPoint:
    """u : (d,) scores.  distance : from the origin, standard deviations.  gradient : (d,) of g
    there.  arrived : whether g is nought there and u at right angles to the surface."""

    u: Floats
    distance: float
    gradient: Floats
    arrived: bool

    @property
    def shares(self) -> Floats:
        """(d,) share of each score in the squared distance."""
        total = float(self.u @ self.u)
        return np.asarray(self.u**2 / total if total > 0.0 else np.zeros_like(self.u))


def gradient(state: State, u: Floats, step: float = STEP) -> tuple[float, Floats]:
    """g and its gradient (d,) at a point, by central differences in one call of the state."""
    d = u.size
    around = np.vstack((u, u + step * np.eye(d), u - step * np.eye(d)))
    g = state(around)
    return float(g[0]), np.asarray((g[1 : d + 1] - g[d + 1 :]) / (2.0 * step))


def nearest(state: State, start: Floats, rounds: int = _ROUNDS) -> DesignPoint:
    """The nearest failing point that a search from `start` finds.

    A search that does not arrive returns where it ended, with arrived False.
    """
    u = np.array(start, dtype=float)
    value, slope = gradient(state, u)
    for _ in range(rounds):
        size = float(np.linalg.norm(slope))
        if size < 1e-12:
            break
        target = slope * (slope @ u - value) / size**2
        if np.linalg.norm(target) > FAR + 2.0:
            target *= (FAR + 2.0) / np.linalg.norm(target)
        if abs(value) / size < CLOSE and np.linalg.norm(target - u) < 3.0 * CLOSE:
            return DesignPoint(u, float(np.linalg.norm(u)), slope, True)
        # a step that makes the merit 0.5 |u|^2 + c |g| worse is halved
        c = 2.0 * max(float(np.linalg.norm(u)), 1.0) / size

        def merit(at: Floats, g: float, c: float = c) -> float:
            return 0.5 * float(at @ at) + c * abs(g)

        before, length = merit(u, value), 1.0
        for _ in range(5):
            trial = u + length * (target - u)
            reached = float(state(trial[None])[0])
            if merit(trial, reached) < before:
                break
            length *= 0.5
        u = trial
        value, slope = gradient(state, u)
    size = float(np.linalg.norm(slope))
    arrived = size > 1e-12 and abs(value) / size < CLOSE
    return DesignPoint(u, float(np.linalg.norm(u)), slope, arrived)


def starts(d: int, seed: int, random: int = 12) -> Floats:
    """(n, d) places to search from: the origin, both ways along each score, random directions."""
    rng = np.random.default_rng(seed)
    ways = rng.standard_normal((random, d))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return np.vstack((np.zeros((1, d)), 3.0 * np.eye(d), -3.0 * np.eye(d), 3.0 * ways))


def distinct(found: list[DesignPoint]) -> list[DesignPoint]:
    """Points that arrived, nearest first, each direction once, those that hardly matter left
    out."""
    kept: list[DesignPoint] = []
    for point in sorted((p for p in found if p.arrived), key=lambda p: p.distance):
        if point.distance > FAR or (kept and point.distance > kept[0].distance + WORTH):
            continue
        if all(_cosine(point.u, other.u) < _SAME for other in kept):
            kept.append(point)
    return kept


def _cosine(a: Floats, b: Floats) -> float:
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(a @ b) / size if size > 0.0 else 1.0
