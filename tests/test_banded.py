"""Elimination of banded systems, against dense linear algebra."""

from __future__ import annotations

import numpy as np
import pytest

from domemargin.fea.core.banded import (
    bordered,
    bordered_8,
    bordered_again,
    bordered_again_8,
    factor,
    norm,
    solve,
    solve_with,
    solve_with_8,
)

# half width, size: those with loops of known length, any other, and fewer rows than the width
SIZES = [(8, 30), (14, 33), (3, 20), (5, 4), (8, 6)]


def case(width: int, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A symmetric indefinite band and the same matrix in full."""
    rng = np.random.default_rng(seed)
    full = np.zeros((n, n))
    band = rng.standard_normal((n, width + 1))  # what stands left of the first column is noise
    for i in range(n):
        for k in range(width + 1):
            if (j := i - width + k) >= 0:
                if i == j:
                    band[i, k] = 9.0 * rng.choice((-1.0, 1.0, 1.0)) + rng.standard_normal()
                full[i, j] = full[j, i] = band[i, k]
    return band, full


@pytest.mark.parametrize(("width", "n"), SIZES)
def test_solution_and_inertia_are_those_of_dense_algebra(width: int, n: int) -> None:
    """numpy.linalg.solve and eigvalsh; Sylvester's law of inertia."""
    for seed in range(4):
        band, full = case(width, n, seed)
        right = np.random.default_rng(seed).standard_normal(n)
        expected = np.linalg.solve(full, right)
        below = int(np.sum(np.linalg.eigvalsh(full) < 0.0))
        negative, x = solve_with(band.copy(), right)
        assert negative == below
        np.testing.assert_allclose(x, expected, rtol=1e-9, atol=1e-11)
        factored = band.copy()
        assert factor(factored) == below
        np.testing.assert_allclose(solve(factored, right), expected, rtol=1e-9, atol=1e-11)
        if width == 8:
            x = np.empty(n)
            assert solve_with_8(band.copy(), right, x) == below
            np.testing.assert_allclose(x, expected, rtol=1e-9, atol=1e-11)


@pytest.mark.parametrize(("width", "n"), SIZES)
def test_bordered_update_is_that_of_the_whole_system(width: int, n: int) -> None:
    """K du - g dp = -r and a_v g du + a_p dp = gap, by numpy.linalg.solve on all of it."""
    for seed in range(3):
        band, full = case(width, n, seed)
        rng = np.random.default_rng(seed)
        residual, gradient = rng.standard_normal((2, n))
        gap, a_v, a_p = 0.7, 0.3, 1.9
        whole = np.block([[full, -gradient[:, None]], [a_v * gradient[None], np.array([[a_p]])]])
        expected = np.linalg.solve(whole, np.append(-residual, gap))
        below = int(np.sum(np.linalg.eigvalsh(full) < 0.0))
        largest = np.abs(expected[:-1]).max()
        ways = [(bordered, bordered_again)]
        if width == 8:
            ways.append((bordered_8, bordered_again_8))
        for update, again in ways:
            factored = band.copy()
            negative, dp, moved, change = update(factored, residual, gradient, gap, a_v, a_p)
            assert negative == below
            assert dp == pytest.approx(expected[-1], rel=1e-9)
            assert moved == pytest.approx(largest, rel=1e-9)
            np.testing.assert_allclose(change, expected[:-1], rtol=1e-8, atol=1e-10)
            # another residual on the same factors
            other = np.linalg.solve(whole, np.append(-2.0 * residual[::-1], gap))
            moved = again(factored, 2.0 * residual[::-1].copy(), gradient, gap, a_v, a_p)
            assert moved == pytest.approx(np.abs(other[:-1]).max(), rel=1e-9)


@pytest.mark.parametrize(("width", "n"), SIZES)
@pytest.mark.parametrize("value", [0.0, np.nan])
def test_a_pivot_of_nothing_is_reported(width: int, n: int, value: float) -> None:
    for row in (0, n - 1):
        band, _ = case(width, n, 1)
        band[:, :width] = 0.0
        band[row, width] = value
        assert factor(band) == -1


def test_norm() -> None:
    x = np.random.default_rng(3).standard_normal(50)
    assert norm(x) == pytest.approx(np.linalg.norm(x), rel=1e-14)
    assert np.isnan(norm(np.array([1.0, np.nan])))
