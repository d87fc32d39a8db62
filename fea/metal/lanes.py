"""Layers side by side: the rows that a block of them has, and what is done row by row.

Layers stand side by side in `lanes`, a flat array of rows of BLOCK entries.  The compiler makes
vector instructions of a loop over one row where it can tell that the rows do not overlap, hence
one array, rows at fixed places, and no branch or call to the mathematics library within.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.fea.metal.materials import FIRST, LAW, LINEAR, SECOND, VOCE, YIELD, yield_curve
from domemargin.profiles.arrays import Floats

BLOCK = 64


def rows(count: int, first: int = 0) -> tuple[int, ...]:
    """Where `count` rows of lanes begin, from `first` on."""
    # as numpy's numbers: of plain ones numba compiles a kernel for each
    return tuple(np.arange(first, first + count * BLOCK, BLOCK))


# rows of lanes.  In: distance from the mid-surface, one over the undeformed lengths, weight,
# lengths now, factor on the yield curve, logarithmic strains and shear.  In and out: material
# state, from STATES on.  Out: stress, its tangent 11, 12, 22, 13, 23, 33, and (unless the metal is
# elastic) whether a lane yielded, BEYOND > 0.
(
    Y,
    PER1,
    PER2,
    WEIGHT,
    LENGTH1,
    LENGTH2,
    FACTOR,
    E1,
    E2,
    E3,
    STATES,
    PLASTIC1,
    PLASTIC2,
    PLASTIC3,
    BACK1,
    BACK2,
    BACK3,
    T1,
    T2,
    T3,
    C11,
    C12,
    C22,
    C13,
    C23,
    C33,
    # of the return map
    N1,
    N2,
    N3,
    W1,
    W2,
    START,
    NOW,
    SLOPE,
    STEP,
    LOW,
    BEYOND,
    OPEN,
    # for whoever sums over layers
    OWN,
) = rows(39)
OWN_ROWS = 13
LANES = OWN + OWN_ROWS * BLOCK

_FAR = 0.2  # of (x - 1)/(x + 1): a stretch of 2/3 to 3/2


@kernel
def exponential(x: float) -> float:
    """exp(x) for x < 20, to 2e-14 where |x| < 16 and 2e-13 where |x| < 20: exp(x/64) by its
    series, squared six times."""
    y = max(x, -160.0) * (1.0 / 64.0)
    p = 1.0 / 39916800.0
    p = p * y + 1.0 / 3628800.0
    p = p * y + 1.0 / 362880.0
    p = p * y + 1.0 / 40320.0
    p = p * y + 1.0 / 5040.0
    p = p * y + 1.0 / 720.0
    p = p * y + 1.0 / 120.0
    p = p * y + 1.0 / 24.0
    p = p * y + 1.0 / 6.0
    p = p * y + 0.5
    p = p * y + 1.0
    p = p * y + 1.0
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@kernel
def _logarithm(lanes: Floats, row: int, length: int, per_length: int) -> None:
    """Row of log(length * per_length), by the series of 2 artanh((x - 1)/(x + 1))."""
    far = 0.0
    for i in range(BLOCK):
        x = lanes[length + i] * lanes[per_length + i]
        z = (x - 1.0) / (x + 1.0)
        far += 1.0 if abs(z) > _FAR else 0.0
        v = z * z
        p = 2.0 / 23.0
        p = p * v + 2.0 / 21.0
        p = p * v + 2.0 / 19.0
        p = p * v + 2.0 / 17.0
        p = p * v + 2.0 / 15.0
        p = p * v + 2.0 / 13.0
        p = p * v + 2.0 / 11.0
        p = p * v + 2.0 / 9.0
        p = p * v + 2.0 / 7.0
        p = p * v + 2.0 / 5.0
        p = p * v + 2.0 / 3.0
        p = p * v + 2.0
        lanes[row + i] = p * z
    if far > 0.0:
        for i in range(BLOCK):
            lanes[row + i] = math.log(lanes[length + i] * lanes[per_length + i])


@kernel
def load(lanes: Floats, row: int, values: Floats, first: int, count: int, rest: float) -> None:
    """Copy values[:, first : first + count] to as many rows; `rest` into their other lanes."""
    # the compiler looks at indices one by one unless it sees that they are not negative
    first = first & POSITIVE
    for j in range(values.shape[0]):
        to = (row + j * BLOCK) & POSITIVE
        for i in range(count):
            lanes[to + i] = values[j, first + i]
        for i in range(count, BLOCK):
            lanes[to + i] = rest


@kernel
def store(lanes: Floats, row: int, values: Floats, first: int, count: int) -> None:
    """Copy rows to values[:, first : first + count]."""
    first = first & POSITIVE
    for j in range(values.shape[0]):
        to = (row + j * BLOCK) & POSITIVE
        for i in range(count):
            values[j, first + i] = lanes[to + i]


@kernel
def strains(lanes: Floats) -> None:
    """Logarithmic strains from the lengths, now and undeformed."""
    _logarithm(lanes, E1, LENGTH1, PER1)
    _logarithm(lanes, E2, LENGTH2, PER2)


@kernel
def yield_curves(material: Floats, lanes: Floats) -> None:
    """Yield stress and slope at equivalent plastic strain ep + d, times the factor.

    Of lanes beyond yield; of others they are not looked at.
    """
    law = material[LAW]
    first, second = material[FIRST], material[SECOND]
    if law == VOCE:
        full = material[YIELD] + first
        for i in range(BLOCK):
            ep = lanes[STATES + i] + lanes[STEP + i]
            rest = first * exponential(-second * ep)
            lanes[NOW + i] = lanes[FACTOR + i] * (full - rest)
            lanes[SLOPE + i] = lanes[FACTOR + i] * second * rest
    elif law == LINEAR:
        start = material[YIELD]
        for i in range(BLOCK):
            ep = lanes[STATES + i] + lanes[STEP + i]
            lanes[NOW + i] = lanes[FACTOR + i] * (start + first * ep)
            lanes[SLOPE + i] = lanes[FACTOR + i] * first
    else:
        for i in range(BLOCK):
            if lanes[BEYOND + i] > 0.0:
                stress, slope = yield_curve(material, lanes[STATES + i] + lanes[STEP + i])
                lanes[NOW + i] = lanes[FACTOR + i] * stress
                lanes[SLOPE + i] = lanes[FACTOR + i] * slope
