"""What tests of a metal say, in words and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.text import Text

from domemargin.studies.metal.answer import REACHED, MetalAnswer
from domemargin.studies.metal.tensile import LEVEL, Limited
from domemargin.studies.text.printing import narrow_console, plain_table, print_files
from domemargin.studies.text.words import one_line

CAUTION = (
    "A fit to the tests given; a bottom's metal differs from coil to coil. Confirm pressures by "
    "reversal tests on real cans; follow local codes and qualified people."
)
_UNIT = {"yield_strength": " MPa", "saturation": " MPa", "back_saturation": " MPa"}
_TITLES = {
    "yield_strength": "Yield strength",
    "saturation": "Saturation",
    "rate": "Rate",
    "reference_strain": "Reference strain",
    "exponent": "Exponent",
    "kinematic_share": "Kinematic share",
    "back_saturation": "Back stress",
    "back_rate": "Its rate",
}


def metal_data(answer: MetalAnswer) -> dict[str, Any]:
    """The answer as plain data for JSON."""
    reverse = answer.reverse
    return {
        "material": asdict(answer.material),
        "hardening": type(answer.material.hardening).__name__.lower(),
        "specimens": [
            {"name": one.name, "kind": one.kind, "direction_deg": one.direction}
            for one in answer.specimens
        ],
        "tensile": [
            {
                "name": flow.name, "modulus_mpa": flow.modulus, "proof_mpa": flow.proof,
                "neck_plastic_strain": flow.neck, "necked": flow.necked,
            }
            for flow in answer.flows
        ],
        "fits": [
            {
                "law": fit.law, "rms_mpa": fit.rms,
                "parameters": {name: asdict(one) for name, one in fit.parameters.items()},
            }
            for fit in answer.fits
        ],
        "reverse": None if reverse is None else {
            "kind": reverse.kind, "rms": reverse.rms, "other_rms": reverse.other_rms,
            "parameters": {name: asdict(one) for name, one in reverse.parameters.items()},
        },
        "r_values": {f"{angle:g}": r for angle, r in answer.directions.items()},
        "stress_at_0.2_mpa": answer.beyond,
        "limits_level": LEVEL,
        "pedigree": list(answer.pedigree),
        "caution": CAUTION,
    }  # fmt: skip


def beyond_words(answer: MetalAnswer) -> str:
    """What the tensile curves do not reach, in a sentence; "" where there are none."""
    if not answer.flows:
        return ""
    neck = min(flow.neck for flow in answer.flows)
    if neck >= REACHED or len(answer.beyond) < 2:
        return ""
    listed = ", ".join(f"{law.title()} {stress:.0f} MPa" for law, stress in answer.beyond.items())
    return (
        f"Beyond {100 * neck:.2g} % of plastic strain the curve is an extrapolation. A bottom's "
        f"hinge reaches {100 * REACHED:.0f} %, where the laws give {listed}: solve with both."
    )


def _limited(name: str, one: Limited) -> str:
    unit = _UNIT.get(name, "")
    return f"{one.value:.4g}{unit} ({one.low:.4g} to {one.high:.4g})"


def print_metal(answer: MetalAnswer, files: Sequence[Path]) -> None:
    """The answer, at most 80 columns wide."""
    console = narrow_console()
    console.print(Text(one_line(answer.material.name), style="bold"))
    kinds = [one.kind for one in answer.specimens]
    counts = [f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)]
    console.print(Text(f"{', '.join(counts)}; limits hold nine times in ten"))
    console.print()
    table = plain_table("left", "left", "left")
    for flow in answer.flows:
        table.add_row(
            one_line(flow.name, 20), f"proof {flow.proof:.1f} MPa",
            f"{'necks' if flow.necked else 'ends'} at {100 * flow.neck:.2g} % of plastic strain",
        )  # fmt: skip
    for i, fit in enumerate(answer.fits):
        table.add_row(fit.law.title(), f"residual {fit.rms:.2g} MPa", "" if i else "taken")
        for name, one in fit.parameters.items():
            table.add_row("", _TITLES[name], _limited(name, one))
    if answer.reverse is not None:
        table.add_row("Reverse", f"residual {100 * answer.reverse.rms:.2g} %", "")
        for name, one in answer.reverse.parameters.items():
            if name in ("kinematic_share", "back_saturation", "back_rate"):
                table.add_row("", _TITLES[name], _limited(name, one))
    if answer.material.r_value is not None:
        table.add_row("r-value", f"mean {answer.material.r_value:.3g}", "")
    console.print(table)
    console.print()
    for sentence in (beyond_words(answer), *answer.pedigree):
        if sentence:
            console.print(Text(sentence[:1].upper() + sentence[1:] + "."[sentence.endswith(".") :]))
    print_files(console, files)
    console.print(Text(CAUTION, style="italic"))
