"""Profile files: round trips, units, ready profiles, tempers, light imports."""

from __future__ import annotations

import math
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from random_bottoms import RANGES, bottom

from domemargin.profiles import (
    Along,
    InputError,
    Linear,
    Material,
    ShapeError,
    Swift,
    Table,
    Voce,
    Zone,
    dump_profile,
    load_profile,
    named_tempers,
    parse_profile,
    parse_quantity,
    ready_profiles,
    write_quantity,
)

DATA = Path(__file__).parent / "data"
G = load_profile(DATA / "open_case_g.toml")


def test_file_values_arrive_in_internal_units():
    shape, sheet, metal = G.shape, G.sheet, G.material
    assert (shape.radii_on, shape.stand_diameter, shape.dome_radius) == ("mid", 47.0, 48.0)
    assert shape.inner_leg_angle == math.radians(4.0)
    assert shape.outer_leg_angle == math.radians(60.0)
    assert (sheet.bottom_gauge, sheet.wall_gauge, sheet.transition_start) == (0.27, 0.11, 0.0)
    assert metal == Material(69000.0, 0.33, 270.0, Voce(40.0, 20.0))


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        # exact by definition of the inch
        ("1 in", "length", 25.4),
        ("0.402 in", "length", 10.2108),
        ("10.6 thou", "length", 0.26924),
        ("10.2mm", "length", 10.2),
        ("265 um", "length", 0.265),
        ("1.02 cm", "length", 10.2),
        ("180 deg", "angle", math.pi),
        ("4°", "angle", math.pi / 45),
        ("0.07 rad", "angle", 0.07),
        # NIST Special Publication 811, appendix B.8: 1 psi = 6.894757 E+03 Pa, 1 bar = 1 E+05 Pa
        ("1 psi", "stress", 6.894757e-3),
        ("1 ksi", "stress", 6.894757),
        ("6.2 bar", "stress", 0.62),
        ("90 psi", "stress", 0.62052813),
        ("69 GPa", "stress", 69000.0),
        ("620 kPa", "stress", 0.62),
        ("270 N/mm2", "stress", 270.0),
        ("270 N/mm^2", "stress", 270.0),
        ("2720 kg/m3", "density", 2.72),
        ("2.72 g/cm³", "density", 2.72),
    ],
)
def test_units(text, dimension, value):
    assert_allclose(parse_quantity(text, dimension, "x"), value, rtol=1e-7)


# the library's own definitions, of which the project uses its own short list
@pytest.mark.parametrize(
    ("dimension", "unit", "internal"),
    [
        *(("length", unit, "mm") for unit in ("mm", "cm", "m", "um", "µm", "in", "inches", "thou")),
        *(("angle", unit, "rad") for unit in ("deg", "degrees", "rad", "mrad")),
        *(("stress", unit, "MPa") for unit in ("MPa", "GPa", "kPa", "Pa", "bar", "psi", "ksi")),
        *(("stress", unit, "MPa") for unit in ("N/mm**2", "kN/mm**2", "lbf/in**2")),
        *(("density", unit, "g/cm**3") for unit in ("g/cm**3", "kg/m**3", "lb/in**3")),
        *(("force", unit, "N") for unit in ("N", "kN", "lbf")),
        *(("stiffness", unit, "N/mm") for unit in ("N/mm", "kN/mm", "lbf/in", "N/m")),
    ],
)
def test_units_are_those_of_pint(dimension, unit, internal):
    expected = pint.get_application_registry().Quantity(1.0, unit).to(internal).magnitude
    for written in {unit, unit.replace("**", "")}:
        assert_allclose(parse_quantity(f"1 {written}", dimension, "x"), expected, rtol=1e-14)


@pytest.mark.parametrize("name", [*ready_profiles(), "open_case_g.toml", "open_case_h.toml"])
def test_files_round_trip(name):
    profile = load_profile(DATA / name if name.endswith("toml") else name)
    assert parse_profile(dump_profile(profile)) == profile
    assert parse_profile(tomllib.loads(dump_profile(profile))) == profile


def test_written_file_reads_like_the_one_given():
    written = tomllib.loads(dump_profile(G))
    given_file = tomllib.loads((DATA / "open_case_g.toml").read_text())
    assert written["shape"] == given_file["shape"]
    assert written["sheet"] == given_file["sheet"] | {"transition_start": "0 mm"}
    assert written["material"]["hardening"] == given_file["material"]["hardening"]


METALS = [
    Material(69000.0, 0.33),
    Material(69000.0, 0.33, 270.0, Linear()),
    Material(69000.0, 0.33, 270.1, Linear(700.3), kinematic_share=0.3, name='odd "name" é'),
    Material(69000.0, 0.33, 270.0, Swift(0.00213, 0.051), density=2.7123),
    Material(69000.0, 0.33, 270.0, Table((0.0, 0.013, 0.1), (270.0, 280.3, 300.1))),
]


