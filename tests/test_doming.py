"""The doming stroke: depth, balances, convergence, directions, reversal of what was formed."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from evidence_rows import COMPUTED, CONVERGENCE, FORMING, PRACTICE, About

from domemargin.fea.doming.doming import doming
from domemargin.fea.doming.record import KINDS, DomingRecord
from domemargin.fea.doming.reversal import PARTS, reverse
from domemargin.fea.stroke.press import FormingSettings, outside_depth
from domemargin.fea.stroke.stages import STAGES, Formed, form
from domemargin.fea.stroke.step import step
from domemargin.profiles.files.loading import load_profile
from domemargin.profiles.shape.chain import Chain
from domemargin.profiles.shape.chain import solve as solve_chain
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.parts import Spring
from domemargin.profiles.tooling.tooling import Tooling

ABOUT = About(FORMING, "what the trade sees at a doming station", PRACTICE)


def north() -> Tooling:
    return load_tooling("north")


@lru_cache(maxsize=64)
def formed(settings: FormingSettings | None = None, **changes: float) -> DomingRecord:
    record = doming(north().replaced(**changes), settings, reversal="none")
    assert record.kind == "formed", record.reason
    return record


@pytest.fixture(scope="module")
def raw() -> Formed:
    return form(north())


def test_all_stages_are_reached(raw: Formed) -> None:
    assert [name for name, _ in raw.stages] == list(STAGES)
    assert raw.failed == ""


def test_metal_let_go_has_come_to_rest(raw: Formed) -> None:
    """Equilibrium: another step with nothing moved moves nothing (1e-6 mm)."""
    rest = raw.at("punch off")
    press = replace(raw.press, active=(False,) * len(raw.press.tools), held=-1)
    again = step(press, rest, rest.places)
    assert outside_depth(raw.press, again)[0] == pytest.approx(
        outside_depth(raw.press, rest)[0], abs=1e-6
    )


def test_ready_tooling_forms_the_ready_profile() -> None:
    """Ready tooling and ready profile of one invented scenario belong together."""
    record, shape = formed(), load_profile("north").shape
    assert record.rest is not None
    fitted = record.rest.fitted
    assert fitted is not None
    assert record.rest.depth_mm == pytest.approx(shape.dome_depth, abs=0.05)
    assert fitted["stand_diameter"] == pytest.approx(shape.stand_diameter, abs=0.3)
    # the sphere through the dome's centre and edge, whatever its zones
    bottom = Shape(radii_on="mid", wall_height=20.0, **fitted)
    chain = solve_chain(bottom, Sheet(0.265, 0.1, 8.0))
    assert isinstance(chain, Chain)
    edge = chain.meridian.at(chain.meridian.span("dome")[1])
    sag = chain.segments[0].z - float(edge.z)
    sphere = (float(edge.r) ** 2 + sag**2) / (2.0 * sag)
    assert sphere == pytest.approx(shape.dome_radii[0], abs=1.5)
    assert fitted["nose_radius"] == pytest.approx(shape.nose_radius, abs=0.15)
    assert fitted["inner_leg_angle"] == pytest.approx(shape.inner_leg_angle, abs=0.05)
    assert record.rest.misfit_mm < 0.05


def test_energy_and_force_balance_at_each_stage(evidence) -> None:
    """First law and equilibrium, each within 1 % (forces: 0.1 %)."""
    for balance in formed().balances:
        evidence(
            f"doming, stage {balance.stage}: work less what it went into, over it",
            computed=balance.energy_gap, expected=0.0, abs=0.01, kind=COMPUTED,
            source="first law",
        )  # fmt: skip
        assert abs(balance.force_gap) < 0.001, balance
    rest = formed().balances[-1]
    assert rest.stage == "punch off"
    # over 1 N: nothing acts any more
    assert abs(rest.force_gap) < 1e-3


def test_bottomed_depth_is_the_flange_height_until_the_metal_springs_back() -> None:
    """Flange and die centre touch the same face: the loaded depth is their distance (geometry)."""
    record = formed()
    assert record.end.bottomed
    assert record.end.loaded_depth_mm == pytest.approx(10.75, abs=0.01)
    assert record.rest.springback_mm == pytest.approx(
        record.end.loaded_depth_mm - record.rest.depth_mm
    )
    # nearly all of the dome's bending springs back (Gardiner 1957: the radius is beyond the
    # elastic limit of a bent sheet), what stays is by stretching: some tenths of a millimetre
    assert 0.1 < record.rest.springback_mm < 0.6


def test_forming_spends_less_than_the_tools_give_and_the_metal_keeps_little() -> None:
    last = formed().balances[-1]
    assert 0.0 < last.stored < 0.02 * last.plastic
    assert last.friction > 0.0


def test_metal_moves_with_its_history() -> None:
    """The nose and what went over it have been bent: more strain than the dome."""
    metal = formed().rest.metal
    part = np.array(metal.part)
    peak = metal.plastic_strain.max(axis=1)
    assert peak[part == "nose"].mean() > 3.0 * peak[part == "dome"].mean()
    # volume stays: thickness strain is minus the sum of the others but for elastic strain
    for strain in (np.log(1.0 - metal.thinning) + metal.meridian_strain + metal.hoop_strain,):
        calm = (part == "dome") & (metal.r_mm < 15.0)
        assert np.abs(strain[calm]).max() < 0.004


def test_record_is_plain_data() -> None:
    data = json.loads(json.dumps(formed().to_dict(), allow_nan=False))
    assert data["kind"] in KINDS
    assert "qualified" in data["caution"]
    assert len(data["metal"]["thinning"]) == len(data["metal"]["plastic_strain"])


@pytest.mark.parametrize("stage", ["blank", "clamp", "die off", "punch off"])
def test_a_stage_that_fails_is_named(stage: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was reached before it stays in the record."""
    from domemargin.fea.errors import SolveError
    from domemargin.fea.stroke import stages as doming_stages

    act = f"{stage.replace(' ', '_')}" if stage != "blank" else "let_go"

    def fails(self: object, state: object) -> None:
        raise SolveError("nothing holds the metal")

    monkeypatch.setattr(doming_stages._Run, act, fails)
    record = doming(north())
    assert record.kind == f"{stage} failed"
    assert record.kind in KINDS
    assert "nothing holds the metal" in record.reason
    assert record.rest is None
    assert record.reversal == {}
    assert (record.end is not None) == stage.endswith("off")
    assert [b.stage for b in record.balances] == list(STAGES[: STAGES.index(stage)])
    data = json.loads(json.dumps(record.to_dict(), allow_nan=False))
    assert set(data) == set(formed().to_dict())  # the same keys, whatever was reached
    assert data["depth_mm"] is None


