"""Small shares of cans against closed forms and against drawing cans at random.

Sources: the share beyond a plane is Phi(-distance); beyond a paraboloid it is an integral over the
chi-square law of the directions along it; both from the normal law itself (scipy).  Straight
responses of normal quantities are normal: mean and variance by the usual rule.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, READINGS, About
from scipy.integrate import quad
from scipy.stats import chi2, norm
from study_stand_in import straight

from domemargin.profiles.units import PSI
from domemargin.studies.margin.design_point import nearest
from domemargin.studies.margin.rare import rare_share
from domemargin.studies.margin.rare_line import rare_report
from domemargin.studies.margin.surrogate import fitted
from domemargin.studies.study.distributions import correlation_matrix, values
from domemargin.studies.study.study import Scatter, Scattered, Study
from domemargin.studies.study.study_file import load_study

ABOUT = About(READINGS, "normal law: closed forms and integrals (scipy)", COMPUTED)


def paraboloid(distance: float, bend: float, d: int) -> float:
    """P(u1 > distance + bend / 2 sum of the other squares)."""
    return quad(
        lambda s: chi2.pdf(s, d - 1) * norm.sf(distance + 0.5 * bend * s),
        0.0, 200.0, limit=500, points=[1.0, 5.0, 20.0],
    )[0]  # fmt: skip


STATES = {
    "plane at 1e-6, 4 inputs": (4, lambda u: 4.7534 - u.sum(axis=1) / 2.0, norm.sf(4.7534)),
    "plane at 1e-9, 2 inputs": (2, lambda u: 6.0 - u[:, 0], norm.sf(6.0)),
    "paraboloid bent away, 6 inputs": (
        6, lambda u: 4.5 - u[:, 0] + 0.15 * (u[:, 1:] ** 2).sum(axis=1), paraboloid(4.5, 0.3, 6)
    ),
    "paraboloid bent towards, 4 inputs": (
        4, lambda u: 4.5 - u[:, 0] - 0.075 * (u[:, 1:] ** 2).sum(axis=1), paraboloid(4.5, -0.15, 4)
    ),
    "two planes facing each other": (4, lambda u: 4.0 - np.abs(u[:, 0]), 2.0 * norm.sf(4.0)),
    "a corner of two planes": (
        6, lambda u: np.minimum(4.0 - u[:, 0], 4.5 - u[:, 1]),
        1.0 - norm.cdf(4.0) * norm.cdf(4.5),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", STATES)
def test_shares_of_known_states(name: str, evidence) -> None:
    d, state, exact = STATES[name]
    found = rare_share(state, d, guide=state, seed=3)
    assert found.reached
    assert found.variation is not None
    assert found.variation <= 0.10
    assert found.solves <= 200
    evidence(f"small share: {name}", expected=exact, computed=found.share, rel=0.10)
    assert len(found.points) == (2 if "two planes" in name else len(found.points))


def test_the_stated_variation_is_that_of_repeated_runs() -> None:
    d, state, exact = STATES["paraboloid bent towards, 4 inputs"]
    runs = [rare_share(state, d, guide=state, seed=seed) for seed in range(24)]
    share = np.array([run.share for run in runs]) / exact
    said = float(np.mean([run.variation for run in runs]))
    assert abs(share.mean() - 1.0) < 3.0 * said / np.sqrt(24)
    assert 0.4 * said < share.std() < 1.5 * said
    inside = [run.low <= exact <= run.high for run in runs if run.low and run.high]
    assert sum(inside) >= 21


def test_the_search_needs_no_guide() -> None:
    found = rare_share(lambda u: 4.0 - u[:, 0], 3)
    assert found.share == pytest.approx(norm.sf(4.0), rel=0.1)


def test_a_surface_that_cannot_follow_is_not_trusted() -> None:
    """An exponential, on which a quadratic about the design point is wrong a deviation away."""
    found = rare_share(lambda u: 30.0 - np.exp(0.85 * u[:, 0]), 4, seed=1)
    assert not found.reached
    assert found.points[0].distance == pytest.approx(np.log(30.0) / 0.85, abs=0.02)


def test_no_failing_can_is_said_so() -> None:
    none = rare_share(lambda u: 5.0 + 0.0 * u[:, 0], 3)
    assert none.share is None
    assert "not shown" in none.reason
    middle = rare_share(lambda u: -1.0 - u[:, 0], 3)
    assert middle.share is None
    assert "middle can itself fails" in middle.reason


def test_cans_that_fail_elsewhere_make_it_a_lower_bound() -> None:
    """The guide sees one side only; cans of the same rarity fail all round."""
    found = rare_share(
        lambda u: np.minimum(4.0 - u[:, 0], 3.0 - np.linalg.norm(u, axis=1) + 0.9 * (u[:, 0] > 0)),
        3, guide=lambda u: 4.0 - u[:, 0],
    )  # fmt: skip
    assert not found.reached
    assert "lower bound" in found.reason or found.points[0].distance < 3.1


def test_the_design_point_is_the_foot_of_the_normal() -> None:
    """Of a plane a.u = b it is b a / |a|^2."""
    a = np.array([1.0, 2.0, -2.0])
    point = nearest(lambda u: 9.0 - u @ a, np.zeros(3))
    assert point.arrived
    np.testing.assert_allclose(point.u, a, atol=0.05)
    np.testing.assert_allclose(point.shares, a**2 / 9.0, atol=0.02)


def line() -> Study:
    """A line whose answer is straight in three normal quantities, two of them correlated."""
    scatter = Scatter(
        (
            Scattered("dome_depth", "normal", 10.4, 0.05),
            Scattered("bottom_gauge", "normal", 0.265, 0.002),
            Scattered("yield_strength", "normal", 255.0, 4.0),
        ),
        (("dome_depth", "bottom_gauge", 0.4),),
    )
    return replace(load_study("line-scatter"), scatter=scatter, required=84.0 * PSI)


def test_a_straight_line_of_cans_is_normal(evidence) -> None:
    study = line()
    assert study.scatter is not None
    rng = np.random.default_rng(0)
    points = values(study.scatter, 2.0 * rng.standard_normal((40, 3)))
    psi = 90.0 + 8 * (points[:, 0] - 10.4) + 500 * (points[:, 1] - 0.265)
    psi += 0.2 * (points[:, 2] - 255.0)
    names = tuple(q.name for q in study.scatter.quantities)
    report = rare_report(study, fitted(names, points, psi * PSI), straight)
    by = np.array([8.0 * 0.05, 500.0 * 0.002, 0.2 * 4.0])
    deviation = np.sqrt(by @ correlation_matrix(study.scatter) @ by)
    evidence(
        "small share of a line of correlated normal cans", expected=norm.cdf(-6.0 / deviation),
        computed=report.rare.share, rel=0.10,
    )  # fmt: skip
    (parts,) = report.combinations
    away = {part.name: part.away for part in parts}
    expected = -6.0 / deviation**2 * (correlation_matrix(study.scatter) @ by)
    np.testing.assert_allclose(list(away.values()), expected, atol=0.1)
    assert "3." in parts[2].tail or "deviations out" in parts[2].tail


@pytest.mark.slow
def test_ten_million_draws_of_a_surrogate(evidence) -> None:
    """A quadratic of the solver's own answers, drawn ten million times, at about 1e-4."""
    rng = np.random.default_rng(5)
    study = load_study("line-scatter")
    assert study.scatter is not None
    from domemargin.fea.bottom.reversal import reversal
    from domemargin.studies.study.varied import bottom_at

    names = tuple(q.name for q in study.scatter.quantities)
    scores = np.vstack((np.zeros((1, 4)), 2.5 * rng.standard_normal((60, 4))))
    points = values(study.scatter, scores)
    answers = np.array(
        [
            reversal(
                bottom_at(study.profile, dict(zip(names, p.tolist()))), growth_at=()
            ).reversal_pressure_mpa
            for p in points
        ]
    )
    i, j = np.triu_indices(4)

    def terms(u: np.ndarray) -> np.ndarray:
        return np.hstack((np.ones((len(u), 1)), u, u[:, i] * u[:, j]))

    fit = np.linalg.lstsq(terms(scores), answers, rcond=None)[0]
    required = 85.7 * PSI

    def state(u: np.ndarray) -> np.ndarray:
        return terms(u) @ fit - required

    below = sum(int((state(rng.standard_normal((500_000, 4))) < 0.0).sum()) for _ in range(20))
    found = rare_share(state, 4, guide=state)
    assert 200 < below < 5000
    evidence(
        "share of a surrogate's cans by ten million draws", expected=below / 1e7,
        computed=found.share, rel=0.10, source="drawing at random",
    )  # fmt: skip
