"""Tooling files: what they hold, and that every slip is one sentence with field, value, range."""

from __future__ import annotations

import copy
import math
import tomllib
from importlib import resources
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from domemargin.fea.contact.contact import chain_rows
from domemargin.fea.contact.kernel import distances
from domemargin.profiles.errors import InputError
from domemargin.profiles.tooling.chain import (
    METAL_SIDE,
    blank_chain,
    blank_thickness,
    clamp_chain,
    die_chain,
    punch_chain,
)
from domemargin.profiles.tooling.files import load_tooling, parse_tooling, ready_tooling
from domemargin.profiles.tooling.parts import Spring


def tables() -> dict[str, Any]:
    text = (resources.files("domemargin.profiles") / "ready_tooling" / "north.toml").read_text(
        "utf-8"
    )
    return tomllib.loads(text)


def changed(path: str, value: Any) -> dict[str, Any]:
    data = copy.deepcopy(tables())
    *way, last = path.split(".")
    table = data
    for key in way:
        table = table[key]
    if value is None:
        del table[last]
    else:
        table[last] = value
    return data


def test_ready_tooling_is_read_by_name() -> None:
    assert ready_tooling() == ("north",)
    tooling = load_tooling("north")
    # values as they stand in the file
    assert tooling.punch.leg_angle == pytest.approx(math.radians(60.0))
    assert tooling.clamp.force == 4000.0
    assert tooling.spring.rate == 400.0
    assert tooling.set == 0.5


