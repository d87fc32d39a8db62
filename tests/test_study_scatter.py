"""The share of cans below the requirement, against answers known in closed form."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import study_stand_in as stand_in
from scipy.stats import norm

from domemargin.profiles import InputError, load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.scatter import scatter_report, share_interval
from domemargin.studies.margin.surrogate import SurrogateError
from domemargin.studies.study.distributions import draw, values
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.study import Scatter, Scattered, Study
from domemargin.studies.study.study_file import load_study

QUANTITIES = (
    Scattered("dome_depth", "normal", 10.4, 0.05),
    Scattered("bottom_gauge", "normal", 0.265, 0.0015),
    Scattered("yield_strength", "normal", 255.0, 4.0),
)
CORRELATIONS = (("dome_depth", "bottom_gauge", 0.5), ("bottom_gauge", "yield_strength", -0.3))
# the stand-in's slopes, psi, times the standard deviations
_S = np.array([8.0 * 0.05, 500.0 * 0.0015, 0.2 * 4.0])
_R = np.array([[1.0, 0.5, 0.0], [0.5, 1.0, -0.3], [0.0, -0.3, 1.0]])
DEVIATION = float(np.sqrt(_S @ _R @ _S))  # of a sum of correlated normals
REQUIRED = 87.5


def straight_study(seed: int, required: float = REQUIRED) -> Study:
    scatter = Scatter(QUANTITIES, CORRELATIONS, seed)
    return Study("line", load_profile("north"), required=required * PSI, scatter=scatter)


def exact(required: float = REQUIRED) -> float:
    return float(norm.cdf((required - 90.0) / DEVIATION))


def inside(folder: Path, seeds: range) -> int:
    hits = 0
    for seed in seeds:
        report = scatter_report(
            straight_study(seed), folder / str(seed), Serial, stand_in.STRAIGHT,
            cans=20_000, training=32,
        )  # fmt: skip
        hits += report.low <= exact() <= report.high
        assert report.low <= report.share <= report.high
        # no wider than it must be: that of as many cans judged without error
        spread = 2.0 * 1.96 * np.sqrt(exact() * (1.0 - exact()) / 20_000)
        assert report.high - report.low < 1.5 * spread
    return hits


def test_the_known_share_lies_inside_the_interval(tmp_path: Path) -> None:
    # of 20 intervals of 95 %, fewer than 17 hit in 1.6 % of all tries (binomial)
    assert inside(tmp_path, range(20)) >= 17


@pytest.mark.slow
def test_the_known_share_lies_inside_the_interval_for_93_of_100_seeds(tmp_path: Path) -> None:
    assert inside(tmp_path, range(100)) >= 93


@pytest.mark.parametrize(("share", "doubtful", "solved"), [
    (0.02, 2000, 200), (0.02, 400, 400), (0.002, 500, 50), (0.0003, 300, 60),
])  # fmt: skip
def test_an_interval_from_a_part_of_the_doubtful_covers_the_share(
    share: float, doubtful: int, solved: int
) -> None:
    """Drawing cans, then a part of those in doubt, 2,000 times over."""
    rng = np.random.default_rng(1)
    cans, hits = 20_000, 0
    in_doubt, tips = doubtful / cans, 0.4
    sure = share - in_doubt * tips  # share of cans below without doubt
    if sure < 0.0:
        tips, sure = share / in_doubt, 0.0
    for _ in range(2000):
        below, doubt = rng.multinomial(cans, [sure, in_doubt, 1.0 - sure - in_doubt])[:2]
        tipped = rng.binomial(doubt, tips)
        n = doubt if solved == doubtful else min(solved, doubt)
        seen = rng.hypergeometric(tipped, doubt - tipped, n) if doubt else 0
        _, low, high = share_interval(cans, int(below), int(doubt), int(n), int(seen))
        hits += low <= share <= high
    assert hits / 2000 >= 0.93


def test_an_interval_without_doubt_is_that_of_clopper_and_pearson() -> None:
    # 10 of 100: 4.90 % to 17.62 % (tables of exact binomial limits; value from memory)
    share, low, high = share_interval(100, 10, 0, 0, 0)
    assert share == 0.1
    assert low == pytest.approx(0.0490, abs=1e-4)
    assert high == pytest.approx(0.1762, abs=1e-4)
    # none of 100: the rule of three's exact form, 1 - 0.025^(1/100)
    assert share_interval(100, 0, 0, 0, 0) == (0.0, 0.0, pytest.approx(1.0 - 0.025**0.01))


def test_cans_scatter_as_told() -> None:
    uniform = Scattered("dome_radius", "uniform", 47.0, 0.5)
    scatter = Scatter((*QUANTITIES, uniform), CORRELATIONS)
    cans = values(scatter, draw(scatter, 200_000, np.random.default_rng(0)))
    for i, q in enumerate(QUANTITIES):
        assert cans[:, i].mean() == pytest.approx(q.mean, abs=4.0 * q.spread / 447.0)
        assert cans[:, i].std() == pytest.approx(q.spread, rel=0.01)
    np.testing.assert_allclose(np.corrcoef(cans[:, :3].T), _R, atol=0.01)
    assert abs(cans[:, 3] - 47.0).max() <= 0.5
    # standard deviation of a uniform of half width h: h / sqrt(3)
    assert cans[:, 3].std() == pytest.approx(0.5 / np.sqrt(3.0), rel=0.01)


def test_which_scatter_matters(tmp_path: Path) -> None:
    free = replace(straight_study(0), scatter=Scatter(QUANTITIES))
    report = scatter_report(free, tmp_path, Serial, stand_in.STRAIGHT, training=32)
    found = {entry.index.name: entry for entry in report.influences}
    variance = dict(zip((q.name for q in QUANTITIES), _S**2 / np.sum(_S**2)))
    for name, part in variance.items():
        assert found[name].index.total == pytest.approx(part, abs=0.03)
        # share below if this one did not scatter
        rest = np.sqrt(np.sum(_S**2) * (1.0 - part))
        share = float(norm.cdf((REQUIRED - 90.0) / rest))
        assert found[name].share_without == pytest.approx(share, abs=0.002)
    assert report.influences[0].index.name == max(variance, key=lambda n: variance[n])


def test_a_rerun_solves_nothing_and_says_the_same(tmp_path: Path) -> None:
    first = scatter_report(straight_study(3), tmp_path, Serial, stand_in.STRAIGHT, training=32)
    done = []
    again = scatter_report(
        straight_study(3), tmp_path, Serial, stand_in.STRAIGHT, training=32,
        on_progress=lambda p: done.append(p.todo),
    )  # fmt: skip
    assert sum(done) == 0
    assert (again.share, again.low, again.high) == (first.share, first.low, first.high)


def test_a_poor_surrogate_is_rejected(tmp_path: Path) -> None:
    with pytest.raises(SurrogateError, match="it must be at most"):
        scatter_report(
            straight_study(0), tmp_path, Serial, stand_in.STRAIGHT, training=32, most_error=1e-30
        )


def test_a_study_without_scatter_is_rejected(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="scatter is missing"):
        scatter_report(load_study("depth-gauge"), tmp_path, Serial, stand_in.STRAIGHT)


def test_the_figure_is_drawn(tmp_path: Path) -> None:
    from domemargin.studies.figures.scatter import scatter_figure

    report = scatter_report(straight_study(1), tmp_path, Serial, stand_in.STRAIGHT, training=32)
    figure = scatter_figure(report)
    figure.savefig(tmp_path / "scatter.png")
    assert "Below the 87.5 psi required: " in figure.axes[0].get_title("left")


def test_shares_in_words() -> None:
    from domemargin.studies.text.scatter import interval_words, share_words

    assert interval_words(0.009734, 0.01102) == "0.97 to 1.10 %"
    assert interval_words(0.0, 3.69e-5) == "0 to 37 in a million"
    assert interval_words(0.99361, 0.99462) == "99.36 to 99.46 %"
    assert interval_words(0.5, 0.5) == "50 to 50 %"
    assert share_words(1e-5) == "10 in a million"
    assert share_words(0.0104) == "1.04 %"


def test_no_bar_of_the_cans_stands_on_both_sides_of_the_requirement(tmp_path: Path) -> None:
    from domemargin.studies.figures.scatter import scatter_figure

    report = scatter_report(straight_study(1), tmp_path, Serial, stand_in.STRAIGHT, training=32)
    required = report.study.requirement() / PSI
    cans = scatter_figure(report).axes[0]
    bars = [(b.get_x(), b.get_x() + b.get_width(), b.get_height()) for b in cans.patches]
    assert not [b for b in bars if b[0] < required - 1e-6 and b[1] > required + 1e-6]
    # all cans are in some bar, and the bars left of the requirement hold those below it
    assert sum(height for *_, height in bars) == pytest.approx(100.0)
    left = sum(height for start, _, height in bars if start < required - 1e-6)
    shown = 100.0 * float((report.pressure / PSI < required).mean())
    assert left == pytest.approx(shown, abs=1e-9)
    low, high = cans.get_xlim()
    assert low > 0.5 * required
    assert high < 2.0 * required