@pytest.mark.slow
def test_sheet_that_grips_the_tools_splits_and_says_so() -> None:
    """Friction of 0.3 is far beyond lubricated sheet: it is stretched until it necks."""
    record = doming(north().replaced(friction=0.3), reversal="none")
    if record.kind == "formed":
        assert record.rest.split_risk > 1.0
    else:
        assert record.kind == "stroke failed"
        assert "would have split" in record.reason


# --- numbers: default against refined -----------------------------------------------------------


def _depths(record: DomingRecord) -> tuple[float, float, float]:
    rest = record.rest
    assert rest is not None
    return rest.depth_mm, rest.springback_mm, rest.worst.thinning


@pytest.mark.parametrize(
    "finer",
    [
        pytest.param(FormingSettings(density=1.5), id="mesh"),
        pytest.param(FormingSettings(step=0.05), id="step"),
        pytest.param(FormingSettings(layers=12), id="layers"),
        pytest.param(
            FormingSettings(density=2.0, step=0.05, layers=12), id="all", marks=pytest.mark.slow
        ),
    ],
)
def test_default_against_refined(evidence, finer: FormingSettings) -> None:
    """Depth within 0.01 mm, springback within 0.02 mm, thinning over 1 mm within 0.5 points."""
    default, refined = _depths(formed()), _depths(formed(finer))
    for i, (name, band, unit) in enumerate(
        (("depth", 0.01, "mm"), ("springback", 0.02, "mm"), ("thinning over 1 mm", 0.005, ""))
    ):
        case = f"doming, {name}, default against density {finer.density:g}, step {finer.step:g} mm"
        evidence(
            f"{case}, {finer.layers} layers", computed=default[i], expected=refined[i], abs=band,
            unit=unit, physics=CONVERGENCE, kind=COMPUTED, source="the same on finer settings",
        )  # fmt: skip


