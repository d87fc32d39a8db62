"""Quadrature and shape functions of the shell: along the meridian and through the gauge."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from domemargin.profiles.arrays import Floats


class LayerRule(NamedTuple):
    """Quadrature through the gauge on (-1, 1), and integrals from the mid-surface.

    points, weights : (n,).  inner : (n, n), row i integrates nodal values from 0 to points[i].
    reach : (2, n), the same from 0 to -1 and to +1.
    """

    points: Floats
    weights: Floats
    inner: Floats
    reach: Floats


@lru_cache(maxsize=32)
def layer_rule(n: int) -> LayerRule:
    """Two Gauss rules of n/2 points, one for each half of the gauge (n even).

    In a hinge the stress jumps near the mid-surface, where one rule over the whole gauge is
    coarsest: on metal that bends and unbends 8 points of this kind do what 25 of one rule do.
    """
    if n % 2:
        raise ValueError(f"layers is {n}; it must be an even number")
    k = n // 2
    g, gw = np.polynomial.legendre.leggauss(k)
    # on the inside half, from 0 to 1: values at the points -> coefficients -> integrals from 0
    degree = np.arange(k)
    to_coefficients = (degree + 0.5)[:, None] * np.polynomial.legendre.legvander(g, k - 1).T * gw
    ends = np.concatenate((g, [1.0]))
    integral = np.stack(
        [
            np.polynomial.legendre.legval(ends, np.polynomial.legendre.legint(row, lbnd=-1.0))
            for row in np.eye(k)
        ],
        axis=1,
    )
    half = 0.5 * integral @ to_coefficients
    inner, reach = np.zeros((n, n)), np.zeros((2, n))
    inner[k:, k:], reach[1, k:] = half[:k], half[k]
    # the outside half is the mirror image
    inner[:k, :k], reach[0, :k] = -half[:k][::-1, ::-1], -half[k][::-1]
    inside = 0.5 * (g + 1.0)
    points = np.concatenate((-inside[::-1], inside))
    return LayerRule(points, 0.5 * np.concatenate((gw, gw)), inner, reach)


class Tables(NamedTuple):
    """Three-node line elements at the points of a Gauss rule.

    shapes : (nq, 3).  slopes : (nel, nq, 3), 1/mm.  weights : (nel, nq), mm.
    s : (nel, nq) arc lengths of the points, mm.
    """

    shapes: Floats
    slopes: Floats
    weights: Floats
    s: Floats


@lru_cache(maxsize=8)
def _reference(points: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Places on (0, 1), weights, shape functions and their slopes of a Gauss rule."""
    x, w = np.polynomial.legendre.leggauss(points)
    x = 0.5 * (x + 1.0)
    shapes = np.stack(((1.0 - x) * (1.0 - 2.0 * x), 4.0 * x * (1.0 - x), x * (2.0 * x - 1.0)), 1)
    slopes = np.stack((4.0 * x - 3.0, 4.0 - 8.0 * x, 4.0 * x - 1.0), 1)
    return x, 0.5 * w, shapes, slopes


def tables(element_ends: Floats, points: int) -> Tables:
    """Tables of a line mesh (nel + 1,), mm, with a Gauss rule of some points in each element.

    Held to scikit-fem's by a test, which has the same but takes a quarter of a second to import.
    """
    x, w, shapes, slopes = _reference(points)
    start, length = element_ends[:-1, None], np.diff(element_ends)[:, None]
    return Tables(shapes, slopes / length[:, :, None], w * length, start + length * x)
