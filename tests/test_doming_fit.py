"""A line back in the dimensions of a profile."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, FORMING, About

from domemargin.fea.doming.fit import MISFIT, Fit, fit_shape
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.profiles.tooling.files import load_tooling

ABOUT = About(FORMING, "chains of known dimensions", COMPUTED)
SHAPE = Shape("mid", 47.1, 10.4, 46.5, 1.8, 0.08, 1.5, 1.07, 5.0, 66.0, 18.0)
CASES = {
    "usual": SHAPE,
    "two zones": replace(
        SHAPE, dome_radius=(52.0, 40.0), dome_break_diameter=(24.0,), shoulder_radius=2.2
    ),
    "shallow, flat leg": replace(SHAPE, dome_depth=7.4, inner_leg_angle=0.5),
    "deeper than the heel": replace(SHAPE, dome_depth=16.0, inner_leg_angle=0.02),
    "very deep": replace(SHAPE, dome_depth=22.0, inner_leg_angle=0.0),
}


def refit(shape: Shape, bump: float = 0.0) -> Fit | None:
    chain = solve(shape, Sheet(0.265, 0.1, 8.0, 4.0))
    assert isinstance(chain, Chain)
    line = chain.meridian
    at = line.at(np.linspace(0.0, line.length, 260))
    z = at.z + bump * np.sin(at.r) ** 2 * (at.r < 20.0)
    return fit_shape(load_tooling("north"), at.r, z, at.phi, shape.dome_depth)


@pytest.mark.parametrize("name", list(CASES))
def test_a_chain_is_found_again(evidence, name: str) -> None:
    fit, shape = refit(CASES[name]), CASES[name]
    assert fit is not None
    assert fit.describes
    for field in ("stand_diameter", "shoulder_radius", "nose_radius", "heel_radius"):
        evidence(
            f"fit of a chain, {name}: {field}", computed=getattr(fit.shape, field),
            expected=getattr(shape, field), rel=0.05, unit="mm",
        )  # fmt: skip
    assert fit.shape.inner_leg_angle == pytest.approx(shape.inner_leg_angle, abs=0.01)
    if len(shape.dome_radii) == 1:
        assert fit.shape.dome_radii[-1] == pytest.approx(shape.dome_radii[0], rel=0.03)


def test_a_line_that_no_chain_describes_is_said_not_to_be() -> None:
    fit = refit(SHAPE, bump=0.2)
    assert fit is None or fit.misfit_mm > MISFIT
    assert fit is None or not fit.describes