# --- directions: common practice, no source ------------------------------------------------------


def test_more_set_gives_more_depth_until_the_flange_bottoms(evidence) -> None:
    """Common practice, no source."""
    short, shorter = formed(set=-0.1), formed(set=-0.2)
    assert not short.end.bottomed
    evidence(
        "doming, 0.10 mm more set short of the flange: gain of depth",
        computed=short.rest.depth_mm - shorter.rest.depth_mm, expected=0.1, abs=0.01, unit="mm",
    )  # fmt: skip
    bottomed, more = formed(set=0.5), formed(set=0.8)
    assert bottomed.end.bottomed
    evidence(
        "doming, 0.30 mm more set once bottomed: gain of depth",
        computed=more.rest.depth_mm - bottomed.rest.depth_mm, expected=0.0, abs=0.005, unit="mm",
    )  # fmt: skip
    assert more.end.overtravel_mm - bottomed.end.overtravel_mm == pytest.approx(0.3, abs=0.01)
    # and loads the drive
    assert more.stroke.peak_force_n > bottomed.stroke.peak_force_n > short.stroke.peak_force_n


def test_a_weak_spring_lets_the_station_go_before_it_bottoms() -> None:
    weak = doming(north().replaced(spring=Spring("constant", preload=6000.0)), reversal="none")
    assert weak.kind == "formed"
    assert not weak.end.bottomed
    assert weak.stroke.peak_force_n == pytest.approx(6000.0, rel=0.005)
    assert weak.rest.depth_mm < formed().rest.depth_mm - 1.0


def test_a_higher_flange_gives_its_height_in_depth() -> None:
    """A spacer under the die shows in the depth nearly one to one (common practice, no source)."""
    gain = formed(die__flange_height=10.85).rest.depth_mm - formed().rest.depth_mm
    assert gain == pytest.approx(0.1, abs=0.015)


def test_harder_sheet_springs_back_more() -> None:
    """Springback goes with yield over modulus (F1); common practice, no source."""
    material = north().material
    harder = doming(
        north().replaced(material=replace(material, yield_strength=297.0)), reversal="none"
    )
    assert harder.rest.springback_mm > formed().rest.springback_mm
    # the peak of a bottomed stroke is the station's spring, whatever the sheet: measured +-0.1 % at
    # four yield strengths, two steps and two meshes, and no trend
    assert harder.stroke.peak_force_n == pytest.approx(formed().stroke.peak_force_n, rel=2e-3)


@pytest.mark.slow
def test_more_spring_force_less_springback() -> None:
    """Common practice, no source.  A stiffer spring presses harder once nose and flange bottom."""
    default = formed()
    spring = north().spring
    stiffer = doming(north().replaced(spring=replace(spring, preload=15e3)), reversal="none")
    worn = doming(
        north().replaced(spring=Spring("table", travel=(0.0, 2.0), force=(9.4e3, 9.8e3))),
        reversal="none",
    )
    assert stiffer.rest.springback_mm < default.rest.springback_mm < worn.rest.springback_mm
    assert worn.stroke.peak_force_n < default.stroke.peak_force_n < stiffer.stroke.peak_force_n


@pytest.mark.slow
def test_a_sharper_nose_thins_more() -> None:
    """Common practice, no source."""
    sharp = formed(punch__nose_radius=1.1)
    assert sharp.rest.worst.thinning > formed().rest.worst.thinning


@pytest.mark.slow
def test_more_clamp_force_and_friction_thin_more_and_draw_in_less() -> None:
    """Common practice, no source."""
    for change in ({"clamp__force": 6000.0}, {"friction": 0.11}):
        more = formed(**change)
        assert more.rest.draw_in_mm < formed().rest.draw_in_mm
        assert more.rest.worst.thinning > formed().rest.worst.thinning


# --- into reversal --------------------------------------------------------------------------------


