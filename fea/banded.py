"""Symmetric banded systems: L D L^T without pivoting, so that the signs of D give the inertia.

band[i, k] holds A[i, i - w + k] of the lower triangle, k = 0..w, so a row is contiguous.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fea.compiled import kernel

Floats = NDArray[np.float64]


@kernel
def factor(band: Floats) -> int:
    """Factor in place; return the number of negative pivots, or -1 if one is zero or not a number.

    Sylvester: the count is the number of negative eigenvalues of the matrix.
    """
    n, w = band.shape[0], band.shape[1] - 1
    negative = 0
    start = np.empty(n, np.int64)
    for i in range(n):
        row = band[i]
        first = max(0, i - w)
        while first < i and row[first - i + w] == 0.0:  # no fill before a row's first entry
            first += 1
        start[i] = first
        for j in range(first, i):
            low = max(first, start[j])
            # row[k] holds L[i, j] D[j] until the row is finished; slices vectorise
            value = row[j - i + w]
            a, b = row[low - i + w : j - i + w], band[j, low - j + w : w]
            for m in range(a.size):
                value -= a[m] * b[m]
            row[j - i + w] = value
        pivot = row[w]
        for j in range(first, i):
            scaled = row[j - i + w] / band[j, w]
            pivot -= scaled * row[j - i + w]
            row[j - i + w] = scaled
        row[w] = pivot
        if not (abs(pivot) > 0.0):
            return -1
        if pivot < 0.0:
            negative += 1
    return negative


@kernel
def solve(band: Floats, rhs: Floats) -> Floats:
    """Solve with the factors of `factor`.  rhs : (n, m) right-hand sides; returns (n, m)."""
    n, w = band.shape[0], band.shape[1] - 1
    m = rhs.shape[1]
    x = rhs.copy()
    for i in range(n):
        for j in range(max(0, i - w), i):
            scale = band[i, j - i + w]
            for k in range(m):
                x[i, k] -= scale * x[j, k]
    for i in range(n):
        for k in range(m):
            x[i, k] /= band[i, w]
    for i in range(n - 1, -1, -1):
        for j in range(max(0, i - w), i):
            scale = band[i, j - i + w]
            for k in range(m):
                x[j, k] -= scale * x[i, k]
    return x


@kernel
def bordered(
    band: Floats, residual: Floats, gradient: Floats, gap: float, a_v: float, a_p: float
) -> tuple[int, float, float, Floats]:
    """Newton's update of (u, p) under the condition a_v dV + a_p dp = gap, by two right-hand sides.

    band : tangent, factored in place.  gradient : of V.  Solves K du - dp grad V = -residual.
    Returns the negative pivots (-1: singular), dp, the largest |du| and du.
    """
    n = residual.size
    negative = factor(band)
    rhs = np.empty((n, 2))
    for i in range(n):
        rhs[i, 0], rhs[i, 1] = -residual[i], gradient[i]
    x = solve(band, rhs)
    fall = growth = 0.0
    for i in range(n):
        fall += gradient[i] * x[i, 0]
        growth += gradient[i] * x[i, 1]
    dp = (gap - a_v * fall) / (a_v * growth + a_p)
    change = np.empty(n)
    largest = 0.0
    for i in range(n):
        change[i] = x[i, 0] + dp * x[i, 1]
        # not max(): a NaN must come through
        if not (abs(change[i]) <= largest):
            largest = abs(change[i])
    return negative, dp, largest, change


@kernel
def norm(vector: Floats) -> float:
    """Euclidean norm."""
    total = 0.0
    for i in range(vector.size):
        total += vector[i] * vector[i]
    return math.sqrt(total)
