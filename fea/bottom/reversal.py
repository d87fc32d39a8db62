"""From a profile to its reversal pressure: the one call that everything else goes through."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from domemargin.fea.bottom.observe import ShellView
from domemargin.fea.bottom.readings import View, curve
from domemargin.fea.core.limit import Found, find_limit
from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, Ramp, compliance, pressure_control
from domemargin.fea.core.record import Growth, Record, Stability, WaveMode
from domemargin.fea.core.settings import Settings
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.settled import Settled
from domemargin.fea.shell.shell import Shell, build_shell, without_length
from domemargin.fea.waves.waves import DEFORMATION_WAVES, WaveOnset, first_onset
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.grading import element_ends


@dataclass(frozen=True)
class Discretisation:
    """Mesh density (grading.py) and layers through the gauge where the hinge travels."""

    density: float
    hinge_layers: int


def discretisation(resolution: float) -> Discretisation:
    """What a resolution takes: measured on random bottoms, see tests/test_resolution.py.

    The mesh is the same for all: its error is 0.03 % on bottoms like cans
    (tests/test_open_cases.py).
    """
    half = np.clip(8.0 * (0.002 / resolution) ** 0.5, 6, 16)
    return Discretisation(density=1.0, hinge_layers=2 * round(float(half)))


# finds how long the path is, for any resolution and model: that enters the answer through the place
# of its steps only
SCOUT = Discretisation(density=1.0, hinge_layers=6)
# layers where metal stays elastic or nearly so; elsewhere Discretisation.hinge_layers
CALM_LAYERS = {"dome": 6, "heel": 4, "sidewall": 4}
# an elastic bottom bends all along and snaps at twice the pressure: the same mesh errs by 1 %
ELASTIC_DENSITY = 2.0
ELASTIC_STEP = 0.08


def shell_of(profile: Profile, choice: Discretisation) -> Shell:
    """The shell of a profile: on the axis, sidewall clamped at its top, loaded inside."""
    elastic = profile.material.yield_strength is None
    ends = element_ends(profile.meridian, choice.density * (ELASTIC_DENSITY if elastic else 1.0))
    middles = 0.5 * (ends[1:] + ends[:-1])
    layers = np.full(middles.size, choice.hinge_layers)
    for part, count in CALM_LAYERS.items():
        first, last = profile.meridian.span(part)
        layers[(middles > first) & (middles < last)] = count
    return build_shell(
        profile.meridian,
        ends,
        profile.material,
        profile.thickness,
        layers,
        prior_strain=profile.prior_strain,
        yield_factor=profile.yield_factor,
        offset=profile.offset,
    )


def plan_of(profile: Profile, system: Any, step: float, ceiling: float) -> Plan:
    """Steps in natural units: a step of 1 sweeps what the stand circle sweeps when it sinks by
    one nose radius, about a roll of the nose by a radian; pressure is scaled so that the first,
    elastic, part of the path has slope 1.  Raises SolveError for a body that is not held."""
    radius = 0.5 * profile.shape.stand_diameter
    volume_scale = 0.5 * radius**2 * profile.shape.nose_radius
    pressure_scale = volume_scale / compliance(system, system.start())
    return Plan(step, volume_scale, pressure_scale, ceiling)


@dataclass(frozen=True)
class Solved:
    """A solved path of a bottom, and how to read it."""

    view: View
    found: Found
    started: float  # time.perf_counter()


def solve_path(
    profile: Profile,
    settings: Settings,
    metal_length: bool = True,
    on: Callable[[Ramp], bool] | None = None,
) -> Solved:
    """The path of a bottom to its limit, and beyond it where settings.follow says so.

    metal_length : whether the metal of the shell has a length (fea/metal/spread.py).
    on : in place of settings.follow, whether a path that has passed its limit is to go on.

    A body that cannot be solved at all has a path of its start only, with the reason.
    Raises InputError for a metal that the solid cannot represent.
    """

    def follow(so_far: Ramp) -> bool:
        assert so_far.limit is not None
        last, now = so_far.states[-2].pressure, so_far.states[-1].pressure
        return settings.follow and now > 0.3 * so_far.limit.pressure and now < last

    if profile.around is not None and not profile.around.is_even:
        raise InputError(
            "around is given, and this takes a bottom that is the same all round; "
            "use `domemargin uneven`, or leave [around] out",
            "around",
            "given",
            "absent",
        )
    go_on = follow if on is None else on
    started, resolution = time.perf_counter(), settings.resolution
    view: View
    if settings.model == "solid":
        from domemargin.fea.bottom.solid_reversal import solid_view  # gmsh

        view = solid_view(profile, resolution)
    else:
        view = shell_view(profile, discretisation(resolution), metal_length)
    start = view.start()
    try:
        plan = plan_of(profile, view.system, ELASTIC_STEP, settings.ceiling)
    except SolveError as error:
        nowhere = Ramp([start], [], None, "no_convergence", error.reason, True)
        return Solved(view, Found(nowhere, None, Plan(ELASTIC_STEP, 1.0, 1.0, 1.0), 0), started)
    system, elastic = view.system, view.elastic
    scout = None if elastic else shell_of(profile, SCOUT)
    settled = Settled(system) if elastic and isinstance(system, Shell) else None
    found = find_limit(system, start, plan, resolution, elastic, go_on, scout, settled)
    return Solved(view, found, started)


def shell_view(profile: Profile, choice: Discretisation, metal_length: bool = True) -> ShellView:
    """The shell of a profile, and how its states are read."""
    shell = shell_of(profile, choice)
    return ShellView(shell if metal_length else without_length(shell), profile.meridian)


def reversal(profile: Profile, settings: Settings | None = None, **changes: Any) -> Record:
    """The reversal pressure of a bottom and the path that leads there.

    settings : how to solve; changes : fields of Settings by name, such as required=0.62.
    The finest ramp of limit.py is the curve of the record.  Raises InputError for a setting out of
    range; a solve that fails is a record whose kind and reason say so.
    """
    settings = replace(settings or Settings(), **changes)
    if settings.model == "solid" and profile.material.kinematic_share > 0.0:
        settings = replace(settings, waves=0)  # its second variation knows no back stress
    return record_of(profile, settings, solve_path(profile, settings))


def _stability(
    view: View, plan: Plan, path: Ramp, limit: float | None, scale: float, most: int
) -> tuple[Stability, WaveOnset | None]:
    """What waves do along a path, and the flow-theory onset if it comes before any limit.

    limit : axisymmetric, short steps, MPa.  scale : takes pressures of the path to short steps.
    """
    end = len(path.states) if path.limit is None else path.limit.before + 1

    def first(states: list[Any], theory: str, numbers: range) -> WaveOnset | None:
        among = [n for n in numbers if n <= most]
        return first_onset(view.system, states, plan, theory, among, view.wave_tangent)

    def mode(onset: WaveOnset | None) -> WaveMode | None:
        if onset is None:
            return None
        radial, axial, hoop = view.wave_shape(onset.mode)
        before = onset.before + 1 < end
        return WaveMode(onset.n, scale * onset.pressure, before, radial, axial, hoop)

    flow = first(path.states, "flow", range(1, most + 1))
    counts = flow if flow is not None and flow.before + 1 < end else None
    deformation = (
        flow if view.elastic else first(path.states[:end], "deformation", DEFORMATION_WAVES)
    )
    found = [limit, None if counts is None else scale * counts.pressure]
    if deformation is not None and deformation.before + 1 < end:
        found.append(scale * deformation.pressure)
    pressures = [pressure for pressure in found if pressure is not None]
    quoted = [pressure for pressure in found[:2] if pressure is not None]
    band = (min(pressures), min(quoted)) if quoted else None
    return Stability(limit, mode(flow), mode(deformation), band, most), counts


def record_of(profile: Profile, settings: Settings, solved: Solved) -> Record:
    """The record of a solved path."""
    view, found_path = solved.view, solved.found
    path, plan, correction = found_path.path, found_path.plan, found_path.correction
    limit = path.limit
    kind = {"ceiling": "none_below_ceiling", "limit": "limit"}.get(path.ending, "not_converged")
    reason, pressure, scale = path.reason, None, 1.0
    before_limit = path.states
    if limit is not None:
        assert correction is not None
        scale = 1.0 + correction / limit.pressure
        before_limit = path.states[: limit.before + 1]
        if found_path.unresolved:
            kind = "not_resolved"
            reason = (
                f"the resolution of {settings.resolution:.2%} is not reached: "
                f"{limit.describe(limit.pressure)} or so, but {found_path.unresolved}"
            )
        else:
            kind, pressure = limit.kind, limit.pressure + correction
            reason = limit.describe(pressure)
    stability = None
    if settings.waves and len(path.states) > 1:
        try:
            stability, onset = _stability(view, plan, path, pressure, scale, settings.waves)
        except SolveError as error:
            kind, pressure, onset = "not_converged", None, None
            reason = f"stability against waves could not be checked: {error.reason}"
        if onset is not None and pressure is not None:
            kind, pressure = "bifurcation", scale * onset.pressure
            reason = f"the bottom buckles in {onset.n} waves at {pressure:.4g} MPa"
            before_limit = path.states[: onset.before + 1]
    found = pressure is not None
    wanted = sorted((*settings.growth_at, *([settings.required] if settings.required else [])))
    apart = [p for i, p in enumerate(wanted) if i == 0 or p > 1.001 * wanted[i - 1]]
    last = before_limit[-1]
    return Record(
        profile=profile,
        kind=kind,
        reason=reason,
        reversal_pressure_mpa=pressure,
        limit_on_curve_mpa=None if limit is None else limit.pressure,
        step_correction_mpa=correction,
        resolution=settings.resolution,
        ceiling_mpa=settings.ceiling,
        required_pressure_mpa=settings.required,
        margin=pressure / settings.required - 1.0 if pressure and settings.required else None,
        mesh=view.mesh(plan.step),
        curve=curve(view, path.states, [step.negative for step in path.steps]),
        growth=tuple(_growth(view, plan, before_limit, p, pressure) for p in apart),
        first_yield=view.first_yield(before_limit, plan),
        onset=view.onset(last) if found else None,
        stability=stability,
        before=view.outline(path.states[0]),
        at_onset=view.outline(last) if found else None,
        after=view.outline(path.states[-1]) if settings.follow or not found else None,
        iterations=found_path.iterations,
        seconds=time.perf_counter() - solved.started,
        versions=_versions(),
    )


def _growth(
    view: View, plan: Plan, states: list[Any], pressure: float, limit: float | None
) -> Growth:
    below = [i for i, state in enumerate(states) if state.pressure <= pressure]
    base = states[below[-1]]
    if base is states[-1] and pressure > base.pressure:
        reason = "the bottom reverses first" if limit is not None else "the path ends first"
        if limit is None or pressure > limit:
            return Growth(pressure, None, None, None, None, reason)
    plan = replace(plan, newton=Newton(tolerance=1e-4))  # permanent growth to 2e-5 of it
    try:
        loaded = pressure_control(view.system, base, pressure, plan)
        unloaded = pressure_control(view.system, loaded, 0.0, plan, steps=3)
    except SolveError as error:
        return Growth(pressure, None, None, None, None, error.reason)
    before, at, after = view.heights((states[0], loaded, unloaded)).tolist()
    return Growth(
        pressure,
        before[0] - at[0],
        before[1] - at[1],
        before[0] - after[0],
        before[1] - after[1],
        "",
    )


@lru_cache(maxsize=1)
def _versions() -> dict[str, str]:
    from importlib.metadata import version

    return {name: version(name) for name in ("domemargin", "numpy", "numba", "scikit-fem")}
