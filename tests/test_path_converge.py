"""The shell's compiled Newton iteration does what the one of path.py does, step by step."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from domemargin.fea.bottom.reversal import discretisation, shell_of
from domemargin.fea.core.path import Aim, Newton, iterate
from domemargin.fea.core.ramp import compliance
from domemargin.fea.errors import SolveError
from domemargin.profiles import load_profile

BOTTOM = load_profile(Path(__file__).parent / "data" / "open_case_g.toml")
SHELL = shell_of(BOTTOM, discretisation(0.002))
START = SHELL.start()
GROWTH = compliance(SHELL, START)


def aim(pressure: float) -> Aim:
    """As much swept volume as an elastic bottom gives at a pressure, MPa."""
    return Aim(1.0, 0.0, START.volume, 0.0, pressure * GROWTH, 1.0)


@pytest.mark.parametrize("pressure", [0.2, 0.55])
def test_both_end_in_the_same_equilibrium(pressure: float) -> None:
    newton = Newton(tolerance=1e-8, iterations=25)
    one = SHELL.converge(START.x.ravel(), 0.0, 0.0, START, aim(pressure), newton)
    other = iterate(SHELL, START.x.ravel(), 0.0, 0.0, START, aim(pressure), newton)
    assert (one.iterations, one.negative) == (other.iterations, other.negative)
    assert one.pressure == pytest.approx(other.pressure, rel=1e-12)
    assert one.growth == pytest.approx(other.growth, rel=1e-9)
    for a, b in ((one.u, other.u), (one.shape, other.shape)):
        assert np.abs(a - b).max() <= 1e-9 * np.abs(b).max()
    for a, b in zip(one.found.trial, other.found.trial, strict=True):
        assert np.abs(a - b).max() <= 1e-9 * np.abs(b).max()
    assert one.found.volume == pytest.approx(other.found.volume, rel=1e-12)


@pytest.mark.parametrize(
    ("trial", "newton", "reason"),
    [
        (np.nan, Newton(), "the residual is not a number"),
        (0.0, Newton(tolerance=1e-12, iterations=2), "no equilibrium in 2 iterations"),
    ],
)
def test_both_end_in_the_same_failure(trial: float, newton: Newton, reason: str) -> None:
    u = START.x.ravel() + trial
    for converge in (SHELL.converge, lambda *rest: iterate(SHELL, *rest)):
        with pytest.raises(SolveError, match=reason):
            converge(u, 0.0, 0.0, START, aim(0.55), newton)
