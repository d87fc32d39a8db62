"""Metal from tests: curves made from known laws, and published ones, must come back.

Sources: hardening laws and the neck (Considere 1885) in closed form; sheet AA5042-H2 of the
benchmark of the conference on sheet forming of 2011, Voce 404.16 - 107.17 exp(-18.416 e) MPa and
r-values 0.354, 1.069, 1.396 (value from memory); reverse legs through the return map of layers.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from evidence_rows import COMPUTED, METAL, About
from scipy.optimize import brentq
from typer.testing import CliRunner

from domemargin.fea.metal.layers import layer_stresses
from domemargin.fea.metal.materials import STATE, encode
from domemargin.profiles.errors import InputError
from domemargin.profiles.files.loading import load_profile, parse_profile
from domemargin.profiles.files.writing import dump_material, dump_profile
from domemargin.profiles.material import Voce
from domemargin.studies.cli.app import app
from domemargin.studies.metal.answer import metal_from
from domemargin.studies.metal.reverse import NAMES, bent, fit_reverse, follow, material_of
from domemargin.studies.metal.specimens import Specimen, read_specimens
from domemargin.studies.metal.tensile import PARAMETERS, fit_law, flow_of, law_stress, table_of

ABOUT = About(METAL, "hardening laws, Considere's neck, a published sheet", COMPUTED)

E = 69_000.0
BINOMIAL = 3.0  # standard deviations by which a share of trials may fall short


def true_curve(law: str, p, strain: np.ndarray) -> np.ndarray:
    """Stress at true strains: closed form of elastic and plastic strain, turned round."""
    ep = np.concatenate(([0.0], np.geomspace(1e-7, 0.5, 6000)))
    stress = law_stress(law, p, ep)
    return np.where(strain < stress[0] / E, E * strain, np.interp(strain, stress / E + ep, stress))


def pulled(law: str, p, seed: int, end: float = 0.06, noise: float = 0.4, name: str = "a"):
    """An engineering curve with noise, MPa, by true strains up to `end`."""
    rng = np.random.default_rng(seed)
    strain = np.concatenate((np.linspace(0.0, 0.004, 40), np.linspace(0.004, end, 220)[1:]))
    load = true_curve(law, p, strain) * np.exp(-strain)
    return Specimen(
        name, "tensile", np.expm1(strain), load + rng.normal(0, noise, load.size), False
    )


@pytest.mark.parametrize(
    ("law", "p"), [("voce", (270.0, 40.0, 30.0)), ("swift", (250.0, 0.004, 0.06))]
)
@pytest.mark.parametrize("count", [1, 3])
def test_limits_hold_nine_times_in_ten(evidence, law: str, p, count: int) -> None:
    trials, hit = 150, Counter()
    for k in range(trials):
        rng = np.random.default_rng(1000 + k)
        scatter = 0.01 if count > 1 else 0.0
        flows = [
            flow_of(pulled(law, np.array(p) * np.exp(rng.normal(0, scatter, 3)), 10 * k + j))
            for j in range(count)
        ]
        fit = fit_law(law, flows)
        for name, true in zip(PARAMETERS[law], p, strict=True):
            hit[name] += fit.parameters[name].low <= true <= fit.parameters[name].high
    for name in PARAMETERS[law]:
        evidence(
            f"{law}, {count} curves: share of trials whose limits hold {name}",
            expected=0.9, computed=hit[name] / trials,
            abs=BINOMIAL * (0.9 * 0.1 / trials) ** 0.5,
        )  # fmt: skip


def test_published_sheet_comes_back(evidence) -> None:
    """AA5042-H2 (see above): a curve by its published constants, with 0.5 MPa of noise."""
    first, rise, rate = 404.16 - 107.17, 107.17, 18.416
    flow = flow_of(pulled("voce", (first, rise, rate), 5, end=0.09, noise=0.5))
    fit = fit_law("voce", [flow])
    expected = {"yield_strength": first, "saturation": rise, "rate": rate}
    for name, value in expected.items():
        evidence(
            f"AA5042-H2: {name}", expected=value, computed=fit.parameters[name].value, rel=0.03,
            source="conference benchmark of 2011, value from memory",
        )  # fmt: skip
    # its neck: slope of the true curve down to the stress
    neck = np.log(rise * (rate + 1.0) / (first + rise)) / rate
    flow = flow_of(pulled("voce", (first, rise, rate), 5, end=0.2, noise=0.0))
    assert flow.necked
    # total strain at the highest load exceeds the plastic one by the elastic part, hence 5 %
    evidence(
        "AA5042-H2: plastic strain at the neck", expected=neck, computed=flow.neck, rel=0.05,
        source="Considere 1885, closed form",
    )  # fmt: skip


def test_mean_r_value_from_widths(tmp_path: Path) -> None:
    """r0, r45, r90 of AA5042-H2 (value from memory): (0.354 + 2 x 1.069 + 1.396) / 4."""
    rows = [
        "specimen,direction (deg),engineering strain (%),engineering stress (MPa),width strain (%)"
    ]
    for angle, r in ((0, 0.354), (45, 1.069), (90, 1.396)):
        one = pulled("voce", (297.0, 107.0, 18.4), angle, noise=0.2)
        true = np.log1p(one.x)
        plastic = true - one.y * (1 + one.x) / E
        width = np.expm1(-r / (1 + r) * plastic - 0.33 * (true - plastic))
        for e, s, w in zip(one.x, one.y, width):
            rows.append(f"{angle},{angle},{100 * e:.6f},{s:.4f},{100 * w:.6f}")
    file = tmp_path / "widths.csv"
    file.write_text("\n".join(rows))
    answer = metal_from([file])
    assert answer.material.r_value == pytest.approx((0.354 + 2 * 1.069 + 1.396) / 4, abs=0.01)
    assert answer.directions[0.0] == pytest.approx(0.354, abs=0.01)
    assert isinstance(answer.material.hardening, Voce)


def test_table_follows_the_curve() -> None:
    flows = [flow_of(pulled("voce", (270.0, 40.0, 30.0), k)) for k in range(3)]
    table = table_of(flows)
    strain = np.array(table.plastic_strain[1:])
    expected = law_stress("voce", (270.0, 40.0, 30.0), strain)
    assert np.array(table.stress[1:]) == pytest.approx(expected, abs=0.6)
    assert list(table.stress) == sorted(table.stress)


def turned(*ends: float, n: int = 100) -> np.ndarray:
    """Strains or curvatures from 0 to each of these in turn."""
    legs = [np.linspace(a, b, n)[1:] for a, b in zip((0.0, *ends), ends)]
    return np.concatenate(([0.0], *legs))


METALS = {
    "share": (250.0, 60.0, 25.0, 0.45, E),
    "fading": (200.0, 90.0, 20.0, 60.0, 80.0, E),
}


@pytest.mark.parametrize("kind", METALS)
def test_legs_against_the_return_map(kind: str) -> None:
    values, strain = np.array(METALS[kind]), turned(0.02, -0.015, 0.01, n=40)
    packed, old = encode(material_of(kind, values, E)), np.zeros((STATE, 1))
    new, stress, tangent = np.empty((STATE, 1)), np.empty((3, 1)), np.empty((6, 1))
    expected = []
    for e in strain:

        def hoop(across: float, e: float = e, before: np.ndarray = old) -> float:
            given = np.array([[e], [across], [0.0]])
            layer_stresses(packed, np.ones(1), given, before, new, stress, tangent)
            return float(stress[1, 0])

        brentq(hoop, -0.1, 0.1, xtol=1e-14)
        expected.append(stress[0, 0])
        old = new.copy()
    assert follow(kind, values, E, strain) == pytest.approx(np.array(expected), abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("kind", METALS)
def test_reverse_limits_hold_nine_times_in_ten(evidence, kind: str) -> None:
    values, strain = np.array(METALS[kind]), turned(0.02, -0.02, 0.02)
    stress, trials, hit = follow(kind, values, E, strain), 60, Counter()
    for seed in range(trials):
        noise = np.random.default_rng(seed).normal(0, 1.0, strain.size)
        fit = fit_reverse([Specimen("a", "reverse", strain, stress + noise, True)], E, None)
        assert fit.kind == kind
        for name, true in zip(NAMES[kind][:-1], values):
            hit[name] += fit.parameters[name].low <= true <= fit.parameters[name].high
    for name in NAMES[kind][3:-1]:
        evidence(
            f"pulled and pushed, {kind}: share of trials whose limits hold {name}", expected=0.9,
            computed=hit[name] / trials, abs=BINOMIAL * (0.9 * 0.1 / trials) ** 0.5,
        )  # fmt: skip


@pytest.mark.parametrize("kind", METALS)
def test_bending_and_unbending_comes_back(kind: str) -> None:
    values, gauge, curvature = np.array(METALS[kind]), 0.27, turned(0.4, -0.1, n=50)
    moment = bent(material_of(kind, values, E), gauge, curvature)
    noise = np.random.default_rng(2).normal(0, 0.003 * moment.max(), moment.size)
    fit = fit_reverse([Specimen("b", "bending", curvature, moment + noise, False)], E, gauge)
    name, index = ("kinematic_share", 3) if kind == "share" else ("back_saturation", 3)
    one = fit.parameters[name]
    assert one.value == pytest.approx(values[index], rel=0.05)
    if kind == "fading":
        assert fit.kind == kind


def test_moment_of_a_thin_bend_is_the_closed_form(evidence) -> None:
    """Fully plastic, plane strain: M = (2/sqrt 3) Y t^2 / 4 per width (value from memory)."""
    metal = material_of("share", (270.0, 1e-3, 1.0, 1e-3), E)
    moment = bent(metal, 0.27, np.linspace(0.0, 1.0, 60))
    evidence(
        "fully plastic moment of a gauge of 0.27 mm", expected=2 / 3**0.5 * 270 * 0.27**2 / 4,
        computed=float(moment[30]), rel=5e-3, unit="N",
    )  # fmt: skip


def write_pulled(file: Path, **changes: str) -> None:
    head = "specimen,engineering strain (%),engineering stress (MPa)"
    one = pulled("voce", (270.0, 40.0, 30.0), 3)
    rows = [f"a,{100 * e:.5f},{s:.3f}" for e, s in zip(one.x, one.y)]
    text = "\n".join([head, *rows])
    for old, new in changes.items():
        text = text.replace(old, new, 1)
    file.write_text(text)


def test_units_and_kinds_are_read(tmp_path: Path) -> None:
    file = tmp_path / "psi.csv"
    one = pulled("voce", (270.0, 40.0, 30.0), 3)
    rows = [f"{e:.7f};{s / 6.894757293168361:.5f}" for e, s in zip(one.x, one.y)]
    file.write_text("\n".join(["engineering strain (-);engineering stress (ksi)", *rows]))
    (read,) = read_specimens(file)
    assert read.y == pytest.approx(one.y, abs=1e-3)
    assert (read.kind, read.true, read.name) == ("tensile", False, "psi")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"engineering stress (MPa)": "engineering stress"}, "has no known unit"),
        ({"engineering strain": "strain", "engineering stress": "stress"}, "does not say whether"),
        ({"engineering strain (%)": "engineering strain (-)"}, "is the column in %"),
        ({"engineering stress (MPa)": "engineering stress (psi)"}, "are the units right"),
        ({"a,0.00000,": "a,x,"}, "row 2"),
    ],
)
def test_bad_files_are_rejected_in_a_sentence(tmp_path: Path, changes, words: str) -> None:
    file = tmp_path / "tests.csv"
    write_pulled(file, **changes)
    with pytest.raises(InputError, match=words) as caught:
        metal_from([file])
    assert "\n" not in str(caught.value)


def test_command_writes_a_material_that_reads(tmp_path: Path) -> None:
    file = tmp_path / "tests.csv"
    write_pulled(file)
    found = CliRunner().invoke(
        app, ["metal", str(file), "--out", str(tmp_path / "out"), "--r-value", "0.9"]
    )
    assert found.exit_code == 0, found.output
    assert "extrapolation" in " ".join(found.output.split())
    table = (tmp_path / "out" / "material.toml").read_text()
    assert table.startswith("# elastic modulus")
    profile = load_profile("north")
    base = dump_profile(profile)
    start, end = base.index("[material]"), len(base)
    bottom = parse_profile(base[:start] + table + base[end:])
    assert bottom.material.r_value == 0.9
    assert dump_material(bottom.material) in table
    assert (tmp_path / "out" / "metal.png").stat().st_size > 10_000
