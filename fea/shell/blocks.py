"""Compiled stress of a shell's layers, a block of points at a time; the theory is in kernel.py."""

from __future__ import annotations

import math

from domemargin.fea.compiled import kernel, part
from domemargin.fea.metal.lanes import (
    BLOCK,
    E3,
    FACTOR,
    LENGTH1,
    LENGTH2,
    PER1,
    STATES,
    WEIGHT,
    Y,
    load,
    strains,
)
from domemargin.fea.metal.layers import stresses
from domemargin.fea.shell.given import Body, Start
from domemargin.profiles.arrays import Floats

SHEAR = math.sqrt(5.0 / 6.0)
# of a point's place
R, SIN, COS, CURVE, STRETCH, SHEARED = range(6)
PLACE = 6
_LANE = BLOCK - 1


@kernel
def locate_points(x: Floats, body: Body, place: Floats) -> None:
    """r, sin phi, cos phi, phi', stretch a and shear g of every point.

    x : (n_nodes, 3).  place : (n_points, PLACE), out.
    """
    shapes, slopes = body.shapes, body.slopes
    n_elements, n_points = slopes.shape[0], slopes.shape[1]
    for e in range(n_elements):
        for q in range(n_points):
            r = rp = zp = phi = k = 0.0
            for i in range(3):
                node = 2 * e + i
                N, B = shapes[q, i], slopes[e, q, i]
                r += N * x[node, 0]
                rp += B * x[node, 0]
                zp += B * x[node, 1]
                phi += N * x[node, 2]
                k += B * x[node, 2]
            s, c = math.sin(phi), math.cos(phi)
            out = place[e * n_points + q]
            out[R], out[SIN], out[COS], out[CURVE] = r, s, c, k
            out[STRETCH], out[SHEARED] = rp * c + zp * s, -rp * s + zp * c


@part
def stress_block(point: int, place: Floats, body: Body, start: Start, lanes: Floats) -> int:
    """Stress and tangent of the layers of `point` and as many points after it as fit.

    place : of `locate_points`.  lanes : (LANES,), out, see layers.py.
    Returns the first point left over.
    """
    first_layer, shear_strain = body.first_layer, body.shear_strain
    first, last = first_layer[point], point
    while last < place.shape[0] and first_layer[last + 1] - first <= BLOCK:
        last += 1
    count = first_layer[last] - first
    load(lanes, Y, start.y.reshape((1, -1)), first, count, 0.0)
    load(lanes, PER1, body.per_length, first, count, 1.0)
    load(lanes, WEIGHT, body.layer_weight.reshape((1, -1)), first, count, 0.0)
    load(lanes, FACTOR, start.factor.reshape((1, -1)), first, count, 1.0)
    load(lanes, STATES, start.old, first, count, 0.0)
    for p in range(point, last):
        lane = (first_layer[p] - first) & _LANE
        r, s = place[p, R], place[p, SIN]
        a, k = place[p, STRETCH], place[p, CURVE]
        strain = SHEAR * (place[p, SHEARED] - shear_strain[p])
        for m in range(first_layer[p + 1] - first_layer[p]):
            lanes[LENGTH1 + lane + m] = a - lanes[Y + lane + m] * k
            lanes[LENGTH2 + lane + m] = r - lanes[Y + lane + m] * s
            lanes[E3 + lane + m] = strain
    for i in range(count, BLOCK):
        lanes[LENGTH1 + i] = lanes[LENGTH2 + i] = 1.0
        lanes[E3 + i] = 0.0
    strains(lanes)
    stresses(body.material, lanes)
    return last
