"""Small shape errors: waves round the can, and errors along the meridian."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from evidence_rows import MEMORY, WAVES_AROUND, About

from domemargin.fea.around.waviness import waviness
from domemargin.fea.bottom.reversal import Discretisation, plan_of, reversal, shell_of
from domemargin.fea.core.ramp import Plan, ramp
from domemargin.fea.shell.shell import build_shell
from domemargin.fea.waves.imperfection import grow, quadratic
from domemargin.fea.waves.moments import FLOW, GEOMETRY
from domemargin.fea.waves.waves import bands
from domemargin.profiles import Along, load_profile
from domemargin.profiles.errors import InputError
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

ABOUT = About(
    WAVES_AROUND,
    "S. Timoshenko & J. Gere, Theory of Elastic Stability, secs. 7.3 and 7.5: ring out of round",
    MEMORY,
)

DATA = Path(__file__).parent / "data"
ELASTIC = Material(69_000.0, 0.33)


def ring_shell(radius: float, gauge: float, length: float):
    """A long tube in plane strain, drawn downward so that the pressure acts from outside."""
    wall = Segment("sidewall", radius, length, -0.5 * np.pi, length, 0.0)
    return build_shell(
        Meridian((wall,)),
        np.linspace(0.0, length, 5),
        ELASTIC,
        lambda s: np.full_like(s, gauge),
        4,
        fixed_start="z phi",
        fixed_end="z phi",
    )


def test_out_of_round_ring_grows_as_the_theory_of_stability_says(evidence) -> None:
    """w = w0 / (1 - p / p_cr), p_cr = E t^3 / (4 (1 - nu^2) R^3) for a long tube with n = 2.

    Source: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed., secs. 7.3 and 7.5; formula
    from memory.  Band 1 % on w / w0.
    """
    radius, gauge = 100.0, 1.0
    shell = ring_shell(radius, gauge, 40.0)
    critical = ELASTIC.elastic_modulus * gauge**3 / (4 * (1 - 0.33**2) * radius**3)
    start = shell.start()
    swept = critical * radius**2 * 40.0 * radius * (1 - 0.33**2) / (69_000.0 * gauge)
    path = ramp(shell, start, Plan(0.05, swept, critical, 0.85 * critical))
    given = np.zeros((len(shell.s), 5))
    # inextensional: no hoop strain, no shear against the hoop
    given[:, 0], given[:, 3], given[:, 4] = 1.0, -0.5, 1.5 / radius
    grown = grow(shell, path.states, 2, given)
    for state, wave in zip(path.states, grown.waves, strict=True):
        expected = 1.0 / (1.0 - state.pressure / critical)
        evidence(
            f"ring out of round, n = 2, p/p_cr = {state.pressure / critical:.2f}: w/w0",
            expected=expected, computed=wave[len(wave) // 2, 0], rel=0.01,
        )  # fmt: skip
    assert path.states[-1].pressure > 0.8 * critical  # so w is checked up to five times w0


@pytest.mark.parametrize("material", ["elastic", "as in the file"])
def test_material_and_geometric_parts_make_up_the_tangent(material: str) -> None:
    """Layer by layer strains and moduli give what the summed tangent gives (own consistency)."""
    from domemargin.fea.waves.imperfect_kernel import layer_moduli
    from domemargin.fea.waves.imperfection import layer_strains, layer_stresses

    profile = load_profile(DATA / "open_case_g.toml")
    if material == "elastic":
        profile = profile.replaced(material=ELASTIC)
    shell = shell_of(profile, Discretisation(0.5, 6))
    states = ramp(shell, shell.start(), plan_of(profile, shell, 0.1, 0.5)).states
    before, state = states[-2:]
    moduli = np.empty((shell.y0.size, 7))
    layer_moduli(state.x, shell.body[:], before.history[:], moduli)
    wave = np.random.default_rng(3).standard_normal((len(shell.s), 5))
    for n in (1, 4):
        strain = layer_strains(shell, n, state.x, before.y, wave)
        weight = np.repeat(shell.weights.ravel(), np.diff(shell.first_layer)) * shell.layer_weight
        own = float(np.sum(weight[:, None] * strain * layer_stresses(moduli, strain)))
        whole, rest = (
            quadratic(bands(shell, before, state, (n,), state.pressure, part)[0], wave.ravel())
            for part in (FLOW, GEOMETRY)
        )
        assert own + rest == pytest.approx(whole, rel=1e-10)


def test_elastic_loss_grows_with_the_two_thirds_power(evidence) -> None:
    """Koiter's law for a bottom that bifurcates on a falling path (Koiter 1945; from memory).

    The exponent between two small amplitudes, band 0.08.
    """
    profile = load_profile(DATA / "open_case_g.toml").replaced(material=ELASTIC)
    small, large = waviness(profile, 5, (0.001, 0.004))
    exponent = np.log(large.share_lost / small.share_lost) / np.log(4.0)
    evidence(
        "open case G, elastic metal, n = 5: power of the height with which the loss grows",
        expected=2.0 / 3.0, computed=float(exponent), abs=0.08, source="W. T. Koiter 1945",
    )  # fmt: skip
    assert small.growth > 10.0


def test_plastic_bottoms_hardly_feel_waves() -> None:
    """A limit load with no wave near: 20 micrometres in n = 2 cost under 0.1 %."""
    (found,) = waviness(load_profile(DATA / "open_case_g.toml"), 2, (0.02,))
    assert 0.0 <= found.share_lost < 1e-3
    assert found.pressure_mpa <= found.reversal_pressure_mpa


@pytest.mark.parametrize(("waves", "amplitude"), [(0, 0.02), (99, 0.02), (2, -0.1), (2, 5.0)])
def test_bad_waves_are_rejected(waves: int, amplitude: float) -> None:
    with pytest.raises(InputError):
        waviness(load_profile(DATA / "open_case_g.toml"), waves, (amplitude,))


def test_shape_error_that_makes_another_profile_gives_its_pressure() -> None:
    """A bottom of depth 10.5 mm with the measured line of one of 10.4 mm reverses like that one.

    The offset is read off the two chains: distance along the first one's normal (own geometry).
    """
    profile = load_profile(DATA / "open_case_g.toml")
    other = profile.replaced(dome_depth=10.4)
    # same chain from the nose on; the dome and shoulder sit lower, the leg is shorter
    s = np.concatenate((np.linspace(0.0, profile.meridian.span("nose")[0], 400),))
    at = profile.meridian.at(s)
    fine = other.meridian.at(np.linspace(0.0, other.meridian.length, 200_001))
    offset = []
    for r, z, phi in zip(at.r, at.z, at.phi, strict=True):
        along = (fine.r - r) * np.cos(phi) + (fine.z - z) * np.sin(phi)
        away = -(fine.r - r) * np.sin(phi) + (fine.z - z) * np.cos(phi)
        near = np.flatnonzero(np.abs(away) < 0.3)
        k = near[np.argmin(np.abs(along[near]))]
        offset.append(float(away[k]))
    measured = profile.replaced(along=Along(tuple(s.tolist()), offset=tuple(offset)))
    one, two = (reversal(p, waves=0).reversal_pressure_mpa for p in (measured, other))
    plain = reversal(profile, waves=0).reversal_pressure_mpa
    assert one is not None
    assert two is not None
    assert plain is not None
    assert abs(one - two) < 0.1 * abs(plain - two)
