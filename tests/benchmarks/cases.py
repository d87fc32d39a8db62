"""What is compared: cases with an answer from outside, and who can be asked for it.

The question is the same for all: from the shape and the metal to the first axisymmetric limit.
Mesh, steps and tolerance of the libraries are the cheapest of those tried that keep the
elastic-plastic bottoms within 0.42 %, the shell's own largest error there (FElupe: 2 to 6 elements
through the gauge, 0.25 to 1 of the default density along, 3 to 8 iterations aimed at in a step,
tolerance 1e-6 to 1e-2; NGSolve: orders 3 and 4, 3 to 4 iterations).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from arc_length import Answer, press

from domemargin.fea.bottom.reversal import discretisation, plan_of, reversal, shell_of
from domemargin.fea.core.ramp import Plan, compliance, ramp
from domemargin.fea.shell.shell import build_shell
from domemargin.fea.solid.solid import bottom_solid
from domemargin.profiles import load_profile
from domemargin.profiles.arrays import Floats
from domemargin.profiles.files.section import section_mesh
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

DATA = Path(__file__).parent.parent / "data"
G, H = DATA / "open_case_g.toml", DATA / "open_case_h.toml"


@dataclass(frozen=True)
class Case:
    """reference : limit, MPa, and where it is from.  contenders : name -> what answers."""

    name: str
    reference: float
    source: str
    contenders: dict[str, Callable[[], Answer]]


@dataclass(frozen=True)
class Cap:
    """A clamped spherical cap as the solid's mesher takes it."""

    meridian: Meridian
    gauge: float
    material: Material

    def thickness(self, s: Floats) -> Floats:
        return np.full(np.shape(s), self.gauge)

    def prior_strain(self, s: Floats) -> Floats:
        return np.zeros(np.shape(s))

    def yield_factor(self, s: Floats) -> Floats:
        return np.ones(np.shape(s))


def cases() -> list[Case]:
    """All cases."""
    g = load_profile(G)
    elastic = replace(g, material=Material(g.material.elastic_modulus, g.material.poisson_ratio))
    continuum = "independent continuum, six elements through the gauge, ±0.2 %"
    return [
        _cap(),
        _bottom(
            "bottom G, elastic", elastic, 1.5917,
            "solid of this project and FElupe, both on a fine mesh: four digits alike",
        ),
        _bottom("bottom G, elastic-plastic", g, 0.6726, continuum),
        _bottom(
            "bottom H, elastic-plastic", load_profile(H), 0.5084, continuum
        ),
    ]  # fmt: skip


def _one_ramp(system: Any, plan: Plan) -> Answer:
    found = ramp(system, system.start(), plan)
    return Answer(None if found.limit is None else found.limit.pressure, found.iterations)


def _bottom(name: str, profile: Any, reference: float, source: str) -> Case:
    def record(**changes: Any) -> Answer:
        found = reversal(profile, **changes)
        stability = found.stability
        limit = (
            found.reversal_pressure_mpa if stability is None else stability.axisymmetric_limit_mpa
        )
        return Answer(limit, found.iterations)

    def shell() -> Answer:
        choice = discretisation(0.002)
        system = shell_of(profile, choice)
        return _one_ramp(system, plan_of(profile, system, 0.08, 4.0))

    def solid() -> Answer:
        system = bottom_solid(profile, through=2, along=0.5, quadrature=(2, 2))
        return _one_ramp(system, plan_of(profile, system, 0.04, 4.0))

    contenders: dict[str, Callable[[], Answer]] = {
        "shell, one ramp": shell,
        "shell, whole record": record,
        "solid, one ramp": solid,
        "solid, record": partial(record, model="solid", waves=0, growth_at=()),
    }
    step = 0.02 if profile.material.hardening else 0.1  # MPa
    contenders |= _libraries(profile, ((2, 0.5), (1, 0.25), 4), "sheet", step, step, 1e-3)
    return Case(name, reference, source, contenders)


def _libraries(
    shape: Any,
    mesh: tuple[Any, Any, int],
    law: str,
    first: float,
    step: float,
    tolerance: float,
) -> dict[str, Callable[[], Answer]]:
    """Contenders by the libraries that are installed.

    mesh : elements through and along, for eight-node elements and for those of the order that
    comes third.  law : of felupe_metal.  first, step : of arc length and load stepping, MPa.
    tolerance : of arc length.
    """
    eight, high, order = mesh
    found: dict[str, Callable[[], Answer]] = {}
    if find_spec("felupe"):
        import felupe_body
        import felupe_metal

        def felupe(solve: Callable[..., Answer]) -> Answer:
            material = getattr(felupe_metal, law)(shape.material)
            return solve(felupe_body.body(section_mesh(shape, *eight), material))

        found["FElupe, arc length"] = partial(
            felupe, partial(press, first=first, tolerance=tolerance)
        )
        found["FElupe, load steps"] = partial(felupe, partial(felupe_body.load_steps, step=step))
    if find_spec("ngsolve"):
        import ngsolve_body

        def ngsolve() -> Answer:
            section = section_mesh(shape, *high)
            body = ngsolve_body.body(section, shape.material, order)
            return press(body, first, tolerance=tolerance)

        found["NGSolve, arc length"] = ngsolve
    return found


def _cap() -> Case:
    modulus, poisson, radius, base, shallow = 70_000.0, 1.0 / 3.0, 100.0, 5.0, 6.0
    gauge = float(np.sqrt(12.0 * (1.0 - poisson**2)) * base**2 / (shallow**2 * radius))
    classical = float(2.0 * modulus * (gauge / radius) ** 2 / np.sqrt(3.0 * (1.0 - poisson**2)))
    length = radius * float(np.arcsin(base / radius))
    arc = Segment("dome", 0.0, radius, 0.0, length, -1.0 / radius)
    cap = Cap(Meridian((arc,)), gauge, Material(modulus, poisson))

    def plan(system: Any) -> Plan:
        scale = compliance(system, system.start()) * classical
        return Plan(0.1, scale, classical, 3.0 * classical, located=5e-4)

    def shell() -> Answer:
        ends = np.linspace(0.0, length, 13)
        system = build_shell(cap.meridian, ends, cap.material, cap.thickness, 4, face="mid")
        return _one_ramp(system, plan(system))

    def solid() -> Answer:
        system = bottom_solid(cap, through=1, along={"dome": 12}, quadrature=(2, 2))
        return _one_ramp(system, plan(system))

    contenders: dict[str, Callable[[], Answer]] = {
        "shell, one ramp": shell,
        "solid, one ramp": solid,
    }
    name, source = "clamped cap, elastic", "shallow-shell theory, λ = 6: 0.9923 of the classical"
    # a looser tolerance lets steps grow until FElupe's path jumps over the peak (+8 %)
    mesh = ((1, {"dome": 12}), (1, {"dome": 8}), 4)
    contenders |= _libraries(cap, mesh, "neo_hooke", 0.1 * classical, 0.05 * classical, 1e-5)
    return Case(name, 0.9923 * classical, source, contenders)
