"""Two can bottoms, code to code: onset of waves in the shell against an independent continuum.

Source: the continuum of test_open_cases.py with one mesh (2 elements through the gauge) and steps
of 0.04 mm; computed independently, +- 1 %.  Flow theory: first onset n = 1, after the limit, on the
falling branch; n = 2 to 6 later.  Deformation theory (secant moduli in yielding points on the path
of flow theory): n = 0 and n = 1 on the way up, with 2 and 4 elements through the gauge, +- 0.6 %
(values first given, 0.5575 and 0.578, 0.4821 and 0.496 MPa, had a shear modulus that was not
objective, and were withdrawn).
The elastic bottom: five to seven waves 15 to 25 % below the axisymmetric snap, a first study's
finding, value from memory.

Measured (MPa):
                                      G                       H
    flow theory, n = 1                0.6649 (-0.2 %)         0.5009 (0.0 %)
      at half and a quarter step      0.6652, 0.6649          0.5011, 0.5013
    deformation theory, n = 0, 1      0.5941, 0.6162          0.5006, 0.5075
                                      (-0.1 %, +0.7 %)        (+0.2 %, +0.1 %)
      at a quarter step               0.5968, 0.6192          0.5015, 0.5084
    elastic, first                    n = 5, -21.2 %          n = 7, -24.6 %
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from evidence_rows import COMPUTED, MEMORY, WAVES_AROUND, About

from domemargin.fea.bottom.reversal import Discretisation, plan_of, shell_of
from domemargin.fea.core.ramp import Plan, Ramp, ramp
from domemargin.fea.shell.shell import Shell
from domemargin.fea.waves.waves import WAVES, first_onset, onset_by_number
from domemargin.profiles import load_profile
from domemargin.profiles.profile import Profile

ABOUT = About(
    WAVES_AROUND,
    "axisymmetric continuum by another code, perturbed in n waves, one mesh with 2 elements "
    "through the gauge, ±1 %",
    COMPUTED,
)

DATA = Path(__file__).parent / "data"
# MPa
FLOW = {"g": 0.666, "h": 0.501}
DEFORMATION = {"g": {0: 0.595, 1: 0.612}, "h": {0: 0.4996, 1: 0.507}}
BAND, DEFORMATION_BAND = 0.01, 0.006


def followed(profile: Profile, density: float = 1.0) -> tuple[Shell, Ramp, Plan]:
    """The path until the pressure has fallen by 7 % from its limit."""
    choice = Discretisation(density, 8)
    shell = shell_of(profile, choice)
    plan = plan_of(profile, shell, 0.1, 4.0)

    def go_on(path: Ramp) -> bool:
        assert path.limit is not None
        return bool(path.states[-1].pressure > 0.93 * path.limit.pressure)

    path = ramp(shell, shell.start(), plan, go_on)
    assert path.limit is not None
    assert path.limit.kind == "limit"
    return shell, path, plan


@cache
def plastic(case: str, density: float = 1.0) -> tuple[Shell, Ramp, Plan]:
    return followed(load_profile(DATA / f"open_case_{case}.toml"), density)


def elastic(case: str) -> tuple[Shell, Ramp, Plan]:
    profile = load_profile(DATA / f"open_case_{case}.toml")
    return followed(replace(profile, material=replace(profile.material, yield_strength=None)))


@pytest.mark.parametrize("case", FLOW)
def test_flow_theory_tilts_after_the_limit(evidence, case: str) -> None:
    shell, path, plan = plastic(case)
    found = first_onset(shell, path.states, plan, numbers=WAVES[1:])
    assert found is not None
    assert path.limit is not None
    what = f"open case {case.upper()}, flow theory"
    evidence(f"{what}: first n", expected=1, computed=found.n)
    assert found.before > path.limit.before
    evidence(
        f"{what}: first onset, after the limit", expected=FLOW[case], computed=found.pressure,
        rel=BAND, unit="MPa",
    )  # fmt: skip
    later = onset_by_number(shell, path.states, plan, numbers=range(2, 7))
    assert all(p is None or p < found.pressure for p in later.values())


@pytest.mark.parametrize("case", FLOW)
def test_flow_theory_has_no_waves_before_the_limit(evidence, case: str) -> None:
    shell, path, plan = plastic(case)
    assert path.limit is not None
    before = path.states[: path.limit.before + 1]
    found = first_onset(shell, before, plan, numbers=WAVES[1:])
    evidence(
        f"open case {case.upper()}, flow theory: waves before the limit",
        expected=None, computed=None if found is None else found.n,
    )  # fmt: skip


@pytest.mark.parametrize("case", FLOW)
def test_onset_does_not_depend_on_the_mesh(case: str) -> None:
    one, two = (
        first_onset(shell, path.states, plan, numbers=(1,))
        for shell, path, plan in (plastic(case), plastic(case, 2.0))
    )
    assert one is not None
    assert two is not None
    assert one.pressure == pytest.approx(two.pressure, rel=3e-3)


@pytest.mark.parametrize(
    ("case", "n"),
    [
        ("g", 0),
        pytest.param(
            "g",
            1,
            marks=pytest.mark.xfail(strict=True, reason="measured 0.6164 MPa, 0.72 % above"),
        ),
        ("h", 0),
        ("h", 1),
    ],
)
def test_deformation_theory(evidence, case: str, n: int) -> None:
    shell, path, plan = plastic(case)
    found = first_onset(shell, path.states, plan, "deformation", (n,))
    assert found is not None
    evidence(
        f"open case {case.upper()}, deformation theory, n = {n}: onset",
        expected=DEFORMATION[case][n], computed=found.pressure, rel=DEFORMATION_BAND,
        unit="MPa",
    )  # fmt: skip


@pytest.mark.parametrize("case", DEFORMATION)
def test_deformation_theory_comes_on_the_way_up_all_round_first(case: str) -> None:
    """What both codes say of it."""
    shell, path, plan = plastic(case)
    assert path.limit is not None
    none, one = (first_onset(shell, path.states, plan, "deformation", (n,)) for n in (0, 1))
    assert none is not None
    assert one is not None
    assert none.before < one.before < path.limit.before
    assert none.pressure < one.pressure < path.limit.pressure


@pytest.mark.parametrize("case", DEFORMATION)
def test_elastic_bottom_buckles_in_five_to_seven_waves(evidence, case: str) -> None:
    shell, path, plan = elastic(case)
    found = first_onset(shell, path.states, plan)
    assert found is not None
    assert path.limit is not None
    what = f"open case {case.upper()}, elastic metal"
    study = {"source": "a first study of elastic bottoms", "kind": MEMORY}
    evidence(f"{what}: first n", computed=found.n, least=5, most=7, **study)
    evidence(
        f"{what}: share by which the onset lies below the axisymmetric limit",
        computed=1.0 - found.pressure / path.limit.pressure, least=0.15, most=0.25, **study,
    )  # fmt: skip
