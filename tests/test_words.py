"""What the summary says of waves around the circumference, record by record."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import Record, Stability, WaveMode
from domemargin.profiles import load_profile
from domemargin.studies.text.words import margin_words, stability_words, waves_words

PSI = 0.006894757  # MPa; NIST Special Publication 811 (2008)


def mode(waves: int, psi: float, before_limit: bool = True) -> WaveMode:
    none = np.zeros(3)
    return WaveMode(waves, psi * PSI, before_limit, none, none, none)


@pytest.fixture(scope="module")
def record() -> Record:
    return reversal(load_profile("north"), resolution=0.01, growth_at=())


def words(record: Record, stability: Stability | None) -> list[str]:
    return stability_words(replace(record, stability=stability))


def test_names_of_shapes() -> None:
    assert [waves_words(n) for n in (0, 1, 5)] == ["all round", "tilting (1 wave)", "in 5 waves"]


def test_limit_quoted_and_second_opinion_below(record: Record) -> None:
    lines = words(
        record,
        Stability(91.3 * PSI, mode(1, 89.9, False), mode(0, 83.2), (83.2 * PSI, 91.3 * PSI), 20),
    )
    assert lines == [
        "none of 1 to 20 waves before the limit (flow theory)",
        "theory check, deformation theory: all round at 83.2 psi,",
        "9 % lower, not counted (why: guide, What the model covers)",
    ]
    assert max(map(len, lines)) <= 65  # what the summary has room for


def test_waves_quoted(record: Record) -> None:
    band = (1179.6 * PSI, 1183.0 * PSI)
    lines = words(record, Stability(1232.2 * PSI, mode(12, 1183.0), mode(1, 1179.6), band, 20))
    assert lines == [
        "in 12 waves at 1183.0 psi, quoted (all round at 1232.2 psi)",
        "theory check, deformation theory: tilting (1 wave) at 1179.6 psi,",
        "0 % lower, not counted (why: guide, What the model covers)",
    ]
    assert words(record, Stability(None, mode(5, 80.0), None, (80 * PSI, 80 * PSI), 20)) == [
        "in 5 waves at 80.0 psi, quoted",
        "theory check: no earlier onset by deformation theory",
    ]


def test_elastic_metal_has_one_theory(record: Record) -> None:
    metal = replace(record.profile.material, yield_strength=None)
    elastic = replace(record, profile=replace(record.profile, material=metal))
    five = mode(5, 183.0)
    lines = words(elastic, Stability(1.6, five, five, (five.pressure_mpa,) * 2, 20))
    assert lines == ["in 5 waves at 183.0 psi, quoted (all round at 232.1 psi)"]


def test_nothing_found_or_not_looked_at(record: Record) -> None:
    assert words(record, Stability(None, None, None, None, 7))[0] == (
        "none of 1 to 7 waves on this path (flow theory)"
    )
    assert words(record, None) == ["not checked"]


def test_the_verdict_goes_by_the_interval(record: Record) -> None:
    """Arithmetic: 91.3 +- 10 % is 82.2 to 100.4 psi; the rule of verdict/budget.py by hand."""

    def verdict(required: float) -> str:
        found = replace(record, reversal_pressure_mpa=91.3 * PSI, step_correction_mpa=0.0)
        return margin_words(replace(found, required_pressure_mpa=required * PSI))

    assert verdict(90.0) == "IN DOUBT, margin +1.4 % (-8.7 to +11.6 %)"
    assert verdict(80.0) == "SAFE, margin +14.1 % (+2.7 to +25.5 %)"
    assert verdict(102.0) == "NOT SAFE, margin -10.5 % (-19.4 to -1.5 %)"
