"""The length of the metal: strain that stands out from its surroundings is resisted, else nothing.

Against the differential form of gradient plasticity, yield stress - c d2(ep)/ds2 (E. C. Aifantis,
J. Eng. Mater. Technol. 106, 1984; value from memory): the mean under a bell of standard deviation l
is ep + l^2/2 d2(ep)/ds2 + ..., so the averaging form has c = G l^2 / 2, times 0.9733 for a bell
that is cut off at three standard deviations.  Computed independently.
"""

from __future__ import annotations

import numpy as np
import pytest

from domemargin.fea.metal.materials import EP, STATE, encode
from domemargin.fea.metal.spread import REACH, RESISTANCE, raised, running_means
from domemargin.profiles.material import Linear, Material

FIRST, GAUGE = 270.0, 0.3
METAL = encode(Material(69_000.0, 0.33, FIRST, Linear(900.0)))
N = 2000
S = np.linspace(0.0, 20.0, N)
STEP = S[1] - S[0]


def factors(strain: np.ndarray, prior: np.ndarray | None = None) -> np.ndarray:
    """Factor on the yield curve at every point of a line of one layer."""
    one = np.ones(N)
    means = running_means(S, STEP * one, REACH * GAUGE * one, np.ones(N, dtype=int))
    state = np.zeros((STATE, N))
    state[EP] = strain
    none = np.zeros(N) if prior is None else prior
    return raised(METAL, one, none, state, np.arange(N + 1), means[:])


@pytest.mark.parametrize("slope", [0.0, 0.01])
def test_strain_that_varies_evenly_is_not_resisted(slope: float) -> None:
    inside = factors(0.02 + slope * S)[150:-150]
    assert inside == pytest.approx(1.0, abs=1e-12)


def test_gradient_plasticity() -> None:
    """A long wave of strain: 1 + c k^2 ep / stress, to the fourth order in k l; the variance of
    the bell (1 - (x/3l)^2)^3 is l^2."""
    length, k = REACH * GAUGE, 2.0 * np.pi / 8.0
    wave = 0.01 * np.sin(k * S)
    strain = 0.05 + wave
    stress = FIRST + 900.0 * strain
    expected = 1.0 + 0.5 * RESISTANCE * FIRST * length**2 * k**2 * wave / stress
    inside = slice(150, -150)
    found = factors(strain)[inside] - 1.0
    assert np.max(np.abs(found)) > 1e-4
    assert found == pytest.approx(expected[inside] - 1.0, abs=0.01 * np.max(np.abs(found)))


def test_a_peak_is_raised_and_its_surroundings_lowered() -> None:
    strain = np.zeros(N)
    strain[N // 2] = 0.05
    found = factors(strain)
    assert found[N // 2] > 1.05
    assert found[N // 2 + 1] < 1.0
    assert found[: N // 2 - 100] == pytest.approx(1.0)


def test_strain_from_before_loading_does_not_count() -> None:
    strain = np.where(S > 10.0, 0.04, 0.0)
    assert factors(strain, strain) == pytest.approx(1.0)


def test_elastic_metal_has_none() -> None:
    means = running_means(S, np.ones(N), np.ones(N), np.ones(N, dtype=int))
    state = np.zeros((STATE, N))
    own = np.ones(N)
    found = raised(encode(Material(69e3, 0.33)), own, 0.0 * own, state, np.arange(N + 1), means[:])
    assert np.array_equal(found, own)


def test_means_end_where_the_number_of_layers_changes() -> None:
    layers = np.where(np.arange(N) < 500, 6, 8)
    first, shares = running_means(S, np.full(N, STEP), np.full(N, 0.15), layers)
    assert shares.sum(axis=1) == pytest.approx(1.0)
    for point in range(0, N, 3):
        taken = first[point] + np.flatnonzero(shares[point] > 0.0)
        assert set(layers[taken]) == {layers[point]}
        assert point in taken
