"""The points of a study, determined by the study alone, seed included."""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Iterator

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.study.study import GRID, LIST, SOBOL, Study

Point = dict[str, float]
_BLOCK = 4096


def count(study: Study) -> int:
    """How many points the plan has."""
    kind = study.plan.kind
    if kind == GRID:
        return int(np.prod([len(v.values) for v in study.varied], dtype=np.int64))
    if kind == LIST:
        return len(study.varied[0].values)
    if kind == SOBOL:
        return study.plan.cases
    return study.plan.cases * (len(study.varied) + 2)


def points(study: Study) -> Iterator[Point]:
    """The points in order, quantity -> value in internal units, generated one at a time."""
    names, kind = study.names, study.plan.kind
    if kind == GRID:
        rows: Iterator[tuple[float, ...]] = itertools.product(*(v.values for v in study.varied))
    elif kind == LIST:
        rows = zip(*(v.values for v in study.varied))
    elif kind == SOBOL:
        rows = _sobol(study)
    else:
        rows = map(tuple, saltelli(study).tolist())
    for row in rows:
        yield dict(zip(names, row))


def _sobol(study: Study) -> Iterator[tuple[float, ...]]:
    """A scrambled Sobol sequence (Owen 1998, doi 10.1006/jcom.1998.0487) over the ranges."""
    from scipy.stats import qmc

    sampler = qmc.Sobol(
        len(study.varied), scramble=True, rng=np.random.default_rng(study.plan.seed)
    )
    low, width = _box(study)
    left = study.plan.cases
    with warnings.catch_warnings():
        # how even a sequence is that is not a power of two is said in the study's summary
        warnings.filterwarnings("ignore", "The balance properties")
        while left > 0:
            block = sampler.random(min(left, _BLOCK))
            left -= len(block)
            yield from map(tuple, (low + width * block).tolist())


def saltelli(study: Study) -> Floats:
    """(cases * (d + 2), d) points from which SALib estimates Sobol' indices, internal units.

    Saltelli et al. 2010, doi 10.1016/j.cpc.2009.09.018.
    """
    from SALib.sample import sobol

    return np.asarray(
        sobol.sample(problem(study), study.plan.cases, calc_second_order=False,
                     scramble=True, seed=study.plan.seed)
    )  # fmt: skip


def problem(study: Study) -> dict[str, object]:
    """The ranges in the form SALib takes."""
    return {
        "num_vars": len(study.varied),
        "names": list(study.names),
        "bounds": [[v.low, v.high] for v in study.varied],
    }


def _box(study: Study) -> tuple[Floats, Floats]:
    low = np.array([v.low for v in study.varied])
    return low, np.array([v.high for v in study.varied]) - low