@pytest.mark.parametrize("name", ready_tooling())
def test_chains_are_tangent_and_meet_as_given(name: str) -> None:
    tooling = load_tooling(name)
    punch, die, blank = tooling.punch, tooling.die, tooling.blank
    for chain in (
        punch_chain(punch, 20.0),
        die_chain(die),
        clamp_chain(tooling.clamp, punch, blank.gauge),
        blank_chain(tooling.punch, tooling.blank).segments,
    ):
        for a, b in pairwise(chain):
            end = a.at(a.length)
            assert (float(end.r), float(end.z)) == pytest.approx((b.r, b.z), abs=1e-9)
            assert float(end.phi) == pytest.approx(b.phi, abs=1e-9)
    # elementary geometry: heights and diameters as the file gives them
    flange = die_chain(die)[-1]
    assert flange.z == pytest.approx(-die.flange_height)
    assert float(flange.at(flange.length).r) == pytest.approx(0.5 * die.flange_diameter)
    assert punch_chain(punch, 20.0)[-1].r == pytest.approx(0.5 * punch.body_diameter)
    # the blank's inside lies on the punch, half its gauge from the middle
    line = blank_chain(tooling.punch, tooling.blank)
    s = np.linspace(0.5 * punch.nose_diameter, line.span("heel")[1] - 0.1, 200)
    at = line.at(s)
    rows = chain_rows(punch_chain(punch, 20.0), METAL_SIDE["punch"])
    assert distances(rows, at.r, at.z) == pytest.approx(0.5 * blank.gauge, abs=1e-9)
    # and the clamp ring touches its outside
    rows = chain_rows(clamp_chain(tooling.clamp, punch, blank.gauge), METAL_SIDE["clamp"])
    leg = line.at(np.linspace(*line.span("outer_leg"), 200))
    gaps = distances(rows, leg.r, leg.z) - 0.5 * blank.gauge
    assert gaps.min() == pytest.approx(0.0, abs=1e-9)
    assert blank_thickness(tooling.punch, tooling.blank, np.array([0.0]))[0] == pytest.approx(
        blank.gauge
    )


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("punch.nose_radius", "13 in", ("punch.nose_radius", "330.2 mm", "0.2 to 10 mm")),
        ("punch.nose_radius", 1.4, ("punch.nose_radius", "without a unit", "mm")),
        ("punch.nose_radus", "1 mm", ("punch.nose_radus", "not known", "nose_radius")),
        ("punch.heel_radius", "35 mm", ("punch.heel_radius", "35 mm", "cone")),
        ("die.diameter", "46 mm", ("die.diameter", "46 mm", "less than 43.73 mm")),
        ("die.flange_height", "2 mm", ("die.flange_height", "2 mm")),
        ("die.flange_diameter", "43.6 mm", ("die.flange_diameter", "43.6 mm", "exceed")),
        ("die.dome_radius", ["46 mm", "40 mm"], ("die.dome_break_diameter", "0 entries")),
        ("clamp.force", "4 mm", ("clamp.force", "'4 mm'", "force")),
        ("clamp.force", None, ("clamp.force", "missing", "0 to 100000 N")),
        ("clamp.inner_diameter", "40 mm", ("clamp.inner_diameter", "40 mm", "47 mm")),
        ("clamp.outer_diameter", "50 mm", ("clamp.outer_diameter", "50 mm", "51.4 mm")),
        ("spring.law", "worn", ("spring.law", "worn", "linear")),
        ("spring.rate", None, ("spring.rate", "missing", "law linear")),
        ("spring.travel", ["0 mm"], ("spring.travel", "given", "absent")),
        ("station.set", "30 mm", ("station.set", "30 mm", "-20 to 20 mm")),
        ("friction.die", 0.9, ("friction.die", "0.9", "0 to 0.5")),
        ("friction.die", "0.1", ("friction.die", "plain number")),
        ("blank.gauge", "3 mm", ("blank.gauge", "3 mm", "0.05 to 2 mm")),
        ("material.hardening", {"law": "elastic"}, ("material.yield_strength", "absent")),
        ("forming_limit", {"thinning": 2.0}, ("forming_limit.thinning", "2", "0.01 to 0.9")),
        ("die", None, ("die", "missing")),
    ],
)
def test_a_slip_is_one_sentence(path: str, value: Any, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        parse_tooling(changed(path, value))
    sentence = str(caught.value)
    for word in words:
        assert word in sentence
    assert "\n" not in sentence
    assert len(sentence) < 260


def test_elastic_metal_cannot_be_formed() -> None:
    data = changed("material.yield_strength", None)
    del data["material"]["hardening"]
    with pytest.raises(InputError, match="must yield"):
        parse_tooling(data)


def test_a_missing_file_names_the_ready_ones() -> None:
    with pytest.raises(InputError, match="the ready ones are north"):
        load_tooling("south pole")


def test_temper_by_name() -> None:
    data = changed("material", "AA3104-H19 as rolled")
    assert parse_tooling(data).material.name == "AA3104-H19 as rolled"


def test_springs() -> None:
    """Arithmetic: a constant spring gives in at its load, a linear one by its rate, a table
    along its lines."""
    assert Spring("constant", 1000.0).overtravel(999.0) == 0.0
    assert Spring("constant", 1000.0).overtravel(1001.0) == math.inf
    assert Spring("linear", 1000.0, 200.0).overtravel(1100.0) == pytest.approx(0.5)
    worn = Spring("table", travel=(0.0, 1.0, 3.0), force=(800.0, 900.0, 1300.0))
    assert worn.overtravel(700.0) == 0.0
    assert worn.overtravel(850.0) == pytest.approx(0.5)
    assert worn.overtravel(1100.0) == pytest.approx(2.0)
    assert worn.overtravel(1400.0) == math.inf


def test_replaced_checks_again() -> None:
    tooling = load_tooling("north")
    assert tooling.replaced(die__flange_height=10.8).die.flange_height == 10.8
    assert tooling.replaced(friction=0.05).friction.clamp == 0.05
    with pytest.raises(InputError, match=r"die\.flange_high is not known"):
        tooling.replaced(die__flange_high=10.8)
    with pytest.raises(InputError, match=r"blank\.gauge"):
        tooling.replaced(blank__gauge=9.0)
