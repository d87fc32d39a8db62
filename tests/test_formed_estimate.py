"""Estimate of what forming leaves, against the doming model; the tools are random, ours.

Source: the doming model, code to code; the formula was fitted to the tools of seeds 0 to 63, so the
slow check runs on others.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import METAL, About

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.doming.doming import solve
from domemargin.profiles.errors import InputError
from domemargin.profiles.files.loading import load_profile, parse_profile
from domemargin.profiles.files.writing import dump_profile
from domemargin.profiles.forming import (
    GROWTH_ERROR,
    LIMIT_ERROR,
    TAKEN,
    forming_strains,
    forming_zones,
)
from domemargin.profiles.material import Voce
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.studies.doming.formed_profile import formed_profile

ABOUT = About(METAL, "the doming model", "code to code")


def random_tools(seed: int) -> Tooling:
    """Tools and sheet around the ready ones, without a kinematic share.  Raises InputError."""
    base, rng = load_tooling("north"), np.random.default_rng(seed)

    def u(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    wider, gauge = u(-1.0, 1.0), u(0.24, 0.29)
    metal = replace(base.material, kinematic_share=0.0, yield_strength=u(250.0, 295.0))
    if seed % 2 == 0:
        metal = replace(metal, hardening=Voce(u(40.0, 90.0), u(8.0, 25.0)))
    assert base.clamp is not None
    return replace(
        base,
        punch=replace(
            base.punch,
            nose_radius=u(1.15, 1.6),
            nose_diameter=base.punch.nose_diameter + wider,
        ),
        die=replace(
            base.die,
            dome_radius=(u(42.0, 50.0),),
            edge_radius=u(1.2, 1.8),
            diameter=base.die.diameter + wider - u(-0.1, 0.4),
            flange_height=base.die.flange_height + u(-0.6, 0.5),
            flange_diameter=base.die.flange_diameter + wider,
        ),
        clamp=replace(base.clamp, inner_diameter=base.clamp.inner_diameter + wider),
        blank=replace(base.blank, gauge=gauge),
        material=metal,
    )


@pytest.mark.slow
def test_estimate_against_the_doming_model_on_50_tools(evidence) -> None:
    """Limit and permanent growth at 60 psi: strain by the estimate on the formed line, against all
    that forming left."""
    limits, growths, plain = [], [], []
    for seed in range(100, 200):
        try:
            tooling = random_tools(seed)
        except InputError:
            continue
        formed, record = solve(tooling, reversal="none")
        whole = formed_profile(formed, tooling) if record.kind == "formed" else None
        if whole is None:
            continue
        bare = replace(whole, formed=None)
        estimate = replace(bare, zones=forming_zones(bare.shape, bare.sheet))
        found = [reversal(one, waves=0) for one in (whole, estimate, bare)]
        pressures = [one.reversal_pressure_mpa for one in found]
        stays = [one.growth[0].permanent_stand_growth_mm for one in found]
        if any(value is None for value in (*pressures, *stays)):
            continue
        limits.append(pressures[1] / pressures[0] - 1.0)  # type: ignore[operator]
        growths.append(stays[1] - stays[0])  # type: ignore[operator]
        plain.append(stays[2] - stays[0])  # type: ignore[operator]
        if len(limits) == 50:
            break
    assert len(limits) == 50
    rows = (
        ("limit, mean", 0.0, float(np.mean(limits)), 0.02),
        ("limit, scatter", LIMIT_ERROR, float(np.std(limits)), 0.3 * LIMIT_ERROR),
        ("growth (mm), mean", 0.0, float(np.mean(growths)), 0.5 * GROWTH_ERROR),
        ("growth (mm), scatter", GROWTH_ERROR, float(np.std(growths)), 0.4 * GROWTH_ERROR),
    )
    for name, expected, computed, tolerance in rows:
        evidence(
            f"50 tools, estimate of forming over the doming model: {name}",
            expected=expected, computed=computed, abs=tolerance,
        )  # fmt: skip
    # what it is for: metal that is not formed grows several times as much
    assert np.mean(plain) > 5.0 * abs(np.mean(growths))


def test_strain_of_a_part_against_the_doming_model(evidence) -> None:
    """The ready tooling, whose seeds were not among the fitted ones."""
    tooling = load_tooling("north")
    tooling = tooling.replaced(material=replace(tooling.material, kinematic_share=0.0))
    formed, _ = solve(tooling, reversal="none")
    profile = formed_profile(formed, tooling)
    assert profile is not None
    assert profile.formed is not None
    state = profile.formed
    through = np.polynomial.legendre.leggauss(len(state.place))[1] / 2.0
    mean = np.array(state.plastic_strain) @ through
    estimate = forming_strains(profile.shape, profile.sheet)
    for part in ("nose", "inner_leg", "outer_leg", "shoulder"):
        s = np.linspace(*profile.meridian.span(part), 100)
        evidence(
            f"plastic strain of the {part} after forming",
            expected=float(np.interp(s, state.arc_length, mean).mean()),
            computed=estimate[part], abs=0.02,
        )  # fmt: skip


def test_formed_true_is_the_estimate() -> None:
    plain = load_profile("north")
    text = dump_profile(plain)
    formed = parse_profile("formed = true\n" + text)
    assert formed == replace(plain, zones=forming_zones(plain.shape, plain.sheet))
    assert formed.is_formed
    assert not plain.is_formed
    assert parse_profile("formed = false\n" + text) == plain
    assert parse_profile(dump_profile(formed)) == formed
    nose = next(zone for zone in formed.zones if zone.part == "nose")
    assert nose.prior_strain == round(TAKEN * forming_strains(plain.shape, plain.sheet)["nose"], 5)
    with pytest.raises(InputError, match="formed is true beside prior_strain"):
        parse_profile("formed = true\n" + dump_profile(load_profile("harbour")))
