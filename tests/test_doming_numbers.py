"""Numbers read off a doming stroke, against closed forms; what the budget makes of them."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from shells import disc, revolve

from domemargin.fea.contact.contact import Penalty, Tool, chain_rows
from domemargin.fea.contact.kernel import PRESSURE
from domemargin.fea.doming.readings import (
    averaged,
    centre_pressure,
    line,
    membrane_strains,
    neck_thinning,
    thinning,
)
from domemargin.fea.doming.record import ALL, DomingRecord, Worst
from domemargin.fea.metal.materials import encode
from domemargin.fea.stroke import press as pressing
from domemargin.fea.stroke.advance import Goal, Pace, advance
from domemargin.fea.stroke.step import FormingState, Ledger, Press, resting
from domemargin.profiles.material import Linear, Material, Voce
from domemargin.profiles.shape.meridian import Segment
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.profiles.units import PSI
from domemargin.studies.doming import budget

HALF_SQRT3 = 0.5 * math.sqrt(3.0)


# --- local neck ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("strength", "saturation", "rate"),
    [(270.0, 40.0, 20.0), (150.0, 120.0, 8.0), (90.0, 200.0, 5.0)],
)
def test_neck_of_a_voce_metal(strength: float, saturation: float, rate: float) -> None:
    """Hill 1952 (value from memory): d sigma / d eps = sqrt 3 / 2 sigma along plane strain.

    sigma = Y + Q (1 - exp(-b eps)): exp(-b eps) = m (Y + Q) / (Q (b + m)), m = sqrt 3 / 2.
    """
    m = HALF_SQRT3
    left = m * (strength + saturation) / (saturation * (rate + m))
    strain = -math.log(left) / rate if left < 1.0 else 0.0
    metal = encode(Material(70e3, 0.3, strength, Voce(saturation, rate)))
    assert neck_thinning(metal) == pytest.approx(1.0 - math.exp(-m * strain), abs=2e-6)


def test_neck_of_other_metals() -> None:
    """Straight hardening: eps = 1 / m - Y / H; none: at once; an elastic metal never necks."""
    strain = 1.0 / HALF_SQRT3 - 100.0 / 400.0
    metal = encode(Material(70e3, 0.3, 100.0, Linear(400.0)))
    assert neck_thinning(metal) == pytest.approx(1.0 - math.exp(-HALF_SQRT3 * strain), abs=2e-6)
    assert neck_thinning(encode(Material(70e3, 0.3, 100.0))) == 0.0
    assert neck_thinning(encode(Material(70e3, 0.3))) == 1.0


# --- a flat disc between plates ------------------------------------------------------------------


def flat(z: float, free_side: int) -> np.ndarray:
    return chain_rows([Segment("tool", 0.0, z, 0.0, 100.0, 0.0)], free_side)


def pinched(force: float) -> SimpleNamespace:
    """A disc of radius 10 between two plates, the second in the place of the die."""
    shell = revolve(disc(10.0), Material(70e3, 0.3), 0.3, 12, end="", start="r phi")
    tools = (
        Tool("punch", flat(-0.15, 1), "outside", 0.0),
        Tool("die", flat(0.15, -1), "inside", 0.0),
    )
    press = Press(shell, tools, Penalty(), force_scale=1000.0, held=pressing.DIE)
    state = resting(press, shell.start(), (1e-3, -1e-3))
    state = advance(press, state, Goal(state.places, -force), Pace(0.1, 0.5), -1.0)
    return SimpleNamespace(press=press, state=state)


def test_pressure_on_the_centre_is_force_over_area() -> None:
    formed = pinched(5000.0)
    for radius in (1.0, 3.0, 10.0):
        pressure = centre_pressure(formed, formed.state, radius)
        assert pressure == pytest.approx(5000.0 / (math.pi * 100.0), rel=1e-3)
    # stretched by a tenth both ways, the same force stands on 1.21 of the area
    shell = formed.state.shell
    pressure = centre_pressure(formed, formed.state, 3.0)
    wider = replace(formed.state, shell=replace(shell, x=shell.x * np.array([1.1, 1.0, 1.0])))
    assert centre_pressure(formed, wider, 3.0) == pytest.approx(pressure / 1.21, rel=1e-4)
    # a part of the centre lifted off carries nothing: the rest is left, and within the part none
    history = formed.state.history.copy()
    s = formed.press.rule.of(formed.press.shell.point_s)
    inner = s < 1.5
    history[pressing.DIE, inner] *= 0.0
    lifted = replace(formed.state, history=history)
    share = formed.press.area.ravel()
    some = 1.0 - share[inner].sum() / share[s < 3.0].sum()
    assert centre_pressure(formed, lifted, 3.0) == pytest.approx(pressure * some, rel=1e-3)
    assert centre_pressure(formed, lifted, 1.5) == 0.0
    # falling from p0 at the centre to none at the edge: over a radius a the mean over the area is
    # p0 (1 - 2 a / 3 R), by integration; points of contact stand for rings of their area
    history = formed.state.history.copy()
    history[pressing.DIE, :, PRESSURE] = 20.0 * (1.0 - s / 10.0)
    falling = replace(formed.state, shell=formed.press.shell.start(), history=history)
    for radius in (5.0, 10.0):
        mean = 20.0 * (1.0 - 2.0 * radius / 30.0)
        assert centre_pressure(formed, falling, radius) == pytest.approx(mean, rel=0.01)


def test_strains_depth_and_thickness_of_a_disc_bent_by_hand() -> None:
    formed = pinched(10.0)
    shell, state = formed.press.shell, formed.state
    s = shell.s
    # a cone of 0.3 radians whose edge is the stand, stretched by a twentieth along itself
    angle, stretch = 0.3, 1.05
    x = np.stack((
        s * stretch * math.cos(angle), -s * stretch * math.sin(angle), np.full_like(s, -angle)
    ), axis=1)  # fmt: skip
    inside, outside = np.full_like(state.inside, 0.16), np.full_like(state.outside, 0.11)
    cone = replace(state, shell=replace(state.shell, x=x), inside=inside, outside=outside)
    along, around = membrane_strains(formed, cone)
    np.testing.assert_allclose(along, math.log(stretch), rtol=1e-9)
    np.testing.assert_allclose(around, math.log(stretch * math.cos(angle)), rtol=1e-9)
    np.testing.assert_allclose(thinning(formed, cone), 1.0 - 0.27 / 0.3, rtol=1e-9)
    reading, stand = pressing.outside_depth(formed.press, cone)
    low = -10.0 * stretch * math.sin(angle) - 0.11 * math.cos(angle)
    assert stand == pytest.approx(low, abs=1e-9)
    assert reading == pytest.approx(-0.11 * math.cos(angle) - low, abs=1e-9)
    # the middle lies half of the difference towards the inside, along the normal
    lie = line(formed, cone)
    np.testing.assert_allclose(lie.thickness, 0.27, rtol=1e-12)
    np.testing.assert_allclose(lie.z, x[:, 1] + 0.025 * math.cos(angle), atol=1e-12)
    np.testing.assert_allclose(lie.r, x[:, 0] + 0.025 * math.sin(angle), atol=1e-12)


def test_running_mean_is_that_of_an_integral() -> None:
    """Of values given at points that stand for stretches: a line keeps its value inside."""
    formed = pinched(10.0)
    s = formed.press.shell.point_s
    found = averaged(formed, 2.0 + 0.1 * s)
    inner = (s > 1.5) & (s < 8.5)
    assert np.abs(found - 2.0 - 0.1 * s)[inner].max() < 0.02
    np.testing.assert_allclose(averaged(formed, np.full_like(s, 3.0)), 3.0, rtol=1e-12)


def test_what_energy_is_missing_is_a_share_of_the_work() -> None:
    ledger = Ledger(work=-10.0, elastic=-4.0, plastic=-3.0, rubbed=-2.0, penalty=-0.5)
    assert ledger.gap == pytest.approx(-0.05)
    assert Ledger(work=10.0, elastic=1.0, plastic=5.0, rubbed=2.0, penalty=1.0).gap == 0.1


def test_friction_takes_mu_times_the_normal_force_times_the_slip() -> None:
    """Coulomb: mandrel drawn through a shrunk tube; first law: its drive gives that work."""
    from test_contact import pressures, shrunk

    from domemargin.fea.stroke.step import step

    press, state = shrunk(0.1)
    for _ in range(12):
        state = step(press, state, state.places + 0.002)
    before: FormingState = state
    state = step(press, state, state.places + 0.002)
    normal = 2.0 * math.pi * float(np.sum(press.area.ravel() * pressures(before, 0)))
    rubbed = state.ledger.rubbed - before.ledger.rubbed
    assert rubbed == pytest.approx(0.1 * normal * 0.002, rel=5e-3)
    # what the tool's drive gave: its force times its way
    work = state.ledger.work - before.ledger.work
    assert work == pytest.approx(rubbed, rel=0.02)


# --- budget --------------------------------------------------------------------------------------


def reversed_at(psi: float) -> SimpleNamespace:
    return SimpleNamespace(reversal_pressure_mpa=psi * PSI, kind="limit")


def answer(tooling: Tooling, *_: object, **__: object) -> DomingRecord:
    """A made-up straight response of a doming solve."""
    metal = tooling.material.yield_strength or 0.0
    depth = (
        10.0 + 0.05 * (tooling.set - 0.5) + 0.9 * (tooling.die.flange_height - 10.75)
        + 0.02 * (tooling.spring.preload - 9500.0) / 1e3 - 0.2 * (tooling.blank.gauge - 0.265)
        - 0.002 * (metal - 270.0) + 0.4 * (tooling.friction.punch - 0.06)
    )  # fmt: skip
    rest = SimpleNamespace(
        depth_mm=depth,
        springback_mm=0.3 - 0.01 * (tooling.spring.preload - 9500.0) / 1e3,
        worst=Worst(0.05 + 0.5 * (tooling.friction.punch - 0.06), "nose", 20.0, 23.0),
        split_risk=0.2,
    )
    return DomingRecord(
        tooling,
        "formed",
        "",
        stroke=SimpleNamespace(peak_force_n=9800.0 + (tooling.spring.preload - 9500.0)),
        end=SimpleNamespace(bottomed=True),
        rest=rest,
        reversal={ALL: reversed_at(90.0 - 30.0 * (tooling.friction.punch - 0.06))},
    )


def test_slopes_of_the_budget_are_per_unit_that_people_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(budget, "doming", answer)
    found = budget.depth_budget(answer(load_tooling("north")), wanted=0.08)
    slopes = {one.knob: one for one in found.slopes}
    tooling = load_tooling("north")
    for knob, depth_slope in (
        ("set", 0.05), ("flange height (spacer)", 0.9), ("spring force", 0.02), ("gauge", -0.2),
        ("yield strength", -0.002), ("friction", 0.4),
    ):  # fmt: skip
        assert slopes[knob].depth_mm == pytest.approx(depth_slope, rel=1e-9, abs=1e-12), knob
    assert slopes["spring force"].unit == "kN"
    assert slopes["spring force"].value == pytest.approx(1e-3 * tooling.spring.preload)
    assert slopes["spring force"].springback_mm == pytest.approx(-0.01, rel=1e-9)
    assert slopes["spring force"].peak_force_kn == pytest.approx(1.0, rel=1e-9)
    assert slopes["friction"].reversal_psi == pytest.approx(-30.0, rel=1e-9)
    assert slopes["friction"].thinning_points == pytest.approx(50.0, rel=1e-9)
    assert slopes["gauge"].value == pytest.approx(tooling.blank.gauge)
    ways = {one.knob: one for one in found.ways}
    # 0.08 mm by a spacer that gives 0.9 of itself
    assert ways["flange height (spacer)"].change == pytest.approx(0.08 / 0.9, rel=1e-3)
    assert ways["flange height (spacer)"].reversal_psi == pytest.approx(0.0, abs=1e-9)
    # a spring of 5 kN more at the farthest wins 0.1 mm: 4 kN for 0.08
    assert ways["spring force"].change == pytest.approx(4.0, rel=1e-3)
    assert ways["spring force"].peak_force_kn == pytest.approx(4.0, rel=1e-3)
    # a millimetre more set at the farthest wins 0.05
    assert ways["set"].change is None
    assert "0.050 mm" in ways["set"].remark
    # 30 MPa at the farthest win 0.06 by softer sheet
    assert "0.060 mm, with -30 MPa" in ways["yield strength"].remark
