"""A quick look at a bottom: how far it lies from the whole answer, and that it never misleads.

Source of truth: `reversal` of the same bottom, to its own resolution of 0.2 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from random_bottoms import random_profiles

from domemargin.fea.bottom.glance import ACCURACY, glance
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile


def off(count: int, seed: int) -> np.ndarray:
    errors = []
    for profile in random_profiles(count, seed):
        whole = reversal(profile, waves=0, growth_at=()).reversal_pressure_mpa
        quick, _ = glance(profile)
        assert whole is not None
        assert quick.reversal_pressure_mpa is not None
        errors.append(abs(quick.reversal_pressure_mpa / whole - 1.0))
    return np.array(errors)


def test_a_look_is_within_its_accuracy_on_bottoms_like_cans() -> None:
    assert np.quantile(off(20, 5), 0.99) <= ACCURACY


@pytest.mark.slow
def test_a_look_is_within_its_accuracy_on_many_bottoms() -> None:
    assert np.quantile(off(400, 6), 0.99) <= ACCURACY


def test_a_look_from_a_bottom_close_by_says_the_same_as_a_first_one() -> None:
    north = load_profile("north")
    _, length = glance(north)
    assert length is not None
    deeper = north.replaced(dome_depth=10.5)
    first, second = glance(deeper)[0], glance(deeper, length)[0]
    assert second.iterations < first.iterations or second.seconds < 2.0 * first.seconds
    assert second.reversal_pressure_mpa == pytest.approx(first.reversal_pressure_mpa, rel=0.002)


def test_a_wrong_length_does_not_lead_astray() -> None:
    north = load_profile("north")
    right, length = glance(north)
    assert length is not None
    for wrong in (0.1 * length, 10.0 * length):
        found, _ = glance(north, wrong)
        assert found.reversal_pressure_mpa == pytest.approx(
            right.reversal_pressure_mpa, rel=ACCURACY
        )


def test_an_elastic_bottom_and_one_without_a_limit_get_the_whole_solve() -> None:
    north = load_profile("north")
    elastic = north.replaced(yield_strength=None)
    whole = reversal(elastic, waves=0, growth_at=())
    assert glance(elastic)[0].reversal_pressure_mpa == whole.reversal_pressure_mpa
    below, length = glance(north, None, 0.3)
    assert below.kind == "none_below_ceiling"
    assert length is None
