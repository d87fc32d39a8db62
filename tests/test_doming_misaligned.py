"""A tilted or offset die: bounds by sides."""

from __future__ import annotations

import math
from functools import lru_cache

import pytest
from evidence_rows import COMPUTED, FORMING, About

from domemargin.fea.doming.misaligned import Misaligned, misaligned
from domemargin.fea.stroke.stages import Formed, form
from domemargin.profiles.errors import InputError
from domemargin.profiles.tooling.files import load_tooling

ABOUT = About(FORMING, "elementary geometry", COMPUTED)


@lru_cache(maxsize=1)
def straight() -> Formed:
    return form(load_tooling("north"))


def sides(tilt_deg: float, offset: float) -> Misaligned:
    return misaligned(load_tooling("north"), straight(), math.radians(tilt_deg), offset)


def test_without_either_the_sides_are_alike() -> None:
    found = sides(0.0, 0.0)
    assert found.depth_high_mm == found.depth_low_mm
    assert found.clearance_tight_mm == found.clearance_wide_mm
    assert found.ironed == 0.0


def test_a_bottomed_station_leaves_the_low_side_short(evidence) -> None:
    """The low side stays short by the ring's diameter times the angle (geometry)."""
    found = sides(0.1, 0.0)
    evidence(
        "die tilted by 0.1 deg: depth of the high side less that of the low side",
        computed=found.depth_high_mm - found.depth_low_mm,
        expected=47.0 * math.radians(0.1), abs=0.02, unit="mm",
    )  # fmt: skip


def test_an_offset_closes_the_clearance_on_one_side() -> None:
    """Geometry of the ready tooling: hollow 23.5 - 1.37 mm, die 21.75 mm: 0.38 mm."""
    found = sides(0.0, 0.15)
    assert found.clearance_tight_mm == pytest.approx(0.23)
    assert found.clearance_wide_mm == pytest.approx(0.53)
    assert found.gauge_tight_mm == pytest.approx(0.23)
    assert found.ironed == pytest.approx(1.0 - 0.23 / found.gauge_mm)


@pytest.mark.parametrize(
    ("tilt", "offset", "words"),
    [(5.0, 0.0, "misaligned.tilt is 5 deg"), (0.0, 0.5, "clearance between die and punch, 0.38")],
)
def test_what_cannot_be_is_rejected(tilt: float, offset: float, words: str) -> None:
    with pytest.raises(InputError, match=words.replace(".", r"\.")):
        sides(tilt, offset)
