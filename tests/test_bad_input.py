"""Bad input: one sentence that names the field, the value and what is allowed."""

from __future__ import annotations

import copy
import re
import string
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domemargin.profiles import InputError, ShapeError, load_profile, parse_profile, parse_quantity

DATA = Path(__file__).parent / "data"
BASE = tomllib.loads((DATA / "open_case_g.toml").read_text())
BASE["sheet"]["transition_start"] = "0 mm"
BASE["material"] |= {"density": "2.72 g/cm3", "kinematic_share": 0.2}
BASE["zone"] = [
    {"part": "nose", "gauge": "0.26 mm", "prior_strain": 0.1, "blend": "0.5 mm"},
    {"from": "3 mm", "to": "5 mm", "gauge_factor": 0.98, "yield_strength": "280 MPa"},
]
BASE["along"] = {
    "arc_length": ["0 mm", "20 mm"],
    "gauge": ["0.27 mm", "0.26 mm"],
    "prior_strain": [0.0, 0.02],
    "yield_strength": ["270 MPa", "275 MPa"],
}

QUANTITIES = {  # field: a value in a unit of another dimension
    **{
        f"shape.{name}": "3 MPa"
        for name in BASE["shape"]
        if name not in ("radii_on", "inner_leg_angle", "outer_leg_angle")
    },
    "shape.inner_leg_angle": "4 mm",
    "shape.outer_leg_angle": "60 mm",
    **{f"sheet.{name}": "3 deg" for name in BASE["sheet"]},
    "material.elastic_modulus": "69 mm",
    "material.yield_strength": "270 mm",
    "material.density": "2.72 MPa",
    "material.hardening.saturation": "40 mm",
    "zone.0.gauge": "3 MPa",
    "zone.0.blend": "3 MPa",
    "zone.1.from": "3 MPa",
    "zone.1.to": "3 deg",
    "zone.1.yield_strength": "3 mm",
    "along.arc_length.1": "3 MPa",
    "along.gauge.1": "3 MPa",
    "along.yield_strength.1": "3 mm",
}
NUMBERS = (
    "material.poisson_ratio",
    "material.kinematic_share",
    "material.hardening.rate",
    "zone.0.prior_strain",
    "zone.1.gauge_factor",
    "along.prior_strain.1",
)
MAY_BE_MISSING = {
    "sheet.transition_start",
    "material.density",
    "material.kinematic_share",
    "zone.0.gauge",
    "zone.0.blend",
    "zone.0.prior_strain",
    "zone.1.gauge_factor",
    "zone.1.yield_strength",
}
MAY_BE_NEGATIVE = {"shape.inner_leg_angle", "sheet.transition_start"}


def shown(field: str) -> str:
    """A path of the test as the messages write it: zone.0.gauge is zone[1].gauge."""
    out = ""
    for part in field.split("."):
        out += f"[{int(part) + 1}]" if part.isdigit() else f".{part}" if out else part
    return out


def base_with(field: str, value: Any) -> dict[str, Any]:
    """BASE with one field set, or taken out where value is None."""
    data = copy.deepcopy(BASE)
    table: Any = data
    *path, last = (int(part) if part.isdigit() else part for part in field.split("."))
    for part in path:
        table = table[part]
    if value is None:
        del table[last]
    else:
        table[last] = value
    return data


def refusal(call: Callable[[], Any]) -> InputError | None:
    """The InputError of a call; None if it ends well.  Anything else raised fails the test."""
    try:
        call()
    except InputError as error:
        return error
    return None


def rejected(data: Any) -> InputError:
    error = refusal(lambda: parse_profile(data))
    assert error is not None
    text = str(error)
    assert len(text.splitlines()) == 1
    assert len(text) < 420
    assert error.field in text
    return error


def test_the_base_is_good():
    assert len(parse_profile(BASE).zones) == 2