def test_formed_state_goes_on_into_reversal(raw: Formed) -> None:
    """Hardening raises the reversal pressure, thinning and residual stress lower it."""
    tooling = north()
    rows = [reverse(raw, tooling, PARTS[:i]).reversal_pressure_mpa for i in (1, 2, 3, 4)]
    assert None not in rows
    shape, thin, hard, whole = (value for value in rows if value is not None)
    assert thin < shape
    assert hard > thin
    assert whole < hard
    assert whole == pytest.approx(shape, rel=0.05)


@pytest.mark.parametrize(
    "finer",
    [
        pytest.param(FormingSettings(density=1.5), id="mesh"),
        pytest.param(FormingSettings(density=2.0, step=0.05), id="all", marks=pytest.mark.slow),
    ],
)
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_reversal_of_the_formed_bottom_does_not_hang_on_the_mesh(
    evidence, finer: FormingSettings, share: float
) -> None:
    """Metal that unbends under tension would kink within an element and be weak there."""
    tooling = north()
    tooling = tooling.replaced(material=replace(tooling.material, kinematic_share=share))
    default, refined = doming(tooling), doming(tooling, finer)
    evidence(
        f"doming, reversal, kinematic share {share:g}, against density {finer.density:g}",
        computed=default.reversal_pressure_mpa, expected=refined.reversal_pressure_mpa, rel=0.005,
        unit="MPa", physics=CONVERGENCE, kind=COMPUTED, source="the same on finer settings",
    )  # fmt: skip


def test_shape_alone_reverses_as_the_fitted_profile_does(raw: Formed) -> None:
    """Two ways to one bottom: the formed line with the blank's gauge and virgin metal, and a
    profile with the fitted dimensions.  They differ by the misfit of the fit (0.03 mm) and by
    where the gauge changes."""
    from domemargin.fea.bottom.reversal import reversal
    from domemargin.profiles.profile import Profile

    tooling, record = north(), formed()
    assert record.rest is not None
    assert record.rest.fitted is not None
    shape = Shape(radii_on="mid", wall_height=20.0, **record.rest.fitted)
    sheet = Sheet(0.265, 0.1, 8.0)
    bottom = Profile("fitted", shape, sheet, tooling.material)
    profile = reversal(bottom, waves=0).reversal_pressure_mpa
    line = reverse(raw, tooling, PARTS[:1]).reversal_pressure_mpa
    assert profile == pytest.approx(line, rel=0.03)


def test_whole_state_agrees_with_a_shell_rebuilt_from_its_parts(
    raw: Formed, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The formed shell that goes on, and a fresh one on the formed line with the formed gauge,
    hardening and, as plastic strains that stay behind, stress, are one bottom (0.3 %)."""
    from domemargin.fea.core.ramp import Plan, pressure_control
    from domemargin.fea.doming import reversal as doming_reversal
    from domemargin.fea.metal.materials import NU, P1, P2, P3, E

    tooling = north()
    whole = reverse(raw, tooling)

    def rebuilt(formed: Formed, parts: tuple[str, ...] = PARTS) -> tuple:
        shell, start = system_of(formed, PARTS[:3])
        stress = formed.at("punch off").shell.stress
        modulus, nu = shell.material[E], shell.material[NU]
        t1, t2, t3 = stress
        layers = start.layers.copy()
        layers[P1], layers[P2] = -(t1 - nu * t2) / modulus, -(t2 - nu * t1) / modulus
        layers[P3] = -2.0 * (1.0 + nu) * t3 / modulus
        start = replace(start, layers=layers, stress=stress.copy())
        plan = Plan(0.07, 500.0, 1.0, 4.0)
        # brought to rest by a breath of pressure, let off again
        start = pressure_control(shell, pressure_control(shell, start, 1e-4, plan), 0.0, plan)
        return shell, start

    system_of = doming_reversal.system_of
    monkeypatch.setattr(doming_reversal, "system_of", rebuilt)
    again = reverse(raw, tooling)
    assert again.reversal_pressure_mpa == pytest.approx(whole.reversal_pressure_mpa, rel=0.003)
    assert again.growth_mm == pytest.approx(whole.growth_mm, abs=0.005)
