"""Clamped shallow spherical caps, elastic, under external pressure: onset of waves.

Source: Marguerre's shallow-shell equations, axisymmetric path and perturbation cos(n theta) about
it, computed independently (spectral collocation; onsets from one grid each, but smooth in lambda
and n), edge fully clamped.  The problem is that of N. C. Huang, J. Appl. Mech. 31, 1964, 447
(nu = 1/3; onset in waves from lambda = 5.5 on: value from memory).  Lambda, p_cl and the limits
of the theory for a cap of a/R = 0.1 are in test_shallow_caps.py.

Measured: a/R = 0.05 within 0.07 %, a/R = 0.1 within 0.15 %, every first n as in the table.
"""

from __future__ import annotations

from functools import cache

import pytest
from evidence_rows import COMPUTED, WAVES_AROUND, About
from shells import compliance
from test_shallow_caps import Cap, cap, press

from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, Ramp
from domemargin.fea.waves.waves import WAVES, first_onset, onset_by_number

ABOUT = About(
    WAVES_AROUND,
    "Marguerre's shallow-shell equations by spectral collocation, clamped cap (problem of N. C. "
    "Huang 1964)",
    COMPUTED,
)

# nu: {lambda: {n: onset / p_cl}}, lowest first
ONSETS = {
    1.0 / 3.0: {
        5.6: {2: 0.7955},
        5.7: {2: 0.7870, 3: 0.8708},
        5.8: {2: 0.7810, 3: 0.8546},
        5.9: {2: 0.7765, 3: 0.8403},
        6.0: {2: 0.7733, 3: 0.8275, 4: 0.9318},
        6.5: {2: 0.7722, 3: 0.7809, 4: 0.8619},
        7.0: {3: 0.7589, 2: 0.7933, 4: 0.8114},
        7.5: {3: 0.7573, 4: 0.7803, 2: 0.8343},
        8.0: {4: 0.7660, 3: 0.7734, 5: 0.8129},
        9.0: {5: 0.7766, 4: 0.7768, 6: 0.8158},
        10.0: {5: 0.7754, 6: 0.7793, 7: 0.8104},
        11.0: {6: 0.7753, 7: 0.7820, 5: 0.7984},
        12.0: {7: 0.7794, 8: 0.7875, 6: 0.7953},
        13.0: {8: 0.7821},
        14.0: {9: 0.7843, 8: 0.7904},
        15.0: {10: 0.7867},
        16.0: {11: 0.7889, 10: 0.7902},
        18.0: {12: 0.7914, 13: 0.7926},
        20.0: {14: 0.7931, 15: 0.7958},
    },
    0.3: {
        6.0: {2: 0.7641, 3: 0.8193, 4: 0.9224},
        7.0: {3: 0.7510, 2: 0.7839, 4: 0.8038},
        8.0: {4: 0.7582, 3: 0.7647, 5: 0.8053},
        10.0: {5: 0.7676, 6: 0.7722, 7: 0.8038},
        12.0: {7: 0.7719, 8: 0.7805, 6: 0.7872},
        14.0: {9: 0.7771, 8: 0.7828, 10: 0.7865},
    },
    0.33: {6.0: {2: 0.7723}, 8.0: {4: 0.7652}, 10.0: {5: 0.7746}},
}  # fmt: skip
CASES = [(nu, lam) for nu, table in ONSETS.items() for lam in table]
BAND = 0.01
STEP = 0.05


@cache
def pressed(lam: float, nu: float, ratio: float, step: float = STEP) -> tuple[Cap, Ramp, Plan]:
    one = cap(lam, nu, ratio)
    scale = compliance(one.shell) * one.classical
    plan = Plan(step, scale, one.classical, 3.0 * one.classical, newton=Newton(tolerance=1e-6))
    return one, press(one, step), plan


