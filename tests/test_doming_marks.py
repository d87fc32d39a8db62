"""Marks in the bottom's centre: what a stroke can be said to do for them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest
from evidence_rows import COMPUTED, FORMING, About

from domemargin.fea.doming.marks import carried_at, embossing, pressure_needed
from domemargin.fea.doming.record import Embossing
from domemargin.fea.stroke.stages import form
from domemargin.fea.stroke.stroke import Moment
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.parts import Marks
from domemargin.studies.text.doming import marks_words

ABOUT = About(FORMING, "plastic collapse of a clamped strip", COMPUTED)


@lru_cache(maxsize=8)
def found(set_mm: float = 0.5, counter: float = 0.0) -> Embossing:
    tooling = load_tooling("north").replaced(set=set_mm)
    tooling = tooling.replaced(marks=replace(tooling.marks, counter_diameter=counter))
    out = embossing(tooling, form(tooling))
    assert out is not None
    return out


def test_pressure_that_a_mark_needs(evidence) -> None:
    """A clamped strip of span w under even pressure collapses at 16 M / w^2, M = Y' t^2 / 4,
    Y' = 2 Y / sqrt 3 in plane strain (limit analysis of a clamped beam, closed form)."""
    gauge, strength, width = 0.265, 300.0, 1.0
    moment = 2.0 / 3.0**0.5 * strength * gauge**2 / 4.0
    evidence(
        "mark of no height, 1 mm wide: pressure", computed=pressure_needed(
            Marks(width, 0.005), gauge, strength),
        expected=16.0 * moment / width**2, rel=1e-3, unit="MPa",
    )  # fmt: skip
    # stretching doubles it at a height of one gauge, and goes on in proportion
    at = [pressure_needed(Marks(1.0, h * gauge), gauge, strength) for h in (1.0, 2.0)]
    assert at[0] == pytest.approx(2.0 * 16.0 * moment, rel=1e-9)
    assert at[1] == pytest.approx(2.0 * at[0], rel=1e-9)


def test_the_rise_from_which_on_a_circle_is_carried() -> None:
    """Straight line between moments; what was lost again before does not count (arithmetic)."""
    rows = [(0.0, 0.5), (1.0, 2.0), (2.0, 0.1), (3.0, 3.0), (4.0, 5.0)]
    moments = tuple(
        Moment(place, 0.0, 0.0, 100.0 * place, 0.0, 0.0, place, carried) for place, carried in rows
    )
    assert carried_at(moments, 4.0) == pytest.approx((3.5, 350.0, 3.5))
    assert carried_at(moments, 1.0) == pytest.approx(
        (2.0 + 0.9 / 2.9, 100 * (2 + 0.9 / 2.9), 2 + 0.9 / 2.9)
    )
    assert carried_at(moments, 6.0) is None


def test_a_one_sided_die_does_not_form_marks_and_more_stroke_does_not_help() -> None:
    """The die presses with the sheet's own tension, 2 T / R, whatever the station's force."""
    more, less = found(0.5), found(-1.0)
    assert more.share < 0.1
    assert less.pressure_mpa == pytest.approx(more.pressure_mpa, rel=0.03)
    assert found(0.5, 20.0).counter_mpa > more.pressure_mpa


def test_a_stroke_that_ends_too_early_says_by_how_much() -> None:
    full, short = found(0.5), found(-8.0)
    assert full.margin_mm is not None
    assert short.margin_mm is not None
    assert full.margin_mm > 0.0 > short.margin_mm
    assert short.carried_mm < 10.0 < full.carried_mm
    # both see the same rise, one from its own stroke and one from a stroke solved on
    assert short.rise_mm == pytest.approx(full.rise_mm, abs=0.02)
    # a stroke with the set given for it ends just there
    assert full.set_mm is not None
    just = found(round(full.set_mm, 3))
    assert just.margin_mm == pytest.approx(0.0, abs=0.05)
    assert just.carried_mm == pytest.approx(10.0, abs=0.3)
    # the depth lost is the difference of the two strokes' depths, nearly the rise
    assert full.depth_lost_mm == pytest.approx(full.margin_mm, rel=0.02)


def test_words_of_a_stroke_that_ends_too_early() -> None:
    from domemargin.fea.doming.doming import doming

    record = doming(load_tooling("north").replaced(set=-8.0), reversal="none")
    words = " ".join(marks_words(record))
    assert "embossing not fully formed" in words
    assert "illegible" in words
    assert "estimate" in words
