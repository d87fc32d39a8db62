"""How cans scatter: distributions with correlations, as samples.

Correlated quantities are joined by a normal copula: each is a monotonic function of a standard
normal score, and the scores have the correlation matrix given (Nelsen, An Introduction to
Copulas, 2006, sec. 2.3; value from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

from domemargin.profiles import InputError
from domemargin.profiles.arrays import Floats
from domemargin.studies.study.study import Scatter, Scattered


def correlation_matrix(scatter: Scatter) -> Floats:
    """(d, d) correlations of the normal scores.  Raises InputError if no scatter can have them."""
    names = [q.name for q in scatter.quantities]
    matrix = np.eye(len(names))
    for a, b, value in scatter.correlations:
        i, j = names.index(a), names.index(b)
        matrix[i, j] = matrix[j, i] = value
    if np.linalg.eigvalsh(matrix)[0] < 1e-10:
        raise InputError(
            "correlation has values that contradict each other (their matrix is not positive "
            "definite); they must be weaker",
            "correlation",
        )
    return matrix


def values(scatter: Scatter, scores: Floats) -> Floats:
    """(n, d) values, internal units, of (n, d) standard normal scores."""
    return np.stack([_of(q, scores[:, i]) for i, q in enumerate(scatter.quantities)], axis=1)


def draw(scatter: Scatter, n: int, rng: np.random.Generator) -> Floats:
    """(n, d) normal scores with the scatter's correlations."""
    root = np.linalg.cholesky(correlation_matrix(scatter))
    return rng.standard_normal((n, len(scatter.quantities))) @ root.T


def frozen(scatter: Scatter, scores: Floats, index: int) -> Floats:
    """The scores with one quantity held at its median, the others unchanged."""
    out = scores.copy()
    out[:, index] = 0.0
    return out


def _of(q: Scattered, score: Floats) -> Floats:
    if q.shape == "uniform":
        return np.asarray(q.mean + q.spread * (2.0 * ndtr(score) - 1.0))
    return np.asarray(q.mean + q.spread * score)


def box(scatter: Scatter, reach: float) -> tuple[Floats, Floats]:
    """Lowest and highest values (d,) at scores of -reach and reach."""
    d = len(scatter.quantities)
    return values(scatter, np.full((1, d), -reach))[0], values(scatter, np.full((1, d), reach))[0]


def scores_of(uniform: Floats) -> Floats:
    """Standard normal scores of numbers uniform on 0..1, ends kept finite."""
    return np.asarray(ndtri(np.clip(uniform, 1e-12, 1.0 - 1e-12)))