@pytest.mark.parametrize("field", [f for f in (*QUANTITIES, *NUMBERS) if not f[-1].isdigit()])
def test_missing(field):
    if field in MAY_BE_MISSING:
        parse_profile(base_with(field, None))
        return
    error = rejected(base_with(field, None))
    if field.startswith("zone"):  # the other end of the zone is then without sense
        assert error.field == "zone[2].part"
    elif field == "material.yield_strength":
        assert error.field == field
        assert "missing" in str(error)
    else:
        assert str(error).startswith(f"{field} is missing; it must be ")


@pytest.mark.parametrize("field", QUANTITIES)
def test_no_unit(field):
    for value in ("3", 3, 3.5, "3.5e0 "):
        error = rejected(base_with(field, value))
        assert error.field == shown(field)
        assert "without a unit" in str(error)
        assert "such as" in str(error)


@pytest.mark.parametrize("field", NUMBERS)
def test_a_plain_number_takes_no_unit(field):
    for value in ("0.1", "0.1 mm", True):
        error = rejected(base_with(field, value))
        assert error.field == shown(field)
        assert repr(value) in str(error)


@pytest.mark.parametrize("field", QUANTITIES)
def test_wrong_unit(field):
    for value in (QUANTITIES[field], "3 furlong", "3 mm3", "nan mm", "3 mm*"):
        error = rejected(base_with(field, value))
        assert error.field == shown(field)
        assert value in str(error)


def with_its_unit(field: str, number: float) -> Any:
    data: Any = BASE
    for part in field.split("."):
        data = data[int(part) if part.isdigit() else part]
    return number if field in NUMBERS else f"{number!r} {data.split(' ')[1]}"


@pytest.mark.parametrize("field", [f for f in (*QUANTITIES, *NUMBERS) if f not in MAY_BE_NEGATIVE])
def test_negative(field):
    error = rejected(base_with(field, with_its_unit(field, -3.0)))
    assert error.field == shown(field)
    assert "is -3" in str(error)
    assert "it must be" in str(error)
    assert " to " in error.allowed


@pytest.mark.parametrize("field", [*QUANTITIES, *NUMBERS])
@pytest.mark.parametrize("number", [1e9, -1e9, float("1e308")])
def test_absurd(field, number):
    error = rejected(base_with(field, with_its_unit(field, number)))
    assert error.field == shown(field)
    assert " to " in error.allowed


@pytest.mark.parametrize("field", NUMBERS)
@pytest.mark.parametrize("number", [float("nan"), float("inf"), 10**400])
def test_not_finite(field, number):
    assert rejected(base_with(field, number)).field == shown(field)


@pytest.mark.parametrize(
    ("field", "close"),
    [
        ("shape.dome_dept", "dome_depth"),
        ("shape.stand_diametre", "stand_diameter"),
        ("sheet.botom_gauge", "bottom_gauge"),
        ("material.youngs_elastic_modulus", "elastic_modulus"),
        ("material.hardening.saturaton", "saturation"),
        ("zone.0.gage", "gauge"),
        ("zone.1.form", "from"),
        ("along.arclength", "arc_length"),
        ("shpe", "shape"),
    ],
)
def test_unknown_key_names_the_closest(field, close):
    error = rejected(base_with(field, "3 mm"))
    assert str(error) == f"{shown(field)} is not known; did you mean {close}?"


def test_a_misspelt_key_is_told_before_the_one_it_leaves_missing():
    data = copy.deepcopy(BASE)
    data["shape"]["dome_dept"] = data["shape"].pop("dome_depth")
    assert rejected(data).field == "shape.dome_dept"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", 3, "name is 3; it must be text"),
        ("name", None, "name is missing"),
        ("shape", 3, "shape is 3; it must be a table"),
        ("sheet", None, "sheet is missing"),
        ("material", "AA9999", "AA3104-H19 as rolled"),
        ("material", 3, "material is 3; it must be a table"),
        ("material.hardening", "voce", "material.hardening is 'voce'; it must be a table"),
        ("material.hardening", {}, "material.hardening.law is missing"),
        ("material.hardening.law", "power", "linear, voce, swift, table, perfect, elastic"),
        ("zone", {"part": "nose"}, "zone is {'part': 'nose'}; it must be a list"),
        ("zone.0.part", "lip", "one of dome, shoulder, inner_leg, nose"),
        ("along.gauge", ["0.2 mm"], "along.gauge has 1 entries; it needs 2"),
        ("along.arc_length", ["3 mm", "2 mm"], "increasing"),
        ("shape.radii_on", "top", "inside, mid or outside"),
        ("shape.dome_radius", [], "shape.dome_radius is []"),
        ("shape.dome_radius", ["50 mm", "40 mm"], "a dome of 2 radii needs 1"),
        ("shape.dome_radius", ["50 mm", "40"], "shape.dome_radius[2] is '40' without a unit"),
    ],
)
def test_wrong_structure(field, value, words):
    assert words in str(rejected(base_with(field, value)))


