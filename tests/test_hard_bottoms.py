"""Bottoms that went wrong once: each has an answer that its own fine solve agrees with.

The fine answers are this solver's own at a resolution of 0.02 %; what it computes is checked
against other sources in the other files.  Files: tests/data/hard.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import KINDS
from domemargin.profiles import InputError, load_profile

HARD = Path(__file__).parent / "data" / "hard"
FINE = 2e-4


@pytest.mark.parametrize("name", ["default_off_291", "large_correction", "jump_transition"])
def test_default_agrees_with_fine(name: str) -> None:
    """Quoted once: 1.2075 for 1.43, 1.1271 for 0.9661 MPa."""
    profile = load_profile(HARD / f"{name}.toml")
    default, fine = (reversal(profile, resolution=r, growth_at=()) for r in (0.002, FINE))
    assert default.kind == "limit"
    assert fine.limit_on_curve_mpa is not None
    own = fine.reversal_pressure_mpa or fine.limit_on_curve_mpa
    assert default.reversal_pressure_mpa == pytest.approx(own, rel=0.005)
    assert abs(default.step_correction_mpa or 0.0) < 0.002 * own


def test_neighbours_do_not_jump() -> None:
    """0.1 % of the transition length once moved the answer by 0.9 %."""
    one = load_profile(HARD / "jump_transition.toml")
    other = one.replaced(transition_length=1.001 * one.sheet.transition_length)
    a, b = (reversal(p, growth_at=(), waves=0).reversal_pressure_mpa for p in (one, other))
    assert a == pytest.approx(b, rel=0.002)


def test_a_search_that_did_not_end_ends() -> None:
    record = reversal(load_profile(HARD / "endless_bisection.toml"))
    assert record.kind in KINDS
    assert record.reversal_pressure_mpa is None or record.reversal_pressure_mpa > 0.0


def test_a_step_in_the_offset_is_rejected_or_has_a_reason() -> None:
    with pytest.raises(InputError, match="offset"):
        load_profile(HARD / "offset_step.toml")


def test_resolution_that_is_not_reached_is_not_quoted() -> None:
    """One ramp may not be taken for the limit of short steps: at the finest resolution the
    hardest of these bottoms is not resolved, and no reversal pressure is given."""
    profile = load_profile(HARD / "default_off_291.toml")
    record = reversal(profile, resolution=FINE, growth_at=(), waves=0, required=0.6)
    if record.kind == "not_resolved":
        assert record.reversal_pressure_mpa is None
        assert record.margin is None
        assert "resolution of 0.02% is not reached" in record.reason
    else:
        assert record.kind == "limit"
