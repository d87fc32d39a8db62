"""Control charts and capability against handbooks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from evidence_rows import COMPUTED, MEMORY, PUBLISHED, READINGS, About

from domemargin.studies import tails
from domemargin.studies.readings.control_capability import Gauge, binomial_interval, capability
from domemargin.studies.readings.control_charts import (
    constants,
    individuals_chart,
    subgroup_chart,
    subgroup_size,
)

ABOUT = About(
    READINGS,
    "Factors for Constructing Control Charts: Walpole, Myers, Myers & Ye, Probability & "
    "Statistics for Engineers & Scientists, Table A.22",
    PUBLISHED,
)

# n: A2, c4, d2, d3, D3, D4 (Table A.22)
TABLE = {
    2: (1.880, 0.7979, 1.128, 0.853, 0.0, 3.267),
    3: (1.023, 0.8862, 1.693, 0.888, 0.0, 2.574),
    4: (0.729, 0.9213, 2.059, 0.880, 0.0, 2.282),
    5: (0.577, 0.9400, 2.326, 0.864, 0.0, 2.114),
    6: (0.483, 0.9515, 2.534, 0.848, 0.0, 2.004),
    7: (0.419, 0.9594, 2.704, 0.833, 0.076, 1.924),
    8: (0.373, 0.9650, 2.847, 0.820, 0.136, 1.864),
    9: (0.337, 0.9693, 2.970, 0.808, 0.184, 1.816),
    10: (0.308, 0.9727, 3.078, 0.797, 0.223, 1.777),
    15: (0.223, 0.9823, 3.472, 0.756, 0.347, 1.653),
    20: (0.180, 0.9869, 3.735, 0.729, 0.415, 1.585),
}
# n: E2 (AIAG, Statistical Process Control, table of constants)
E2 = {2: 2.660, 3: 1.772, 4: 1.457, 5: 1.290, 6: 1.184, 7: 1.109, 8: 1.054, 9: 1.010, 10: 0.975}


def test_constants(evidence: Callable[..., None]) -> None:
    # handbooks differ by a unit in the last place (D4 of 5: 2.114 and 2.115), which is allowed
    for n, row in TABLE.items():
        ours = constants(n)
        for name, value in zip(("A2", "c4", "d2", "d3", "D3", "D4"), row, strict=True):
            digits = 4 if name == "c4" else 3
            evidence(f"{name}, n = {n}", computed=round(getattr(ours, name), digits),
                     expected=value, abs=1.01 * 10.0**-digits)  # fmt: skip
    for n, value in E2.items():
        evidence(f"E2, n = {n}", computed=round(constants(n).E2, 3), expected=value, abs=1e-9,
                 source="AIAG, Statistical Process Control, table of constants")  # fmt: skip


def test_moving_ranges_of_a_published_table() -> None:
    # Pyzdek & Keller, The Handbook for Quality Management, Table 9.4 (published)
    x = [110, 103, 97, 96, 105, 110, 100, 93, 90, 103, 97, 103, 90, 97, 99, 106, 90, 96, 109, 90,
         91, 108, 96, 101, 96]  # fmt: skip
    ranges = [7, 6, 1, 9, 5, 10, 7, 3, 13, 6, 6, 13, 7, 2, 7, 16, 6, 13, 19, 1, 17, 12, 5, 5]
    chart = individuals_chart(np.array(x, dtype=float))
    assert chart.range_centre == pytest.approx(np.mean(ranges))
    # UCL = mean + 2.66 mean range (the same page)
    assert chart.high == pytest.approx(np.mean(x) + 2.66 * np.mean(ranges), abs=0.005)
    assert chart.beyond.size == 0


def test_individuals_chart_of_a_published_example(evidence: Callable[..., None]) -> None:
    # flow rates of ten batches: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2
    flow = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    chart = individuals_chart(flow)
    source = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rate"
    for name, ours, value, digits in (
        ("centre", chart.centre, 50.81, 2), ("mean moving range", chart.range_centre, 1.8778, 4),
        ("upper limit", chart.high, 55.8041, 4), ("lower limit", chart.low, 45.8159, 4),
    ):  # fmt: skip
        # the handbook rounds the mean moving range first: one unit in the last place
        evidence(f"individuals chart, {name}", computed=ours, expected=value,
                 abs=1.01 * 10.0**-digits, source=source, kind=MEMORY)  # fmt: skip
    assert chart.beyond.size == chart.range_beyond.size == 0


def test_points_beyond_and_runs_are_found() -> None:
    values = np.array([0.0, 1.0] * 15)
    values[12] = 9.0
    assert list(individuals_chart(values).beyond) == [12]
    assert list(individuals_chart(values).range_beyond) == [12, 13]
    drift = np.repeat([0.0, 1.0], 12) + np.tile([0.0, 0.1], 12)
    assert list(individuals_chart(drift).runs) == [8, 9, 10, 11, 20, 21, 22, 23]


def test_capability_intervals_of_published_examples(evidence: Callable[..., None]) -> None:
    # Montgomery, Introduction to Statistical Quality Control, examples on confidence intervals:
    # limits 62 and 38, n = 20, s = 1.75: 1.57 <= Cp <= 3.01; n = 20, Cpk 1.33: 0.88 to 1.78
    source = "Montgomery, Introduction to Statistical Quality Control, process capability"
    values = np.random.default_rng(1).normal(size=20)
    values = (values - values.mean()) / values.std(ddof=1)
    found = capability(50.0 + 1.75 * values, 38.0, 62.0)
    assert found is not None
    assert found.cp is not None
    for name, ours, value in zip(("Cp", "Cp low", "Cp high"), found.cp, (2.29, 1.57, 3.01)):
        evidence(f"{name}, n = 20", computed=ours, expected=value, abs=0.0051, source=source,
                 kind=MEMORY)  # fmt: skip
    # the mean 3 x 1.33 standard deviations above the only limit
    found = capability(values, -3 * 1.33, None)
    assert found is not None
    for ours, value, name in zip(found.cpk[1:], (0.88, 1.78), ("low", "high")):
        evidence(f"Cpk {name}, n = 20", computed=ours, expected=value, abs=0.0071, source=source,
                 kind=MEMORY)  # fmt: skip


@pytest.mark.parametrize("n", [12, 40, 150])
@pytest.mark.parametrize("how", ["as observed", "gauge known", "gauge study of 20 cans, 3 times"])
def test_capability_intervals_cover(n: int, how: str, evidence: Callable[..., None]) -> None:
    reps = 2000
    # by simulation: readings of known Cpk, 0.0073 mm and a gauge of 0.004 mm, tolerance not
    # about the mean; two standard errors of the share are 1 %
    rng = np.random.default_rng(n)
    sigma, reading, low, high = 0.0073, 0.004, -0.03, 0.04
    hits = {"Cp": 0, "Cpk": 0}
    found_any = 0
    for _ in range(reps):
        seen = rng.normal(0.0, sigma, n) + rng.normal(0.0, reading, n)
        gauge = None
        if how == "gauge known":
            gauge = Gauge(reading)
        elif how != "as observed":
            repeats = rng.normal(0.0, reading, (20, 3)).var(axis=1, ddof=1)
            gauge = Gauge(float(np.sqrt(repeats.mean())), 40)
        true = sigma if gauge else np.hypot(sigma, reading)
        found = capability(seen, low, high, gauge)
        if found is None:  # the gauge seemed to scatter as much as all: rare, and said
            continue
        assert found.cp is not None
        found_any += 1
        hits["Cpk"] += found.cpk[1] <= 0.03 / (3 * true) <= found.cpk[2]
        hits["Cp"] += found.cp[1] <= 0.07 / (6 * true) <= found.cp[2]
    for name, count in hits.items():
        evidence(f"coverage of 95 % limits of {name}, {how}, n = {n}",
                 computed=100.0 * count / found_any, expected=95.0, abs=2.0, unit="%",
                 source="simulation with known capability", kind=COMPUTED)  # fmt: skip
    assert found_any > 0.98 * reps


def test_subgroups_are_found_and_charted(evidence: Callable[..., None]) -> None:
    # hard-bake process, flow width: 25 subgroups of 5, mean 1.5056, mean range 0.32521 give limits
    # 1.31795 and 1.69325, range limit 0.68749 (Montgomery, Introduction to Statistical Quality
    # Control, control charts for x-bar and R)
    source = "Montgomery, Introduction to Statistical Quality Control, hard-bake process"
    shape = np.array([-0.5, -0.2, 0.0, 0.2, 0.5]) * 0.32521
    values = np.tile(1.5056 + shape, 25)
    day = np.repeat(np.arange(25) / 12.0, 5) + np.tile(np.arange(5) / 1440.0, 25)
    found = subgroup_size(day)
    assert found is not None
    chart = subgroup_chart(values, *found)
    assert chart.n == 5
    for name, ours, value in (
        ("low", chart.low, 1.31795), ("high", chart.high, 1.69325),
        ("of ranges, high", chart.range_high, 0.68749),
    ):  # fmt: skip
        # printed constants have three decimals
        evidence(f"chart of subgroup means, limit {name}", computed=ours, expected=value,
                 abs=2e-4, source=source, kind=MEMORY)  # fmt: skip
    values[50:55] += 0.3
    values[104] += 0.6
    chart = subgroup_chart(values, *found)
    assert 10 in chart.beyond
    assert list(chart.range_beyond) == [20]


@pytest.mark.parametrize("kind", ["one at a time", "at random", "by the day"])
def test_what_are_no_subgroups_or_are(kind: str) -> None:
    rng = np.random.default_rng(1)
    day = {
        "one at a time": np.arange(60) / 12.0,
        "at random": np.sort(rng.uniform(0, 20, 120)),
        "by the day": np.repeat(np.arange(20.0), 3),  # three cans with the date alone
    }[kind]
    found = subgroup_size(day)
    assert (found[0] if found else None) == (3 if kind == "by the day" else None)


def test_binomial_limits() -> None:
    # 0 of n: 1 - (0.025)^(1/n), closed form; 10 of 100: 0.0490 to 0.1762 (any table of
    # Clopper and Pearson's limits, value from memory)
    assert binomial_interval(0, 20) == pytest.approx((0.0, 1.0 - 0.025 ** (1 / 20)))
    assert binomial_interval(20, 20)[1] == 1.0
    assert binomial_interval(10, 100) == pytest.approx((0.0490, 0.1762), abs=5e-5)


def test_capability_of_readings_takes_the_gauge_off() -> None:
    rng = np.random.default_rng(2)
    true = rng.normal(10.2, 0.02, 4000)
    seen = true + rng.normal(0.0, 0.01, true.size)
    found = capability(seen, 10.1, 10.3, Gauge(0.01))
    assert found is not None
    assert found.cp is not None
    assert found.cp[0] == pytest.approx(0.2 / (6 * 0.02), rel=0.03)
    assert found.cpk[1] < found.cpk[0] < found.cpk[2]
    one_sided = capability(seen, 10.15, None)
    assert one_sided is not None
    assert capability(seen, 10.15, None, Gauge(0.1)) is None
    assert one_sided.cp is None
    assert one_sided.outside == pytest.approx(np.mean(seen < 10.15))
    with pytest.raises(ValueError, match="limit"):
        capability(seen, None, None)


# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7: tables of critical values
def test_tails_against_tables() -> None:
    assert tails.normal_limit(0.025) == pytest.approx(1.960, abs=5e-4)
    assert tails.normal_above(1.0) == pytest.approx(1.0 - 0.84134, abs=5e-6)
    assert tails.student_limit(0.025, 10) == pytest.approx(2.228, abs=5e-4)
    assert tails.chi2_limit(0.05, 10) == pytest.approx(18.307, abs=5e-4)
    assert tails.chi2_above(18.307, 10) == pytest.approx(0.05, abs=5e-6)
    assert tails.chi2_quantile(0.05, 10) == pytest.approx(3.940, abs=5e-4)
    assert tails.chi2_below(3.940, 10) == pytest.approx(0.05, abs=5e-5)
    assert tails.f_above(4.965, 1, 10) == pytest.approx(0.05, abs=5e-5)
    assert tails.f_above(-1e-12, 1, 10) == 1.0