@pytest.mark.parametrize(
    "text", ["x = ", "[[[[", "\x00", "a = 1\na = 2", "[a]\n[a]", "a=" + "[" * 9999]
)
def test_text_that_is_not_toml(text, tmp_path):
    assert "not valid TOML" in str(rejected(text))
    path = tmp_path / "broken.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=r"broken.toml.* is not valid TOML"):
        load_profile(path)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match=r"no profile file 'nothing.toml'; the ready profiles are"):
        load_profile("nothing.toml")
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        load_profile(tmp_path)
    (tmp_path / "image").write_bytes(b"\x89PNG\xff\xfe")
    with pytest.raises(InputError, match=r"is a picture \(PNG\); it must be a profile file"):
        load_profile(tmp_path / "image")
    (tmp_path / "latin").write_bytes('name = "Stra\xdfe"'.encode("latin-1"))
    with pytest.raises(InputError, match="not UTF-8"):
        load_profile(tmp_path / "latin")
    with pytest.raises(InputError, match="cannot be read"):
        load_profile("a\0b")


def test_a_shape_error_names_the_field_of_the_file():
    with pytest.raises(ShapeError) as caught:
        parse_profile(base_with("shape.dome_depth", "3 mm"))
    assert str(caught.value) == (
        "shape.dome_depth 3 mm leaves the inner leg -4.69 mm long; "
        "7.52 to 60 mm would close the chain"
    )


junk = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=200),
    st.lists(st.text(max_size=5), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=3),
    st.builds(
        "{} {}".format, st.floats(), st.sampled_from(["mm", "MPa", "deg", "in", "g/cm3", "kg", "%"])
    ),
    st.builds("{}{}".format, st.integers(-5, 100), st.text(string.printable, max_size=12)),
)


@given(st.sampled_from([*QUANTITIES, *NUMBERS, "shape.radii_on", "material.hardening"]), junk)
@settings(max_examples=600, deadline=None)
def test_junk_in_a_field_is_taken_or_rejected_in_one_sentence(field, value):
    data = base_with(field, 0 if value is None else value)
    error = refusal(lambda: parse_profile(data))
    if error is None:
        return
    text = str(error)
    assert len(text.splitlines()) == 1
    assert len(text) < 420
    assert error.field in text
    owner = shown(field).split("[")[0].split(".")[0]
    # a good value may show that another one does not go with it
    assert re.split(r"[.\[]", error.field)[0] in (owner, "shape", "sheet", "zone", "along")


def test_a_key_that_cannot_be_shown_is_quoted():
    assert str(rejected({"a\nb": 1})).startswith(r"'a\nb' is not known; known here: along, ")


@given(st.dictionaries(st.text(max_size=8), junk, max_size=4))
@settings(max_examples=100, deadline=None)
def test_junk_tables(data):
    assert str(rejected(data))


@given(st.text(max_size=40))
@settings(max_examples=300, deadline=None)
def test_any_text_as_a_quantity_is_read_or_rejected(text):
    error = refusal(lambda: parse_quantity(text, "stress", "require"))
    assert error is None or str(error).startswith("require is ")


def test_a_requirement_from_the_command_line():
    with pytest.raises(InputError, match=r"require is '90' without a unit; .* psi"):
        parse_quantity("90", "stress", "require")
