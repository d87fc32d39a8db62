"""Rare failures of a line: its scatter and the solver as a limit state of normal scores."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import InputError
from domemargin.profiles.arrays import Floats
from domemargin.profiles.limits import shown
from domemargin.studies.margin.design_point import DesignPoint
from domemargin.studies.margin.rare import Rare, rare_share
from domemargin.studies.margin.surrogate import Surrogate
from domemargin.studies.study.distributions import correlation_matrix, values
from domemargin.studies.study.study import Scatter, Scattered, Study
from domemargin.studies.study.varied import bottom_at, kind_of


@dataclass(frozen=True)
class Part:
    """One quantity of a failing combination, internal units.

    value : there.  usual : its mean.  away : in its own standard deviations (of the normal score
    that it is a function of).  tail : what is assumed of its tail, in words.
    """

    name: str
    value: float
    usual: float
    away: float
    tail: str


@dataclass(frozen=True)
class RareReport:
    """rare : the share.  combinations : of inputs that fail likeliest, one a design point.
    unanswered : solves without an answer, counted as failing.  seconds : of this process."""

    rare: Rare
    combinations: tuple[tuple[Part, ...], ...]
    unanswered: int
    seconds: float


def rare_report(
    study: Study, surrogate: Surrogate, solve: Callable[..., Any] = reversal
) -> RareReport:
    """Rare failures of a study's scatter.  Raises InputError for a study without [scatter]."""
    scatter, required = study.scatter, study.requirement()
    if scatter is None:
        raise InputError("scatter is missing from the study; give [scatter.<quantity>]", "scatter")
    started = time.process_time()
    names = [q.name for q in scatter.quantities]
    root: Floats = np.asarray(np.linalg.cholesky(correlation_matrix(scatter)), dtype=float)
    settings = replace(study.settings, growth_at=(), required=None)
    unanswered = 0

    def state(u: Floats) -> Floats:
        nonlocal unanswered
        out = np.empty(len(u))
        for i, row in enumerate(values(scatter, u @ root.T)):
            pressure = _pressure(study, dict(zip(names, row.tolist())), settings, solve)
            unanswered += pressure is None
            out[i] = -0.1 * required if pressure is None else pressure - required
        return out

    def guide(u: Floats) -> Floats:
        return np.asarray(surrogate(values(scatter, u @ root.T)) - required)

    rare = rare_share(state, len(names), guide, scatter.seed)
    combinations = tuple(_parts(scatter, root, point) for point in rare.points)
    return RareReport(rare, combinations, unanswered, time.process_time() - started)


def _pressure(
    study: Study, point: dict[str, float], settings: Any, solve: Callable[..., Any]
) -> float | None:
    try:
        record = solve(bottom_at(study.profile, point), settings)
    except InputError:
        return None
    if record.kind == "none_below_ceiling":
        return float(settings.ceiling)
    found = record.reversal_pressure_mpa
    return None if found is None else float(found)


def _parts(scatter: Scatter, root: Floats, point: DesignPoint) -> tuple[Part, ...]:
    scores = root @ point.u
    there = values(scatter, scores[None])[0]
    return tuple(
        Part(q.name, float(value), q.mean, float(score), tail_words(q, float(score)))
        for q, value, score in zip(scatter.quantities, there, scores)
    )


def tail_words(q: Scattered, away: float) -> str:
    """What is assumed of a quantity as far out as a failing can."""
    spread = shown(q.spread, kind_of(q.name), 4)
    if q.shape == "uniform":
        return f"uniform, none beyond ± {spread}"
    return f"normal, {spread}, also {abs(away):.1f} deviations out"
