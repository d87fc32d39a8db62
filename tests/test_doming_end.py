"""The end of a stroke that the spring ends: readings, and depth smooth in the setting."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from evidence_rows import COMPUTED, CONVERGENCE, FORMING, PRACTICE, About

from domemargin.fea.doming.doming import doming
from domemargin.fea.doming.record import DomingRecord
from domemargin.fea.stroke.end import FINE, WIDTH, Curve, Pass, spring_end
from domemargin.fea.stroke.press import FormingSettings
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.parts import Spring

ABOUT = About(FORMING, "statics of a station on a spring", PRACTICE)
WEAK = Spring("linear", 8500.0, 400.0)


@lru_cache(maxsize=32)
def weak(
    set_mm: float, spring: Spring = WEAK, settings: FormingSettings | None = None
) -> DomingRecord:
    tooling = load_tooling("north").replaced(spring=spring, set=set_mm)
    record = doming(tooling, settings, reversal="none")
    assert record.kind == "formed", record.reason
    return record


def test_a_reading_sees_through_waves() -> None:
    """A quadratic is read as it is; a wave of the mesh's period is damped tenfold (arithmetic)."""
    x = np.arange(-2.0, 2.0, FINE)
    force = 9000.0 + 235.0 * x - 60.0 * x**2
    assert Pass(x, force).read(0.3) == pytest.approx((9065.1, 199.0), abs=1e-6)
    wave = 3.0 * np.sin(2.0 * np.pi * x / 0.28)
    read = [Pass(x, force + wave).read(place)[0] for place in np.linspace(-0.5, 0.5, 21)]
    true = [9000.0 + 235.0 * p - 60.0 * p**2 for p in np.linspace(-0.5, 0.5, 21)]
    assert np.abs(np.subtract(read, true)).max() < 0.3


def test_two_passes_give_the_limit_of_short_steps() -> None:
    """An error in proportion to the step is taken out (Richardson 1911; arithmetic)."""
    x = np.arange(-2.0, 2.0, FINE)
    force = 9000.0 + 235.0 * x
    curve = Curve(Pass(x, force - 400.0 * FINE), Pass(x[::2], force[::2] - 800.0 * FINE))
    assert curve.read(0.1)[0] == pytest.approx(9023.5, abs=1e-6)
    # the spring 9000 N + 400 N/mm meets it where 9000 + 400 (0.5 - x) = 9000 + 235 x
    spring = Spring("linear", 9000.0, 400.0)
    assert spring_end(curve, spring, 0.5, -WIDTH, WIDTH) == pytest.approx(200.0 / 635.0, abs=1e-5)
    # and a station that holds lets the stroke go to its end
    assert spring_end(curve, Spring("constant", 1e5), 0.5, -WIDTH, WIDTH) == WIDTH


@pytest.mark.parametrize(
    "spring",
    [
        WEAK,
        Spring("constant", 9000.0),
        Spring("table", travel=(0.0, 1.0, 3.0), force=(8300.0, 8900.0, 9500.0)),
        Spring("linear", 9230.0, 400.0),
    ],
    ids=["linear", "constant", "table", "about bottoming"],
)
def test_the_stroke_ends_where_the_set_says(spring: Spring) -> None:
    """Place of the die and overtravel make up the set, within 0.005 mm, and the spring's force at
    that overtravel is the die's (statics)."""
    record = weak(0.5, spring)
    stroke = record.stroke
    assert stroke is not None
    tooling = record.tooling
    # rise from first touch to where the flange would meet the sheet: the flange's height less the
    # sag of the sheet that the clamp leaves
    height = record.tooling.die.flange_height
    end = stroke.die_mm[-1] + stroke.overtravel_mm[-1] - tooling.set
    assert end == pytest.approx(height, abs=0.3)
    assert stroke.die_n[-1] == pytest.approx(spring.load(stroke.overtravel_mm[-1]), abs=0.5)
    again = weak(0.4, spring).stroke
    assert again is not None
    # the same from one set to another
    other = again.die_mm[-1] + again.overtravel_mm[-1] - 0.4
    assert other == pytest.approx(end, abs=0.005)


def test_depth_is_smooth_in_the_set_of_a_weak_station() -> None:
    """Second differences below 0.003 mm for steps of 0.02 mm; a straight line has none."""
    sets = np.round(np.arange(0.44, 0.561, 0.02), 6)
    depth = np.array([weak(float(value)).rest.depth_mm for value in sets])
    assert np.all(np.diff(depth) > 0.0)
    assert np.abs(np.diff(depth, 2)).max() < 0.003


def test_sensitivity_is_what_a_change_of_the_spring_does() -> None:
    """Depth by force of the spring against a difference of two solves."""
    less, more = (weak(0.5, Spring("linear", load, 400.0)) for load in (8400.0, 8600.0))
    middle = weak(0.5).end
    assert middle is not None
    found = (more.rest.depth_mm - less.rest.depth_mm) / 0.2
    assert middle.depth_per_kn == pytest.approx(found, rel=0.05)
    assert weak(0.5, Spring("linear", 15000.0, 400.0)).end.depth_per_kn == 0.0


@pytest.mark.slow
@pytest.mark.parametrize("set_mm", [-0.3, 0.5])
def test_a_weak_station_on_a_finer_mesh(evidence, set_mm: float) -> None:
    finer = weak(set_mm, WEAK, FormingSettings(density=2.0, step=0.05))
    evidence(
        f"doming on a weak spring, set {set_mm:+g} mm: depth, against density 2",
        computed=weak(set_mm).rest.depth_mm, expected=finer.rest.depth_mm, abs=0.005, unit="mm",
        physics=CONVERGENCE, kind=COMPUTED, source="the same on finer settings",
    )  # fmt: skip


def test_spring_load_and_overtravel_are_inverse() -> None:
    """Arithmetic, on the rising parts."""
    for spring in (WEAK, Spring("table", travel=(0.0, 1.0, 3.0), force=(800.0, 900.0, 1300.0))):
        for travel in (0.2, 0.9, 2.5):
            assert spring.overtravel(spring.load(travel)) == pytest.approx(travel)
    assert Spring("constant", 1000.0).load(3.0) == 1000.0
    assert Spring("table", travel=(0.0, 1.0), force=(800.0, 900.0)).load(5.0) == 900.0


@pytest.mark.parametrize(
    "spring", [Spring("constant", 300.0), Spring("linear", 100.0, 50.0), Spring("linear", 1.0, 5.0)]
)
def test_a_station_that_hardly_holds_still_ends_on_its_spring(spring: Spring) -> None:
    """Statics: the spring's force at its overtravel is the die's."""
    record = weak(0.5, spring)
    assert record.stroke is not None
    over = float(record.stroke.overtravel_mm[-1])
    assert record.stroke.die_n[-1] == pytest.approx(spring.load(over), abs=0.5)
    assert not record.end.bottomed


def test_a_stroke_that_ends_before_the_die_touches_says_so() -> None:
    record = doming(load_tooling("north").replaced(set=-11.5), reversal="none")
    assert record.kind == "stroke failed"
    assert "before the die touches the sheet" in record.reason
