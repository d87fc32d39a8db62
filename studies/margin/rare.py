"""Shares of cans so small that no drawing of cans at random would meet one.

The likeliest failing combinations are found first (design_point.py).  Cans are then drawn about
them, each weighed by how much likelier it is there than on the line (importance sampling; any text
on Monte Carlo methods).  A quadratic surface through solves about each point judges them; a random
part of them, chosen by how doubtful and how heavy they are, is solved, and what the surface got
wrong is put right by those (two-phase sampling, Hansen & Hurwitz 1943, value from memory): the
share is that of the solver, the surface only lowers its variance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from domemargin.profiles.arrays import Floats
from domemargin.studies.margin.design_point import (
    FAR,
    DesignPoint,
    State,
    distinct,
    nearest,
    starts,
)

DRAWN = 20_000
WANTED = 0.10  # coefficient of variation
_BATCH, _LEAST = 20, 20  # solves that put the surface right, at a time and at least
_WIDE = 0.1  # share of cans drawn widely, so that a region nobody looked for may be met
_SHARE_WRONG = 0.1  # of g, by which the surface may be wrong away from where g is nought
_NEARER = 0.3  # standard deviations
_LOOKED = 10  # solves in directions where nothing was found, as far out as the nearest point
MOST_SOLVED = 400


@dataclass(frozen=True)
class Rare:
    """A small share of cans.

    share : of cans that fail; None where none was found (reason).  variation : its coefficient of
    variation.  low, high : 95 % interval, of the drawing alone.  points : likeliest failing
    combinations, the nearest first.  first_order : the share that a plane through the nearest has.
    solves : of the true model.  reached : whether the variation asked for was reached.
    reason : why there is no share, or what is to be known about it; one sentence or "".
    """

    share: float | None
    variation: float | None
    low: float | None
    high: float | None
    points: tuple[DesignPoint, ...]
    first_order: float | None
    solves: int
    reached: bool
    reason: str = ""


class Counted:
    """A limit state that remembers what it was asked: (n, d) u and (n,) g of all solves."""

    def __init__(self, state: State, d: int) -> None:
        self._state = state
        self.u = np.zeros((0, d))
        self.g = np.zeros(0)

    def __call__(self, u: Floats) -> Floats:
        """g at (n, d) scores; a point asked for again is not solved again."""
        out = np.empty(len(u))
        for i, one in enumerate(u):
            known = np.flatnonzero((self.u == one).all(axis=1))
            if known.size:
                out[i] = self.g[known[0]]
                continue
            out[i] = self._state(one[None])[0]
            self.u, self.g = np.vstack((self.u, one)), np.append(self.g, out[i])
        return out


def rare_share(
    state: State,
    d: int,
    guide: State | None = None,
    seed: int = 0,
    wanted: float = WANTED,
    most: int = MOST_SOLVED,
) -> Rare:
    """The share of cans that fail, of d independent standard normal scores.

    state : g, negative where a can fails; costly.  guide : a cheap estimate of it, on which the
    search starts from many places; without one the state itself is searched.  wanted :
    coefficient of variation.  most : solves.
    """
    true = Counted(state, d)
    centre = float(true(np.zeros((1, d)))[0])
    if centre <= 0.0:
        said = "the middle can itself fails: the share is not small, and is that of drawn cans"
        return _none(true, said)
    where = starts(d, seed)
    if guide is None:
        found = []
        for start in where[: 1 + 2 * d]:
            found.append(nearest(true, start))
            if len(true.g) > most // 2:
                break
    else:
        seen = distinct([nearest(guide, start) for start in where])
        found = [nearest(true, point.u, rounds=4) for point in seen]
        if not any(point.arrived for point in found):
            found.append(nearest(true, np.zeros(d)))
    points = distinct(found)
    if not points:
        said = (
            f"no combination of inputs within {FAR:g} standard deviations was found to fail; "
            "that none exists is not shown"
        )
        return _none(true, said)
    return _sampled(true, points, guide, seed, wanted, most)


def _unforeseen(
    true: Counted, surface: Surface, points: list[DesignPoint], rng: np.random.Generator
) -> int:
    """How many of some cans as unlikely as the likeliest failing one fail though the surface holds
    them for sound."""
    ways = rng.standard_normal((_LOOKED, points[0].u.size))
    u = points[0].distance * ways / np.linalg.norm(ways, axis=1)[:, None]
    judged = surface(u) > 3.0 * surface.error
    return int((true(u) < 0.0)[judged].sum())


def _none(true: Counted, reason: str) -> Rare:
    return Rare(None, None, None, None, (), None, len(true.g), False, reason)


def _sampled(
    true: Counted,
    points: list[DesignPoint],
    guide: State | None,
    seed: int,
    wanted: float,
    most: int,
) -> Rare:
    rng = np.random.default_rng(seed + 1)
    d = points[0].u.size
    surface = Surface(true, points, rng)
    u, weight = _drawn(points, d, rng)
    judged = surface(u)
    error = np.full(len(u), surface.error)
    if guide is not None:
        far = surface.distance(u) > surface.reach
        judged[far] = guide(u[far])
        error[far] *= 4.0
    # nothing nearer than the nearest point fails: a surface that says so there bends too much
    inside = np.linalg.norm(u, axis=1) < points[0].distance - _NEARER
    judged[inside] = np.abs(judged[inside])
    below = judged < 0.0
    first = weight * below
    share, first_variance = float(first.mean()), float(first.var()) / len(u)
    # what the surface got wrong
    wrong = ndtr(-np.abs(judged) / np.hypot(error, _SHARE_WRONG * judged))
    chance = weight * np.sqrt(wrong)
    chance /= chance.sum()
    expected = float(np.sum(weight**2 * wrong / chance)) / len(u) ** 2
    terms: list[float] = []
    reached = False
    for _ in range(max(most - len(true.g), 5 * _BATCH) // _BATCH):
        for i in rng.choice(len(u), _BATCH, p=chance):
            fails = float(true(u[i : i + 1])[0]) < 0.0
            terms.append(weight[i] * (float(fails) - float(below[i])) / (len(u) * chance[i]))
        found = share + float(np.mean(terms))
        # a surface that was never seen wrong may be wrong all the same: what its error lets
        # expect counts as ten solves
        second = (len(terms) * float(np.var(terms)) + 10.0 * expected) / (len(terms) + 10.0)
        variance = first_variance + second / len(terms)
        if found > 0.0 and len(terms) >= _LEAST:
            reached = math.sqrt(variance) <= wanted * found
            if reached:
                break
    nearest_one = points[0]
    first_order = float(ndtr(-nearest_one.distance))
    if not terms or found <= 0.0:
        return Rare(None, None, None, None, tuple(points), first_order, len(true.g), False,
                    "too few solves to say a share")  # fmt: skip
    met = _unforeseen(true, surface, points, rng)
    variation = math.sqrt(variance) / found
    spread = math.exp(1.96 * math.sqrt(math.log1p(variation**2)))
    said = ""
    if len(points) > 1:
        said = f"{len(points)} combinations of inputs fail nearly as likely"
    if met:
        reached = False
        said = "cans fail also where the search found nothing: the share is a lower bound"
    return Rare(found, variation, found / spread, min(found * spread, 1.0), tuple(points),
                first_order, len(true.g), reached, said)  # fmt: skip


def _drawn(points: list[DesignPoint], d: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """(n, d) scores drawn about the points, and some widely; (n,) how much likelier each is on the
    line than in this drawing."""
    near = np.array([math.exp(-0.5 * (p.distance**2 - points[0].distance ** 2)) for p in points])
    parts = np.append((1.0 - _WIDE) * near / near.sum(), _WIDE)
    centres = np.vstack([p.u for p in points] + [np.zeros(d)])
    wide = max(points[0].distance / math.sqrt(d), 1.0)
    widths = np.append(np.ones(len(points)), wide)
    which = rng.choice(len(parts), DRAWN, p=parts)
    u = centres[which] + widths[which, None] * rng.standard_normal((DRAWN, d))
    logs = [
        math.log(part) - d * math.log(width) - 0.5 * np.sum(((u - centre) / width) ** 2, axis=1)
        for part, centre, width in zip(parts, centres, widths)
    ]
    return u, np.exp(-0.5 * np.sum(u * u, axis=1) - np.logaddexp.reduce(logs, axis=0))


class Surface:
    """A quadratic about each design point, through the true model.

    error : root mean square of what it misses of solves left out, in g.  reach : distance from a
    point up to which it was fitted.
    """

    def __init__(self, true: Counted, points: list[DesignPoint], rng: np.random.Generator) -> None:
        d = points[0].u.size
        terms = 1 + d + d * (d + 1) // 2
        self._centres = np.array([p.u for p in points])
        self.reach = math.sqrt(d) + 1.5
        fits, missed = [], []
        for point in points:
            near = np.linalg.norm(true.u - point.u, axis=1) <= self.reach
            lacking = max(math.ceil(1.5 * terms) - int(near.sum()), terms // 2)
            true(point.u + rng.standard_normal((lacking, d)))
            near = np.linalg.norm(true.u - point.u, axis=1) <= self.reach
            x, y = _terms(true.u[near] - point.u), true.g[near]
            # solves near the point and near the surface count more
            size = max(float(np.linalg.norm(point.gradient)), 1e-12)
            weight = np.exp(-0.25 * (y / size) ** 2) + 0.05
            root = np.sqrt(weight)
            fits.append(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0])
            hat = np.einsum("ij,ji->i", x * root[:, None], np.linalg.pinv(x * root[:, None]))
            left = (y - x @ fits[-1]) / np.maximum(1.0 - hat, 0.1)
            missed.append(float(np.sqrt(np.average(left**2, weights=weight))))
            floor = 1e-6 * size
        self._fits = fits
        self.error = max(*missed, floor) if len(missed) > 1 else max(missed[0], floor)

    def distance(self, u: Floats) -> Floats:
        """(n,) distance of (n, d) scores from the nearest design point."""
        return np.asarray(self._away(u).min(axis=1))

    def _away(self, u: Floats) -> Floats:
        return np.stack([np.linalg.norm(u - c, axis=1) for c in self._centres], axis=1)

    def __call__(self, u: Floats) -> Floats:
        """(n,) g by the quadratic of the nearest point."""
        which = self._away(u).argmin(axis=1)
        out = np.empty(len(u))
        for k, (centre, fit) in enumerate(zip(self._centres, self._fits)):
            mine = which == k
            out[mine] = _terms(u[mine] - centre) @ fit
        return out


def _terms(x: Floats) -> Floats:
    """(n, terms) 1, x_i and x_i x_j of (n, d) scores."""
    i, j = np.triu_indices(x.shape[1])
    return np.hstack((np.ones((len(x), 1)), x, x[:, i] * x[:, j]))
