"""A surrogate of the solver, fitted to solved cases, and its error.

A straight-line trend plus a Gaussian process (Rasmussen & Williams, Gaussian Processes for
Machine Learning, 2006) with a Matern 5/2 kernel of its own length per quantity and a noise term
for the resolution of the solves.  Its error is that of leave-one-out cross-validation, by the
closed form of their eq. 5.12; at the corners of a grid that means extrapolation, so it errs high.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles import InputError
from domemargin.profiles.arrays import Bools, Floats
from domemargin.profiles.units import PSI
from domemargin.studies.study.study import Study
from domemargin.studies.study.table import PRESSURE
from domemargin.studies.study.varied import column_of, kind_of

if TYPE_CHECKING:
    import pandas as pd

MOST_POINTS = 1500  # the fit's cost grows with their cube
_TUNED_ON = 300
_BLOCK = 20_000


class SurrogateError(InputError):
    """A surrogate with too large an error, or too few cases for one."""


@dataclass(frozen=True)
class Surrogate:
    """names : of the quantities, in the order of the columns of points.

    low, high : (d,) range of the cases it was fitted to.  error, worst : leave-one-out error,
    root mean square and largest, MPa.  cases : it was fitted to.
    """

    names: tuple[str, ...]
    low: Floats
    high: Floats
    trend: Floats
    process: Any
    error: float
    worst: float
    cases: int

    def __call__(self, points: Floats) -> Floats:
        """Reversal pressure (n,), MPa, at (n, d) points in internal units."""
        out = np.empty(len(points))
        for start in range(0, len(points), _BLOCK):
            x = self._scaled(points[start : start + _BLOCK])
            rest = 0.0 if self.process is None else self.process.predict(x)
            out[start : start + _BLOCK] = _terms(x) @ self.trend + rest
        return out

    def within(self, points: Floats) -> Bools:
        """(n,) whether points lie in the range of the cases it was fitted to."""
        return np.asarray(((points >= self.low) & (points <= self.high)).all(axis=1))

    def require(self, error: float) -> Surrogate:
        """The surrogate, if its cross-validated error (MPa) is at most this.

        Raises SurrogateError that names both.
        """
        if not self.error <= error:
            raise SurrogateError(
                f"the surrogate's cross-validated error is {self.error / PSI:.3f} psi on "
                f"{self.cases} cases; it must be at most {error / PSI:.3f} psi: solve more cases "
                "or vary less",
                "surrogate",
                f"{self.error / PSI:.3f} psi",
                f"at most {error / PSI:.3f} psi",
            )
        return self

    def _scaled(self, points: Floats) -> Floats:
        return np.asarray(2.0 * (points - self.low) / (self.high - self.low) - 1.0)


def points_of(study: Study, table: pd.DataFrame) -> Floats:
    """(n, d) varied quantities of a table's rows, internal units."""
    columns = []
    for name in study.names:
        values = table[column_of(name)].to_numpy(float)
        columns.append(np.radians(values) if kind_of(name) == "angle" else values)
    return np.stack(columns, axis=1)


def surrogate_of(study: Study, table: pd.DataFrame) -> Surrogate:
    """The surrogate of a study's reversal pressure.  Raises SurrogateError for too few cases."""
    known = table[table[PRESSURE].notna()]
    return fitted(study.names, points_of(study, known), known[PRESSURE].to_numpy(float))


def fitted(names: tuple[str, ...], points: Floats, pressure: Floats) -> Surrogate:
    """A surrogate of pressures (n,), MPa, at (n, d) points."""
    n, d = len(pressure), len(names)
    if n < 3 * (d + 1):
        raise SurrogateError(
            f"a surrogate over {d} {'quantity' if d == 1 else 'quantities'} needs at least "
            f"{3 * (d + 1)} cases with a reversal pressure; there are {n}",
            "surrogate",
        )
    if n > MOST_POINTS:
        keep = np.unique(np.linspace(0, n - 1, MOST_POINTS).astype(int))
        points, pressure, n = points[keep], pressure[keep], len(keep)
    low, high = points.min(axis=0), points.max(axis=0)
    if (low == high).any():
        raise SurrogateError("a surrogate needs cases that differ in every quantity", "surrogate")
    x = 2.0 * (points - low) / (high - low) - 1.0
    terms = _terms(x)
    trend: Floats = np.asarray(np.linalg.lstsq(terms, pressure, rcond=None)[0], dtype=float)
    rest = pressure - terms @ trend
    process = None
    if rest.std() > 1e-9 * abs(pressure).max():
        process = fitted_process(x, rest)
        residual = left_out_errors(process, x, rest)
    else:  # a plane through all points leaves nothing to a process
        hat = np.einsum("ij,ji->i", terms, np.linalg.pinv(terms))
        residual = rest / (1.0 - hat)
    error = float(np.sqrt(np.mean(residual**2)))
    return Surrogate(names, low, high, trend, process, error, float(abs(residual).max()), n)


def _terms(x: Floats) -> Floats:
    return np.concatenate((np.ones((len(x), 1)), x), axis=1)


def fitted_process(x: Floats, rest: Floats) -> Any:
    """A Gaussian process fitted to values rest (n,) at points x (n, d)."""
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    d = x.shape[1]
    kernel = ConstantKernel(10.0, (1e-2, 1e6)) * Matern(
        np.full(d, 3.0), [(0.2, 100.0)] * d, nu=2.5
    ) + WhiteKernel(1e-3, (1e-8, 1.0))
    some = np.unique(np.linspace(0, len(x) - 1, min(_TUNED_ON, len(x))).astype(int))
    with warnings.catch_warnings():
        # a length at its bound means that a quantity has hardly any effect
        warnings.simplefilter("ignore", ConvergenceWarning)
        tuned = GaussianProcessRegressor(kernel, alpha=0.0, normalize_y=True).fit(
            x[some], rest[some]
        )
        if len(some) == len(x):
            return tuned
        return GaussianProcessRegressor(
            tuned.kernel_, alpha=0.0, optimizer=None, normalize_y=True
        ).fit(x, rest)


def left_out_errors(process: Any, x: Floats, rest: Floats) -> Floats:
    """(n,) error at each case of the process without it: Rasmussen & Williams, eq. 5.12."""
    scale, shift = rest.std(), rest.mean()  # what normalize_y takes off
    inverse = np.linalg.inv(process.kernel_(x))
    return np.asarray(scale * (inverse @ ((rest - shift) / scale)) / np.diag(inverse))
