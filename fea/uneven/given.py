"""What the compiled loops of an uneven shell take, as in shell/given.py.

Numbers: H harmonics, M stations round the can, n_points of the meridian at each station, n_layers
of the meridian at each station.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from domemargin.profiles.arrays import Floats, Ints

Fields = tuple[Any, ...]  # of one of these

# unknowns of a node, each with H harmonics: position along radius and axis, turn of the director
# in the meridian plane, position along the hoop, tilt of the director
U, W, B, V, T = range(5)
UNKNOWNS = 5
# state of a layer: the first seven are those of the even shell (metal/materials.py)
P12, P23, B12, B23 = range(7, 11)
STATE = 11
# stress: meridian, hoop, shear along the meridian through the gauge, in-plane shear, shear along
# the hoop through the gauge
STRESSES = 5
# of a director: itself, and its derivatives along the meridian and round the can
DIRECTOR = 9


class UnevenBody(NamedTuple):
    """A discretised uneven shell.

    shapes, slopes, weights, full_shapes, full_slopes, full_weights, first_layer, material : as in
        the even shell's Body.
    even, odd : (3, M, H) values, first and second derivatives of the harmonics of u, w and turn,
        and of those of hoop position and tilt.  share : of a station in the mean round the can.
    inverse : (M, 3, n_layers) upper triangle 11, 22, 12 of the inverse of the layer's undeformed
        lengths.  layer_weight : (M, n_layers) undeformed area per radian and length.
    shear : (M, n_points, 4) undeformed shears along the meridian and the hoop, skew of the hoop
        against the meridian and 1 / hoop length.
    fixed : numbers of the unknowns held.
    """

    shapes: Floats
    slopes: Floats
    weights: Floats
    full_shapes: Floats
    full_slopes: Floats
    full_weights: Floats
    first_layer: Ints
    material: Floats
    even: Floats
    odd: Floats
    share: float
    inverse: Floats
    layer_weight: Floats
    shear: Floats
    fixed: Ints


class UnevenStart(NamedTuple):
    """The state that a step starts from.

    x : (n_nodes, 5, H) unknowns.  turn : (n_nodes, 2) cosine and sine of the mean tangent angle.
    layers : (M, STATE, n_layers).  factor, y : (M, n_layers).  face : (M, n_points).
    director : (M, n_points, DIRECTOR).
    """

    x: Floats
    turn: Floats
    layers: Floats
    factor: Floats
    y: Floats
    face: Floats
    director: Floats


class UnevenFound(NamedTuple):
    """What `assemble` writes, of n unknowns: as in the even shell's Found."""

    residual: Floats
    gradient: Floats
    band: Floats
    new: Floats
    stress: Floats
    director: Floats
