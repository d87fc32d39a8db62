"""Control charts and capability against handbooks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from evidence_rows import MEMORY, PUBLISHED, READINGS, About

from domemargin.studies.margin import tails
from domemargin.studies.readings.control_capability import (
    binomial_interval,
    capability,
    cp_interval,
    cpk_interval,
)
from domemargin.studies.readings.control_charts import constants, individuals_chart

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
    cp = (62 - 38) / (6 * 1.75)
    rows = zip(("Cp", "Cp low", "Cp high"), (cp, *cp_interval(cp, 19)), (2.29, 1.57, 3.01))
    for name, ours, value in rows:
        evidence(f"{name}, n = 20", computed=ours, expected=value, abs=0.0051, source=source,
                 kind=MEMORY)  # fmt: skip
    for ours, value, name in zip(cpk_interval(1.33, 20), (0.88, 1.78), ("low", "high")):
        evidence(f"Cpk {name}, n = 20", computed=ours, expected=value, abs=0.0051, source=source,
                 kind=MEMORY)  # fmt: skip


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
    found = capability(seen, 10.1, 10.3, reading=0.01)
    assert found.cp is not None
    assert found.cp[0] == pytest.approx(0.2 / (6 * 0.02), rel=0.03)
    assert found.cpk[1] < found.cpk[0] < found.cpk[2]
    one_sided = capability(seen, 10.15, None)
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
