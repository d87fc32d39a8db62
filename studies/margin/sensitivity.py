"""Sobol' indices: which quantity moves the reversal pressure most over a study's ranges.

First order: the share of the variance that goes with one quantity alone; total: its
interactions with others included (Sobol' 2001, doi 10.1016/S0378-4754(00)00270-6; estimators of
Saltelli et al. 2010, doi 10.1016/j.cpc.2009.09.018, by SALib).  Their design cannot lose a
point: a case without a reversal pressure is filled in by the surrogate, and the number of those
is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.margin.surrogate import Surrogate, points_of
from domemargin.studies.study.sampling import problem
from domemargin.studies.study.study import SALTELLI, Study
from domemargin.studies.study.table import PRESSURE

if TYPE_CHECKING:
    import pandas as pd

_BASE = 4096


@dataclass(frozen=True)
class Index:
    """Indices of one quantity with the half widths of their 95 % intervals."""

    name: str
    first: float
    first_error: float
    total: float
    total_error: float


@dataclass(frozen=True)
class Sensitivity:
    """indices : by quantity.  on : what was evaluated, in words.  filled : cases without a reversal
    pressure, filled in by the surrogate; of : number of cases."""

    indices: tuple[Index, ...]
    on: str
    filled: int
    of: int


def sensitivity(study: Study, table: pd.DataFrame, surrogate: Surrogate) -> Sensitivity:
    """Indices over a study's ranges: on the solver for a plan `saltelli`, else on the surrogate."""
    missing = table[PRESSURE].isna().to_numpy()
    if study.plan.kind == SALTELLI:
        pressure = table[PRESSURE].to_numpy(float).copy()
        if missing.any():
            pressure[missing] = surrogate(points_of(study, table)[missing])
        return Sensitivity(
            indices_of(problem(study), pressure), "the solver", int(missing.sum()), len(table)
        )
    from SALib.sample import sobol

    # the seed may be 0, which SALib takes for none given
    points = sobol.sample(problem(study), _BASE, calc_second_order=False, seed=study.plan.seed + 1)
    found = indices_of(problem(study), surrogate(np.asarray(points)))
    return Sensitivity(found, "the surrogate", int(missing.sum()), len(table))


def indices_of(problem: dict[str, Any], values: Floats) -> tuple[Index, ...]:
    """Indices of values (cases * (d + 2),) at the points of a Saltelli design."""
    from SALib.analyze import sobol

    found = sobol.analyze(
        problem, values, calc_second_order=False, num_resamples=200, seed=1, print_to_console=False
    )
    rows = zip(problem["names"], found["S1"], found["S1_conf"], found["ST"], found["ST_conf"])
    return tuple(Index(name, *(float(v) for v in numbers)) for name, *numbers in rows)