@given(
    st.fixed_dictionaries({name: st.floats(*ends) for name, ends in RANGES.items()}),
    st.floats(-0.08, 0.2),
    st.floats(0.9, 1.1),
    st.sampled_from(METALS),
    st.floats(0.01, 3.0),
)
@settings(max_examples=150, deadline=None)
def test_random_profiles_round_trip_to_the_last_bit(drawn, inner, outer, metal, strain):
    profile = bottom(**drawn)
    if profile is None:
        return
    try:
        profile = profile.replaced(
            inner_leg_angle=inner,  # radians that no short number of degrees may give
            outer_leg_angle=outer,
            material=metal,
            zones=(
                Zone(part="nose", gauge_factor=0.9 + strain / 1e3, prior_strain=strain, blend=0.0),
                Zone(start=strain, stop=strain + 7.1, gauge=drawn["bottom_gauge"]),
            ),
            along=Along((0.0, strain, 9.9), prior_strain=(0.0, strain, strain / 3)),
        )
    except ShapeError:
        return
    again = parse_profile(dump_profile(profile))
    assert again == profile
    assert hash(again.shape) == hash(profile.shape)


@given(st.floats(-0.5, 1.5))
@settings(max_examples=300)
def test_any_angle_is_written_exactly(angle):
    assert parse_quantity(write_quantity(angle, "angle"), "angle", "x") == angle


def test_short_numbers_are_written_short():
    assert write_quantity(math.radians(4.0), "angle") == "4 deg"
    assert write_quantity(69000.0, "stress") == "69000 MPa"
    assert write_quantity(0.1, "length") == "0.1 mm"


def test_three_ready_profiles_in_their_three_ways():
    names = ready_profiles()
    assert len(names) == 3
    profiles = [load_profile(name) for name in names]
    assert {p.shape.radii_on for p in profiles} == {"inside", "mid", "outside"}
    assert sum(bool(p.zones) for p in profiles) == 1
    assert sum(len(p.shape.dome_radii) > 1 for p in profiles) == 1
    for p in profiles:  # typical 66 mm can: common practice, no source
        assert 46.0 <= p.shape.stand_diameter <= 49.0
        assert 10.0 <= p.shape.dome_depth <= 11.0
        assert 0.245 <= p.sheet.bottom_gauge <= 0.28
        assert 0.09 <= p.sheet.wall_gauge <= 0.11


def test_a_path_that_exists_wins_over_a_ready_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert load_profile("north").name.startswith("Tarnholt")
    Path("north").write_text(dump_profile(G))
    assert load_profile("north") == G


def test_tempers_lie_in_the_bands_known_for_them():
    tempers = named_tempers()
    assert all(table["source"] for table in tempers.values())
    text = (DATA / "open_case_g.toml").read_text().split("[material]")[0]

    def metal(name):
        return parse_profile({**tomllib.loads(text), "material": name}).material

    rolled, baked = metal("AA3104-H19 as rolled"), metal("AA3104-H19 after baking")
    assert 270.0 <= rolled.yield_strength <= 295.0  # value from memory
    assert 250.0 <= baked.yield_strength <= 270.0  # value from memory
    assert 15.0 <= rolled.yield_strength - baked.yield_strength <= 30.0  # value from memory
    for name in tempers:
        m = metal(name)
        assert m.name == name
        assert (m.elastic_modulus, m.density) == (69000.0, 2.72)  # handbooks, value from memory
        # tensile strength of 3004-H19 at least 270 MPa: ASTM B209M, value from memory
        assert m.yield_strength + m.hardening.saturation >= 270.0


def test_elastic_material_needs_no_yield_strength():
    data = tomllib.loads((DATA / "open_case_g.toml").read_text())
    data["material"] = {"elastic_modulus": "10000 ksi", "poisson_ratio": 0.3}
    profile = parse_profile(data)
    assert profile.material.yield_strength is None
    data["material"]["hardening"] = {"law": "elastic"}
    assert parse_profile(data) == profile
    assert parse_profile(dump_profile(profile)) == profile


def test_table_gives_the_yield_strength():
    data = tomllib.loads((DATA / "open_case_g.toml").read_text())
    table = {"law": "table", "plastic_strain": [0, 0.1], "stress": ["265 MPa", "300 MPa"]}
    data["material"]["hardening"] = table
    with pytest.raises(InputError, match="the first stress, 265 MPa"):
        parse_profile(data)
    del data["material"]["yield_strength"]
    assert parse_profile(data).material.yield_strength == 265.0


def test_import_stays_light():
    code = (
        "import sys, profiles; profiles.ready_profiles(); "
        "print([m for m in ('pint', 'pydantic', 'numba', 'scipy', 'gmsh', 'tomli_w') "
        "if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_profiles_are_hashable_and_equal_by_value():
    assert replace(G) == G
    assert len({G, replace(G), G.replaced(name="other")}) == 2