@pytest.mark.parametrize("ratio", [0.05, 0.1])
@pytest.mark.parametrize(("nu", "lam"), CASES)
def test_first_onset(evidence, nu: float, lam: float, ratio: float) -> None:
    one, path, plan = pressed(lam, nu, ratio)
    found = first_onset(one.shell, path.states, plan)
    (n, expected), *_ = ONSETS[nu][lam].items()
    assert found is not None
    what = f"shell, cap λ = {lam:g}, nu {nu:.3g}, a/R {ratio:g}: first"
    evidence(
        f"{what} onset, p/p_cl", expected=expected,
        computed=found.pressure / one.classical, rel=BAND,
    )  # fmt: skip
    # neighbouring n lie within 0.1 to 1 % of each other
    evidence(f"{what} n", expected=n, computed=found.n, abs=1)


@pytest.mark.parametrize("ratio", [0.05, 0.1])
@pytest.mark.parametrize(("nu", "lam"), CASES)
def test_onset_for_each_number_of_waves(evidence, nu: float, lam: float, ratio: float) -> None:
    """Some of these modes are stable again at the end of the path, beyond the limit."""
    one, path, plan = pressed(lam, nu, ratio)
    expected = ONSETS[nu][lam]
    found = onset_by_number(one.shell, path.states, plan, numbers=tuple(expected))
    for n, p in found.items():
        evidence(
            f"shell, cap λ = {lam:g}, nu {nu:.3g}, a/R {ratio:g}, n = {n}: onset, p/p_cl",
            expected=expected[n], computed=None if p is None else p / one.classical, rel=BAND,
        )  # fmt: skip


@pytest.mark.parametrize("lam", [4.0, 4.5, 5.0, 5.25])
def test_no_waves_up_to_the_limit_of_a_shallower_cap(evidence, lam: float) -> None:
    """Table: none up to lambda 5.5.  There the first unstable mode is the snap itself, n = 0."""
    one, path, plan = pressed(lam, 1.0 / 3.0, 0.1)
    assert path.limit is not None
    before = path.states[: path.limit.before + 1]
    assert len(before) > 10
    waves = first_onset(one.shell, before, plan, numbers=WAVES[1:])
    evidence(
        f"shell, cap λ = {lam:g}, nu 0.333, a/R 0.1: waves before the limit",
        expected=None, computed=None if waves is None else waves.n,
    )  # fmt: skip
    first = first_onset(one.shell, path.states, plan)
    assert first is not None
    assert first.n == 0
    assert path.limit.pressure >= first.pressure * (1.0 - 1e-3)


def test_waves_come_in_between_lambda_5_5_and_5_6() -> None:
    """n = 2 after the limit at lambda 5.5 (or not at all), before it at 5.6."""

    def two_waves(lam: float) -> tuple[float | None, float]:
        one, path, plan = pressed(lam, 1.0 / 3.0, 0.05, 0.02)
        assert path.limit is not None
        before = path.states[: path.limit.before + 1]
        return onset_by_number(one.shell, before, plan, numbers=(2,))[2], path.limit.pressure

    assert two_waves(5.5)[0] is None
    onset, limit = two_waves(5.6)
    assert onset is not None
    assert onset < 0.95 * limit


@pytest.mark.parametrize("lam", [6.0, 8.0, 10.0])
def test_onset_does_not_depend_on_mesh_or_step(lam: float) -> None:
    one, path, plan = pressed(lam, 1.0 / 3.0, 0.1)
    base = first_onset(one.shell, path.states, plan)
    assert base is not None
    fine = cap(lam, 1.0 / 3.0, 0.1, elements=80)
    finer = first_onset(fine.shell, press(fine, STEP).states, plan)
    longer = first_onset(one.shell, press(one, 2.0 * STEP).states, plan)
    for other in (finer, longer):
        assert other is not None
        assert other.n == base.n
        assert other.pressure == pytest.approx(base.pressure, rel=2e-3)


def test_mode_is_a_wave_of_the_outer_part() -> None:
    """Lambda 12: n = 7 leaves the centre still and peaks between centre and edge."""
    one, path, plan = pressed(12.0, 1.0 / 3.0, 0.1)
    found = first_onset(one.shell, path.states, plan)
    assert found is not None
    W = found.mode[:, 1]
    r = one.shell.reference[:, 0] / one.shell.reference[-1, 0]
    assert abs(W).max() == pytest.approx(1.0)
    assert 0.5 < r[abs(W).argmax()] < 0.95
    assert abs(W[r < 0.2]).max() < 0.01
    assert abs(found.mode[-1]).max() == 0.0
