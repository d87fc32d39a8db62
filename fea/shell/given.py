"""What the compiled loops of a shell take: a body, where a step starts, and what they write.

Python hands them over as plain tuples (body[:]), which a kernel names again: numba needs a
microsecond to take a named tuple from Python, and a tenth of it for a plain one.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from domemargin.profiles.arrays import Floats, Ints

Fields = tuple[Any, ...]  # of one of these


class Body(NamedTuple):
    """A discretised shell.

    Element e joins nodes 2e, 2e+1, 2e+2; points are numbered along the elements.
    shapes : (nq, 3), slopes : (nel, nq, 3), weights : (nel, nq) of the quadrature in S; with
        full_ those of a rule that is exact for the volume under the mid-surface.
    shear_strain : (n_points,) undeformed g.
    first_layer : (n_points + 1,) first layer of each point.
    per_length : (2, n_layers) 1 / (a0 - y0 phi0'), 1 / (r0 - y0 sin phi0).
    layer_weight : (n_layers,) area per radian and length.
    material : encoded, see materials.py.
    radius : (n_points,) undeformed r.  prior : (n_layers,) plastic strain before loading.
    fixed : numbers of the unknowns held: zero residual and gradient, 1 on the diagonal.
    """

    shapes: Floats
    slopes: Floats
    weights: Floats
    full_shapes: Floats
    full_slopes: Floats
    full_weights: Floats
    shear_strain: Floats
    first_layer: Ints
    per_length: Floats
    layer_weight: Floats
    material: Floats
    radius: Floats
    prior: Floats
    fixed: Ints


class Through(NamedTuple):
    """The layers through the gauge, and the rules they come from.

    first_layer : (n_points + 1,) first layer of each point.  gauge : (n_points,) undeformed, mm.
    rule : (n_points,) which layer rule.  inner : (n_rules, nl, nl) integrals of the rule's
    polynomial from 0 to each layer; reach : (n_rules, 2, nl) from 0 to the outside (-1) and
    inside (+1) faces.
    """

    first_layer: Ints
    gauge: Floats
    rule: Ints
    inner: Floats
    reach: Floats


class Start(NamedTuple):
    """The state that a step starts from, as far as the next one depends on it.

    old : (7, n_layers) material state.  factor : (n_layers,) on the yield curve.
    y : (n_layers,) distance of each layer, and face : (n_points,) of the loaded face, from the
    mid-surface.
    """

    old: Floats
    factor: Floats
    y: Floats
    face: Floats


class Found(NamedTuple):
    """What `assemble` writes, of n unknowns.

    residual : (n,) f_int - p grad V.  gradient : (n,) grad V.  band : (n, WIDTH + 1) lower band
    of their tangent.  new : (7, n_layers) material state.  stress : (3, n_layers), MPa.
    """

    residual: Floats
    gradient: Floats
    band: Floats
    new: Floats
    stress: Floats
