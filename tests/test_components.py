"""Variance components against published fits and closed forms, and the gauge study."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, PUBLISHED, READINGS, About

from domemargin.studies.readings.components import WITHIN, components, depth_components, gauge_study
from domemargin.studies.readings.plant_generator import Plant, generate
from domemargin.studies.readings.readings import labels

ABOUT = About(
    READINGS,
    "Dyestuff yields (Davies, Statistical Methods in Research and Production, 1947), fitted in "
    "Bates, lme4: Mixed-effects modeling with R, ch. 1",
    PUBLISHED,
)
# yield of five preparations from each of six batches
DYESTUFF = np.array([
    1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560,
    1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445,
], dtype=float)  # fmt: skip
BATCH = np.repeat(np.arange(6), 5)


def test_dyestuff(evidence: Callable[..., None]) -> None:
    fit = components(DYESTUFF, {"batch": BATCH})
    for name, ours, value, band in (
        ("variance between batches", fit.deviation["batch"] ** 2, 1764.0, 0.5),
        ("variance within", fit.deviation[WITHIN] ** 2, 2451.0, 0.5),
        ("standard deviation between batches", fit.deviation["batch"], 42.00, 0.005),
        ("standard deviation within", fit.deviation[WITHIN], 49.51, 0.005),
        ("mean", fit.mean, 1527.5, 0.05),
        ("REML criterion", fit.criterion, 319.6543, 5e-5),
    ):
        evidence(f"Dyestuff, {name}", computed=ours, expected=value, abs=band)


def test_balanced_crossed_design_is_the_analysis_of_variance(
    evidence: Callable[..., None],
) -> None:
    # balanced two-way random model without interaction: REML equals the estimates from mean
    # squares where those are positive (Searle, Casella & McCulloch, Variance Components, 1992)
    a, b, n = 8, 6, 3
    rng = np.random.default_rng(12)
    one, two = (np.repeat(np.arange(a), b * n), np.tile(np.repeat(np.arange(b), n), a))
    y = (
        10.0
        + rng.normal(0, 2.0, a)[one]
        + rng.normal(0, 1.0, b)[two]
        + rng.normal(0, 0.7, one.size)
    )
    rows, columns = (
        np.array([y[c == i].mean() for i in range(k)]) for c, k in ((one, a), (two, b))
    )
    left = y - rows[one] - columns[two] + y.mean()
    within = left @ left / (y.size - a - b + 1)
    expected = {
        "one": math.sqrt(rows.var(ddof=1) - within / (b * n)),
        "two": math.sqrt(columns.var(ddof=1) - within / (a * n)),
        WITHIN: math.sqrt(within),
    }
    fit = components(y, {"one": one, "two": two})
    for name, value in expected.items():
        evidence(f"balanced crossed factors, {name}", computed=fit.deviation[name],
                 expected=value, rel=1e-4, kind=COMPUTED,
                 source="Searle, Casella & McCulloch, Variance Components, 1992: balanced REML is "
                 "the analysis of variance")  # fmt: skip


def test_against_another_program() -> None:
    """An unbalanced nested design, by a library's own optimiser."""
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    rng = np.random.default_rng(4)
    size = rng.integers(2, 9, 15)
    machine = np.repeat(np.arange(15), size)
    line = machine // 5
    y = (
        rng.normal(0, 1, 3)[line]
        + rng.normal(0, 0.8, 15)[machine]
        + rng.normal(0, 0.5, machine.size)
    )
    spec = mixed.VCSpec(
        ["line", "machine"],
        [[[f"l{i}" for i in range(3)]], [[f"m{i}" for i in range(15)]]],
        [[np.eye(3)[line]], [np.eye(15)[machine]]],
    )
    model = mixed.MixedLM(y, np.ones((y.size, 1)), groups=np.zeros(y.size), exog_vc=spec)
    theirs = model.fit(reml=True, method="powell")  # its default stops at a wrong place here
    ours = components(y, {"line": line, "machine": machine})
    assert ours.criterion == pytest.approx(-2.0 * theirs.llf, abs=1e-5)
    found = [ours.deviation["line"] ** 2, ours.deviation["machine"] ** 2]
    assert found == pytest.approx(list(theirs.vcomp), rel=0.01)  # flat there


def test_components_of_a_plant() -> None:
    plant = Plant(lines=4, machines=8, days=84)
    fit = depth_components(generate(plant, (), np.random.default_rng(9)))
    known = plant.explained
    # what the readings were drawn from; twice the standard error of a deviation of k levels
    for name, value, k in (("machine", known.set, 32), ("lot", known.lot, 96)):
        assert fit.deviation[name] == pytest.approx(value, rel=2.0 / math.sqrt(2 * k))
    assert fit.deviation[WITHIN] == pytest.approx(known.seen, rel=0.02)
    assert sum(fit.share(name) for name in fit.deviation) == pytest.approx(1.0)


def test_one_level_and_equal_values() -> None:
    assert components(np.ones(5), {"batch": np.arange(5)}).deviation == {WITHIN: 0.0}
    alone = components(DYESTUFF, {"batch": np.zeros(30, dtype=int)})
    assert alone.deviation[WITHIN] == pytest.approx(DYESTUFF.std(ddof=1))


def test_gauge_study() -> None:
    rng = np.random.default_rng(3)
    readings = generate(Plant(lines=1, machines=1, days=10, per_day=12), (), rng)
    can = np.repeat(np.arange(20), 6)
    operator = np.tile([0, 0, 1, 1, 2, 2], 20)
    bias = np.array([-0.006, 0.0, 0.006])
    depth = 10.2 + rng.normal(0, 0.02, 20)[can] + bias[operator] + rng.normal(0, 0.004, can.size)
    study = gauge_study(replace(
        readings, depth=depth, can=labels([f"can {i}" for i in can]),
        operator=labels([f"operator {i}" for i in operator]),
    ))  # fmt: skip
    assert study is not None
    assert (study.cans, study.readings) == (20, 120)
    assert study.repeatability == pytest.approx(0.004, rel=0.15)
    assert study.reproducibility == pytest.approx(0.006, rel=0.3)  # three operators
    assert gauge_study(readings) is None
