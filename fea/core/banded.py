"""Symmetric banded systems: L^T D L without pivoting, so that the signs of D give the inertia.

band[i, k] holds A[i, i - w + k] of the lower triangle, k = 0..w, so a row is contiguous; what
would stand left of the first column is not looked at.  Elimination goes from the last row up:
a row then changes only rows before it, along themselves, which a processor does several numbers
at a time.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.profiles.arrays import Floats


def _elimination(width: int) -> tuple[Any, Any]:
    """Kernels for bands of one half width, or of any if 0; loops of known length run faster."""

    @kernel
    def eliminate(band: Floats, right: Floats) -> int:
        """Factor in place and carry the right-hand sides (m, n) along: x becomes D^-1 L^-T x."""
        w = width if width else band.shape[1] - 1
        n = band.shape[0]
        flat, x = band.reshape(-1), right.reshape(-1)
        scaled = np.empty(w)
        negative = 0
        for i in range(n - 1, w - 1, -1):
            base = (i * (w + 1)) & POSITIVE
            pivot = flat[base + w]
            if not (abs(pivot) > 0.0):
                return -1
            if pivot < 0.0:
                negative += 1
            per = 1.0 / pivot
            for k in range(w):
                scaled[k] = flat[base + k] * per
            for j in range(w):
                above = (base - (w - j) * w) & POSITIVE
                share = scaled[j]
                for k in range(j + 1):
                    flat[above + k] -= flat[base + k] * share
            for k in range(w):
                flat[base + k] = scaled[k]
            for m in range(right.shape[0]):
                at = (m * n + i - w) & POSITIVE
                value = x[at + w]
                for k in range(w):
                    x[at + k] -= scaled[k] * value
                x[at + w] = value * per
        for i in range(min(w, n) - 1, -1, -1):
            pivot = band[i, w]
            if not (abs(pivot) > 0.0):
                return -1
            if pivot < 0.0:
                negative += 1
            for j in range(i):
                share = band[i, w - i + j] / pivot
                for k in range(j + 1):
                    band[j, w - j + k] -= band[i, w - i + k] * share
                for m in range(right.shape[0]):
                    right[m, j] -= share * right[m, i]
            for j in range(i):
                band[i, w - i + j] /= pivot
            for m in range(right.shape[0]):
                right[m, i] /= pivot
        return negative

    @kernel
    def substitute(band: Floats, right: Floats) -> None:
        """The other half, in place: x becomes L^-1 x."""
        w = width if width else band.shape[1] - 1
        n = band.shape[0]
        flat = band.reshape(-1)
        for m in range(right.shape[0]):
            x = right[m]
            for i in range(min(w, n)):
                for k in range(i):
                    x[i] -= band[i, w - i + k] * x[k]
            for i in range(w, n):
                base, at = (i * (w + 1)) & POSITIVE, (i - w) & POSITIVE
                value = 0.0
                for k in range(w):
                    value += flat[base + k] * x[at + k]
                x[i] -= value

    return eliminate, substitute


# of the shell, of its waves, and of anything else; each is compiled when it is first asked for
_eliminate_8, _substitute_8 = _elimination(8)
eliminate_14, _substitute_14 = _elimination(14)
_BY_WIDTH: dict[int, tuple[Any, Any]] = {
    8: (_eliminate_8, _substitute_8),
    14: (eliminate_14, _substitute_14),
}
_ANY = _elimination(0)


def _kernels(band: Floats) -> tuple[Any, Any]:
    return _BY_WIDTH.get(band.shape[1] - 1, _ANY)


@kernel
def _carry(band: Floats, x: Floats) -> None:
    """What `eliminate` does to a right-hand side, with the factors it left."""
    n, w = band.shape[0], band.shape[1] - 1
    for i in range(n - 1, -1, -1):
        for k in range(max(0, w - i), w):
            x[i - w + k] -= band[i, k] * x[i]
    for i in range(n):
        x[i] /= band[i, w]


def factor(band: Floats) -> int:
    """Factor in place; return the number of negative pivots, or -1 if one is zero or not a number.

    Sylvester: the count is the number of negative eigenvalues of the matrix.
    """
    eliminate, _ = _kernels(band)
    return int(eliminate(band, np.empty((0, band.shape[0]))))


def solve(band: Floats, right: Floats) -> Floats:
    """Solve with the factors of `factor` for a right-hand side (n,)."""
    _, substitute = _kernels(band)
    x = right.reshape(1, -1).copy()
    _carry(band, x[0])
    substitute(band, x)
    return np.asarray(x[0])


def solve_with(band: Floats, right: Floats) -> tuple[int, Floats]:
    """Factor in place and solve for one right-hand side (n,).

    Returns what `factor` does, and the solution.
    """
    eliminate, substitute = _kernels(band)
    x = right.reshape(1, -1).copy()
    negative = eliminate(band, x)
    substitute(band, x)
    return int(negative), np.asarray(x[0])


def bordered(
    band: Floats, residual: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> tuple[int, float, float, Floats]:
    """Newton's update of (u, p) under the condition a_v dV + a_p dp = gap, by two right-hand sides.

    band : tangent, factored in place.  gradient : of V.  Solves K du - dp grad V = -residual.
    Returns the negative pivots (-1: singular), dp, the largest |du| and du.
    """
    eliminate, substitute = _kernels(band)
    x = np.stack((-residual, gradient))
    negative = eliminate(band, x)
    substitute(band, x)
    return int(negative), *_update(x, gradient, gap, a_v, a_p)


def bordered_again(
    band: Floats, residual: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> float:
    """The largest |du| of the update that a band factored before would make."""
    _, substitute = _kernels(band)
    x = np.stack((-residual, gradient))
    for row in x:
        _carry(band, row)
    substitute(band, x)
    return _update(x, gradient, gap, a_v, a_p)[1]


@kernel
def bordered_again_8(
    band: Floats, residual: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> float:
    """`bordered_again` within compiled code, for half width 8."""
    x = np.empty((2, residual.size))
    for i in range(residual.size):
        x[0, i], x[1, i] = -residual[i], gradient[i]
    _carry(band, x[0])
    _carry(band, x[1])
    _substitute_8(band, x)
    _, largest, _ = _update(x, gradient, gap, a_v, a_p)
    return largest


@kernel
def solve_with_8(band: Floats, right: Floats, x: Floats) -> int:
    """`solve_with` within compiled code, for half width 8.  x : (n,) solution, out."""
    x[:] = right
    row = x.reshape((1, x.size))
    negative: int = _eliminate_8(band, row)
    _substitute_8(band, row)
    return negative


@kernel
def bordered_8(
    band: Floats, residual: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> tuple[int, float, float, Floats]:
    """`bordered` within compiled code, for half width 8."""
    x = np.empty((2, residual.size))
    for i in range(residual.size):
        x[0, i], x[1, i] = -residual[i], gradient[i]
    negative = _eliminate_8(band, x)
    _substitute_8(band, x)
    dp, largest, change = _update(x, gradient, gap, a_v, a_p)
    return negative, dp, largest, change


@kernel
def _update(
    x: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> tuple[float, float, Floats]:
    """dp, the largest |du| and du from the solutions for both right-hand sides."""
    n = gradient.size
    fall = growth = 0.0
    for i in range(n):
        fall += gradient[i] * x[0, i]
        growth += gradient[i] * x[1, i]
    dp = (gap - a_v * fall) / (a_v * growth + a_p)
    change = np.empty(n)
    largest = 0.0
    for i in range(n):
        change[i] = x[0, i] + dp * x[1, i]
        # not max(): a NaN must come through
        if not (abs(change[i]) <= largest):
            largest = abs(change[i])
    return dp, largest, change


@kernel
def norm(vector: Floats) -> float:
    """Euclidean norm."""
    total = 0.0
    for i in range(vector.size):
        total += vector[i] * vector[i]
    return math.sqrt(total)
