"""What the compiled loops of a solid take: a body, its loaded edge, and what they write.

Python hands them over as plain tuples (body[:]), which a kernel names again; see shell/given.py.
"""

from __future__ import annotations

from typing import NamedTuple

from domemargin.profiles.arrays import Bools, Floats, Ints


class Body(NamedTuple):
    """A discretised solid of m elements with k nodes and q points each.

    nodes : (m, k) of the elements.  shapes : (q, k) and slopes : (m, q, k, 2) of the k nodes at
    the q points, the latter in reference r, z (1/mm).  weights : (m, q) reference volume per
    radian, mm^3.  radii : (m, q) reference radius, mm.
    material : encoded, see materials.py.  factors : (m, q) on the yield curve.
    prior : (m, q) equivalent plastic strain before loading.
    free : (2 n_nodes,) unknowns that move.
    """

    nodes: Ints
    shapes: Floats
    slopes: Floats
    weights: Floats
    radii: Floats
    material: Floats
    factors: Floats
    prior: Floats
    free: Bools


class Edge(NamedTuple):
    """The edge under pressure, of m pieces with q points each.

    nodes : (m, 3) of the pieces, from the axis to the top.  shapes, slopes : (q, 3) on the unit
    piece.  weights : (q,) of the quadrature.
    """

    nodes: Ints
    shapes: Floats
    slopes: Floats
    weights: Floats


class Found(NamedTuple):
    """What is added to, of n unknowns, and the states that are written.

    residual : (n,).  gradient : (n,) of the volume.  band : (n, w + 1) lower band of the tangent
    (banded.py).  new : (m, q, 5) states of the points.
    """

    residual: Floats
    gradient: Floats
    band: Floats
    new: Floats
