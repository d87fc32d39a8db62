"""From a profile to its reversal pressure: the one call that everything else goes through."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from fea.errors import SolveError
from fea.observe import ShellView
from fea.path import Newton
from fea.ramp import Plan, Ramp, compliance, pressure_control, ramp
from fea.readings import View, curve
from fea.record import Growth, Record, Stability, WaveMode
from fea.settings import Settings
from fea.shell import Shell, build_shell
from fea.waves import WaveOnset, first_onset
from profiles.grading import element_ends
from profiles.profile import Profile


@dataclass(frozen=True)
class Discretisation:
    """Mesh density (grading.py), layers through the gauge where the hinge travels, and step of
    the path."""

    density: float
    hinge_layers: int
    step: float


def discretisation(resolution: float) -> Discretisation:
    """What a resolution takes: measured on random bottoms, see tests/test_resolution.py.

    The mesh is the same for all: its error is 0.03 % (tests/test_open_cases.py).
    """
    finer = 0.002 / resolution
    return Discretisation(
        density=1.0,
        hinge_layers=2 * int(np.clip(round(4.0 * finer**0.5), 3, 12)),
        step=float(np.clip(0.08 / finer**0.5, 0.01, 0.1)),
    )


# layers where metal stays elastic or nearly so; elsewhere Discretisation.hinge_layers
CALM_LAYERS = {"dome": 6, "heel": 4, "sidewall": 4}
# an elastic bottom bends all along and snaps at twice the pressure: the same mesh errs by 1 %
ELASTIC_DENSITY = 2.0
RATIO = 1.5  # step of the coarser of two ramps, over that of the finer
MOST_RAMPS = 6


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
    elastic, part of the path has slope 1."""
    radius = 0.5 * profile.shape.stand_diameter
    volume_scale = 0.5 * radius**2 * profile.shape.nose_radius
    pressure_scale = volume_scale / compliance(system, system.start())
    # where metal yields, a tighter tolerance takes more iterations for no better a limit; an
    # elastic path turns too sharply for a loose one
    newton = Newton(tolerance=1e-5 if profile.material.yield_strength is None else 2e-3)
    return Plan(step, volume_scale, pressure_scale, ceiling, located=5e-4, newton=newton)


def reversal(profile: Profile, settings: Settings | None = None, **changes: Any) -> Record:
    """The reversal pressure of a bottom and the path that leads there.

    settings : how to solve; changes : fields of Settings by name, such as required=0.62.
    Two ramps, one of longer steps, give the limit of short steps (Richardson 1911); the finer is
    the curve of the record.  Raises InputError for a setting out of range; a solve that fails is
    a record whose kind and reason say so.
    """
    started = time.perf_counter()
    settings = replace(settings or Settings(), **changes)
    view: View
    if settings.model == "solid":
        from fea.solid_reversal import solid_step, solid_view  # gmsh

        view, step = solid_view(profile, settings.resolution), solid_step(settings.resolution)
    else:
        choice = discretisation(settings.resolution)
        view, step = ShellView(shell_of(profile, choice), profile.meridian), choice.step
    plan = plan_of(profile, view.system, step, settings.ceiling)
    refined = _refined(view, plan, settings)
    return _record(profile, settings, view, *refined, started)


def _refined(view: View, plan: Plan, settings: Settings) -> tuple[Ramp, float | None, Plan, int]:
    """The path at a step short enough, what takes its limit to that of short steps (None where
    there is no limit), the plan used, and the iterations spent."""

    def go_on(so_far: Ramp) -> bool:
        assert so_far.limit is not None
        last, now = so_far.states[-2].pressure, so_far.states[-1].pressure
        return settings.follow and now > 0.3 * so_far.limit.pressure and now < last

    path = ramp(view.system, view.start(), plan, go_on)
    if path.limit is None:
        return path, None, plan, path.iterations
    coarse = ramp(view.system, view.start(), replace(plan, step=RATIO * plan.step))
    iterations = path.iterations + coarse.iterations
    previous = coarse
    for ramps in range(2, MOST_RAMPS + 1):
        assert path.limit is not None
        before = previous.limit
        alike = before is not None and before.kind == path.limit.kind
        # steps that had to be shortened have another error, but elastic ones have next to none
        alike = alike and (view.elastic or (path.even and previous.even))
        correction = path.limit.pressure - before.pressure if alike and before else 0.0
        correction /= RATIO - 1.0
        # beyond this the error is not yet in proportion to the step
        small = abs(correction) <= 1.5 * settings.resolution * path.limit.pressure
        if (alike and small) or ramps == MOST_RAMPS:
            break
        finer = replace(plan, step=plan.step / RATIO, most_steps=round(RATIO * plan.most_steps))
        shorter = ramp(view.system, view.start(), finer, go_on)
        iterations += shorter.iterations
        if shorter.limit is None:
            break
        previous, path, plan = path, shorter, finer
    return path, correction, plan, iterations


# short waves by secant moduli sit within a few elements of the hinge, where their onset depends on
# the mesh: not a mode of the bottom
DEFORMATION_WAVES = range(7)


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


def _record(
    profile: Profile,
    settings: Settings,
    view: View,
    path: Ramp,
    correction: float | None,
    plan: Plan,
    iterations: int,
    started: float,
) -> Record:
    limit = path.limit
    kind = {"ceiling": "none_below_ceiling", "limit": "limit"}.get(path.ending, "not_converged")
    reason, pressure, scale = path.reason, None, 1.0
    before_limit = path.states
    if limit is not None:
        assert correction is not None
        kind, pressure = limit.kind, limit.pressure + correction
        reason = limit.describe(pressure)
        scale = pressure / limit.pressure
        before_limit = path.states[: limit.before + 1]
    stability = None
    if settings.waves and len(path.states) > 1:
        stability, onset = _stability(view, plan, path, pressure, scale, settings.waves)
        if onset is not None:
            kind, pressure = "bifurcation", scale * onset.pressure
            reason = f"the bottom lets go in {onset.n} waves at {pressure:.4g} MPa"
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
        first_yield=view.first_yield(before_limit),
        onset=view.onset(last) if found else None,
        stability=stability,
        before=view.outline(path.states[0]),
        at_onset=view.outline(last) if found else None,
        after=view.outline(path.states[-1]) if settings.follow or not found else None,
        iterations=iterations,
        seconds=time.perf_counter() - started,
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
    plan = replace(plan, newton=Newton(tolerance=1e-4))  # set-in growth to 2e-5 of it
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
