"""exp and log of a block of layers, against the mathematics library."""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.metal.lanes import (
    BLOCK,
    E1,
    E2,
    LANES,
    LENGTH1,
    LENGTH2,
    PER1,
    PER2,
    exponential,
    strains,
)


def logarithms(stretch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of a block of stretches along the meridian; of their reciprocals around."""
    lanes = np.ones(LANES)
    lanes[LENGTH1 : LENGTH1 + BLOCK] = 2.0 * stretch
    lanes[PER1 : PER1 + BLOCK] = 0.5
    lanes[LENGTH2 : LENGTH2 + BLOCK] = 1.0
    lanes[PER2 : PER2 + BLOCK] = 1.0 / stretch
    strains(lanes)
    return lanes[E1 : E1 + BLOCK].copy(), lanes[E2 : E2 + BLOCK].copy()


def test_strain_is_the_logarithm_of_the_stretch() -> None:
    """math.log, at stretches of 1/20 to 20, each in a block of its own and all in one."""
    stretches = np.concatenate((
        np.geomspace(0.05, 20.0, 20), np.linspace(0.6, 1.6, 34),
        [1.0 - 1e-9, 1.0 + 1e-9, 2 / 3, 1.5, 0.66, 0.67, 1.49, 1.51, 1.0, 1.05],
    ))  # fmt: skip
    assert stretches.size == BLOCK
    together = logarithms(stretches)
    for i, stretch in enumerate(stretches):
        exact = math.log(stretch)
        alone = logarithms(np.full(BLOCK, stretch))
        for one, sign in ((0, 1.0), (1, -1.0)):
            for found in (alone[one][5], together[one][i]):
                # 2 units in the last place of the stretch
                assert abs(sign * found - exact) <= 4e-16 + 4e-15 * abs(exact), stretch


def test_exponential() -> None:
    """math.exp to what the docstring says, and no overflow far below."""
    for x in np.linspace(-20.0, 19.99, 801):
        band = 2e-14 if abs(x) < 16.0 else 2e-13
        assert abs(exponential(float(x)) / math.exp(x) - 1.0) <= band, x
    for x in (-30.0, -100.0, -160.0, -1e4):
        assert 0.0 <= exponential(x) <= 1e-9
