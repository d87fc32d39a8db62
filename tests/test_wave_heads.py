"""Waves that come and go: the knuckle of a thin head under internal pressure, against a look at
every state of the path.

Hoop compression in the knuckle of a torispherical head grows at first and goes as the head takes
the shape of a sphere.  R. D. Galletly, ASME J. Pressure Vessel Technol., and others report 20 to 60
waves at D/t of about 1,000 (value from memory); the count of unstable modes of each state is our
own, so this is a check of the search, not of the tangent.
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, WAVES_AROUND, About
from test_thin_walls import press, torisphere

from domemargin.fea.core.ramp import Plan
from domemargin.fea.waves.waves import few, first_onset, looks, onset_by_number, wave_tangent

ABOUT = About(
    WAVES_AROUND,
    "computed: modes counted in every state of the path (brute force)",
    COMPUTED,
)


@pytest.mark.parametrize(
    ("gauge", "stiffness", "far", "numbers"),
    [(1.0, 800.0, 30.0, range(47, 70, 3)), (1.0, 280.0, 30.0, range(50, 90, 4))],
)
def test_search_finds_what_a_look_at_every_state_finds(
    evidence, gauge: float, stiffness: float, far: float, numbers: range
) -> None:
    """D/t 1,000 of a hard metal: 50 to 65 waves from 29 psi, of a soft one 62 and more from 26 psi;
    none at the end.  (At D/t 500 the knuckle yields first, and a step's tangent is unstable between
    112 and 139 psi for steps of 0.15, between 113 and 116 for 0.03: the length of the step, not a
    bifurcation.)"""
    shell = torisphere(gauge, stiffness)
    states = press(shell, 0.15 * gauge, far, 0.15).states
    unstable = [
        wave_tangent(shell, states[i - 1], states[i]).unstable(numbers)
        for i in range(1, len(states))
    ]
    first = next(i for i, found in enumerate(unstable) if found)
    assert not unstable[-1]
    found = first_onset(shell, states, Plan(0.15, 1.0, 0.15 * gauge, 10.0), "flow", numbers)
    assert found is not None
    low, high = states[first].pressure, states[first + 1].pressure
    evidence(
        f"torisphere, D/t {1000.0 / gauge:.0f}: first onset of waves, within its step",
        expected=0.5 * (low + high), computed=found.pressure, unit="MPa",
        rel=(high - low) / (high + low),
    )  # fmt: skip


def test_a_path_is_looked_at_evenly_in_pressure() -> None:
    pressures = [0.0, *np.linspace(0.1, 0.8, 30), 0.79, 0.6]
    seen = [pressures[i] for i in looks(pressures)]
    assert max(np.diff([0.0, *seen[:-1]])) < 0.8 / 8 + 0.8 / 29
    assert seen[-2:] == [0.8, 0.6]
    assert looks([0.0, 1.0]) == [1]
    assert set(range(1, 8)) - set(few(range(1, 21))) == {5, 7}


def test_short_waves_by_secant_moduli_are_not_stated() -> None:
    """Their onset sits within a few elements of the hinge and depends on the mesh."""
    shell = torisphere(2.0, 800.0)
    states = press(shell, 0.3, 2.0, 0.3).states
    plan = Plan(0.3, 1.0, 0.3, 10.0)
    assert set(onset_by_number(shell, states, plan, "deformation", (2, 6, 7, 20))) == {2, 6}
    assert set(onset_by_number(shell, states, plan, "flow", (2, 20))) == {2, 20}
