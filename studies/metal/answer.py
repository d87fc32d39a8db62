"""Tests of a metal put together: the metal, where it comes from, what tests do not reach."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.limits import check, check_material
from domemargin.profiles.material import Material
from domemargin.studies.metal.reverse import POISSON, ReverseFit, fit_reverse
from domemargin.studies.metal.specimens import Specimen, read_specimens
from domemargin.studies.metal.tensile import (
    HANDBOOK,
    LAWS,
    Flow,
    LawFit,
    fit_law,
    flow_of,
    modulus_of,
    r_value_of,
    table_of,
)

REACHED = 0.2  # plastic strain that a bottom's hinge comes to (fea/core/record.py, Onset)
CHOICES = (*LAWS, "table", "best")


@dataclass(frozen=True)
class MetalAnswer:
    """What tests say of a metal.

    fits : laws on the tensile curves, the chosen one first; empty where none was pulled.
    pedigree : where each part of the metal comes from, a sentence each.
    beyond : stress at the plastic strain REACHED by each law, MPa: what the tests do not say.
    """

    material: Material
    specimens: tuple[Specimen, ...]
    flows: tuple[Flow, ...]
    fits: tuple[LawFit, ...]
    reverse: ReverseFit | None
    directions: dict[float, float]
    beyond: dict[str, float]
    pedigree: tuple[str, ...]


def metal_from(
    paths: list[Path],
    law: str = "best",
    gauge: float | None = None,
    r_value: float | None = None,
    name: str = "",
) -> MetalAnswer:
    """The metal that files of tests describe.

    law : of CHOICES.  gauge : mm, of bent specimens.  r_value : mean, where no width was measured.
    Raises InputError.
    """
    if law not in CHOICES:
        allowed = ", ".join(CHOICES)
        raise InputError(
            f"--law is {brief(law)}; it must be one of {allowed}", "--law", law, allowed
        )
    specimens = [one for path in paths for one in read_specimens(path)]
    pulled = [one for one in specimens if one.kind == "tensile"]
    turned = [one for one in specimens if one.kind != "tensile"]
    flows = [flow_of(one) for one in pulled]
    fits = sorted((fit_law(kind, flows) for kind in LAWS), key=lambda f: f.rms) if flows else []
    if law in LAWS:
        fits.sort(key=lambda f: f.law != law)
    modulus, source = modulus_of(flows) if flows else (HANDBOOK, "handbook value")
    reverse = fit_reverse(turned, modulus, gauge) if turned else None
    notes = [f"elastic modulus {modulus / 1e3:.4g} GPa: {source}; Poisson's ratio: handbook value"]
    beyond: dict[str, float] = {}
    if flows:
        material = _pulled(flows, fits, law, modulus, notes)
        end = np.array([REACHED])
        beyond = {fit.law: float(fit.stress(end)[0]) for fit in fits}
    else:
        assert reverse is not None
        material = reverse.material(modulus)
        count = f"{len(turned)} reverse {'test' if len(turned) == 1 else 'tests'}"
        notes.append(f"yield curve: Voce on {count}, fitted together with the kinematic part")
    if reverse is not None:
        material = _turned(material, reverse, len(turned), notes)
    else:
        notes.append(
            "no reverse test: the kinematic share is not known, and 0 is taken; `domemargin "
            "reversal` says what a share of 0 to 0.6 would do"
        )
    measured = r_value_of(specimens)
    directions: dict[float, float] = {}
    if measured is not None:
        r_value, directions = measured
        each = ", ".join(f"{r:.3g} at {angle:g} deg" for angle, r in directions.items())
        notes.append(f"mean r-value {r_value:.3g} from widths: {each}")
    elif r_value is not None:
        notes.append(f"mean r-value {r_value:.3g}: as given")
    if r_value is not None:
        check("material.r_value", r_value, "r-value")
        material = replace(material, r_value=round(r_value, 4))
    files = ", ".join(path.name for path in paths)
    material = replace(material, name=name or f"from tests ({files})"[:120])
    check_material(material)
    return MetalAnswer(
        material, tuple(specimens), tuple(flows), tuple(fits), reverse, directions, beyond,
        tuple(notes),
    )  # fmt: skip


def _pulled(
    flows: list[Flow], fits: list[LawFit], law: str, modulus: float, notes: list[str]
) -> Material:
    """The metal of the tensile curves; adds what it comes from to the notes."""
    neck = min(flow.neck for flow in flows)
    count = f"{len(flows)} tensile {'curve' if len(flows) == 1 else 'curves'}"
    reach = f"measured up to {100 * neck:.2g} % of plastic strain"
    if any(flow.necked for flow in flows):
        reach += ", where the strip necks"
    if law == "table":
        table = table_of(flows)
        notes.append(f"yield curve: table, mean of {count}, {reach}; level beyond, which is low")
        return Material(modulus, POISSON, table.stress[0], table)
    fit = fits[0]
    notes.append(f"yield curve: {fit.law.title()} on {count}, residual {fit.rms:.2g} MPa, {reach}")
    values = [one.value for one in fit.parameters.values()]
    hardening = fit.hardening()
    fields = {name: float(f"{value:.5g}") for name, value in vars(hardening).items()}
    return Material(
        modulus,
        POISSON,
        float(f"{values[0]:.5g}"),
        type(hardening)(**fields),  # type: ignore[arg-type]
    )


def _turned(material: Material, reverse: ReverseFit, count: int, notes: list[str]) -> Material:
    tests = f"{count} reverse {'test' if count == 1 else 'tests'}"
    p = reverse.parameters
    if reverse.kind == "share":
        one = p["kinematic_share"]
        notes.append(
            f"kinematic share {one.value:.2f} ({one.low:.2f} to {one.high:.2f}) from {tests}, "
            f"residual {100 * reverse.rms:.2g} %"
        )
        return replace(material, kinematic_share=round(one.value, 4))
    back = reverse.material(material.elastic_modulus).back_stress
    assert back is not None
    back = replace(back, saturation=float(f"{back.saturation:.5g}"), rate=float(f"{back.rate:.5g}"))
    one, rate = p["back_saturation"], p["back_rate"]
    notes.append(
        f"back stress that fades, {one.value:.3g} MPa ({one.low:.3g} to {one.high:.3g}) at rate "
        f"{rate.value:.3g} ({rate.low:.3g} to {rate.high:.3g}), from {tests}, residual "
        f"{100 * reverse.rms:.2g} %: a share leaves {100 * reverse.other_rms:.2g} %"
    )
    return replace(material, kinematic_share=0.0, back_stress=back)
