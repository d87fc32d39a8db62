"""Study files: what they say, how depth is lost, what is rejected and in which words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domemargin.profiles import InputError, dump_profile, load_profile
from domemargin.studies.study.cases import Keys
from domemargin.studies.study.sampling import count, points
from domemargin.studies.study.study import Study
from domemargin.studies.study.study_file import load_study, parse_study, ready_studies
from domemargin.studies.study.varied import bottom_at

HEAD = 'name = "a"\nprofile = "north"\n'


def grid(*lines: str) -> str:
    return HEAD + "\n".join(lines)


def test_ready_studies_are_there_and_their_bottoms_close() -> None:
    names = ready_studies()
    assert {"depth-gauge", "depth-dome-radius", "nose-leg", "overnight"} <= set(names)
    for name in names:
        study = load_study(name)
        assert study.required is not None
        if not study.varied:
            assert study.scatter is not None
            continue
        planned = list(points(study))
        assert len(planned) == count(study)
        for point in planned[:: max(1, len(planned) // 50)]:
            bottom_at(study.profile, point)
    assert count(load_study("overnight")) == 2048


def test_a_grid_has_every_combination_in_order() -> None:
    text = grid(
        "[vary.bottom_gauge]", 'values = ["0.26 mm", "0.25 mm"]',
        "[vary.dome_depth]", 'from = "10.1 mm"', 'to = "10.3 mm"', "steps = 3",
    )  # fmt: skip
    found = [tuple(p.values()) for p in points(parse_study(text))]
    assert found == [(g, d) for g in (0.26, 0.25) for d in (10.1, 10.2, 10.3)]


def test_a_list_goes_row_by_row() -> None:
    text = grid(
        "[plan]", 'kind = "list"',
        "[vary.inner_leg_angle]", 'values = ["1 deg", "2 deg"]',
        "[vary.dome_depth]", 'values = ["0.4 in", "10.3 mm"]',
    )  # fmt: skip
    found = list(points(parse_study(text)))
    assert found[0] == pytest.approx({"inner_leg_angle": math.radians(1.0), "dome_depth": 10.16})
    assert found[1] == pytest.approx({"inner_leg_angle": math.radians(2.0), "dome_depth": 10.3})


def sobol(cases: int, seed: int) -> Study:
    return parse_study(grid(
        "[plan]", 'kind = "sobol"', f"cases = {cases}", f"seed = {seed}",
        "[vary.bottom_gauge]", 'from = "0.25 mm"', 'to = "0.27 mm"',
        "[vary.dome_depth]", 'from = "10 mm"', 'to = "10.4 mm"',
    ))  # fmt: skip


def array(rows: Iterator[dict[str, float]]) -> np.ndarray:
    return np.array([tuple(row.values()) for row in rows])


def test_a_sobol_plan_fills_its_box_evenly_and_follows_its_seed() -> None:
    found = array(points(sobol(256, 0)))
    assert found.shape == (256, 2)
    unit = (found - [0.25, 10.0]) / [0.02, 0.4]
    # of 2^8 points of a digital net in base 2 each half, quarter ... of an axis has its share
    # (Niederreiter 1992, ch. 4; value from memory)
    for column in unit.T:
        assert np.histogram(column, 256, (0.0, 1.0))[0].tolist() == [1] * 256
    np.testing.assert_array_equal(found, array(points(sobol(256, 0))))
    assert not np.array_equal(found, array(points(sobol(256, 7))))
    # a longer plan goes on where the shorter ended, so that its cases are not solved again
    np.testing.assert_array_equal(found, array(points(sobol(512, 0)))[:256])


def test_a_die_set_back_keeps_the_dome_and_takes_from_the_inner_leg() -> None:
    base = load_profile("north")
    lower = bottom_at(base, {"die_set_back": 0.3})
    assert lower.shape.dome_depth == pytest.approx(10.1)
    assert lower.shape.dome_radius == base.shape.dome_radius
    # the leg leans by 3 degrees only: it loses about the depth
    lost = base.chain.inner_leg_length - lower.chain.inner_leg_length
    assert lost == pytest.approx(0.3, rel=0.05)


@settings(deadline=None, max_examples=30)
@given(st.floats(-0.3, 0.8), st.sampled_from(["north", "harbour"]))
def test_springback_flattens_the_dome_over_its_edge(loss: float, name: str) -> None:
    base = load_profile(name)
    flat = bottom_at(base, {"springback": loss})
    assert flat.shape.dome_depth == pytest.approx(base.shape.dome_depth - loss)
    # sagitta of a circle over a chord (any geometry text): the new dome goes through the old edge
    edge_r = 0.5 * base.chain.dome_edge_diameter
    mid = flat.meridian.segments[0]
    radius = -1.0 / mid.curvature
    sagitta = radius - math.sqrt(radius**2 - edge_r**2)
    before = base.meridian.segments[0]
    old = -1.0 / before.curvature
    edge_z = before.z - (old - math.sqrt(old**2 - edge_r**2))
    assert mid.z - sagitta == pytest.approx(edge_z, abs=1e-9)
    # and the rest stays, but for what the junction slides along the shoulder
    assert flat.chain.inner_leg_length == pytest.approx(base.chain.inner_leg_length, abs=0.02)
    assert flat.chain.dome_edge_diameter == pytest.approx(2.0 * edge_r, abs=0.4)


def test_a_loss_is_taken_from_the_bottom_as_it_would_have_been_made() -> None:
    base = load_profile("north")
    both = bottom_at(base, {"springback": 0.2, "bottom_gauge": 0.28, "dome_radius": 45.0})
    first = base.replaced(bottom_gauge=0.28, dome_radius=45.0)
    assert dump_profile(both) == dump_profile(bottom_at(first, {"springback": 0.2}))


def test_a_key_is_of_the_bottom_not_of_how_it_was_asked_for() -> None:
    study = load_study("depth-gauge")
    keys = Keys(study, "1")
    depth = study.profile.shape.dome_depth
    one = keys.of({"die_set_back": 0.25, "bottom_gauge": 0.26})
    assert one == keys.of({"bottom_gauge": 0.26, "dome_depth": depth - 0.25})
    assert keys.of({"bottom_gauge": 0.265}) == keys.of({"die_set_back": -0.0})
    assert one != keys.of({"die_set_back": 0.25, "bottom_gauge": 0.2600001})
    assert one != Keys(study, "2").of({"die_set_back": 0.25, "bottom_gauge": 0.26})


@pytest.mark.parametrize("name", ["depth-gauge", "overnight", "line-scatter"])
def test_a_study_reads_back_from_its_store_text(name: str) -> None:
    study = load_study(name)
    again = Study.from_json(study.to_json())
    assert again.to_json() == study.to_json()
    assert again == study


def test_another_base_bottom(tmp_path: Path) -> None:
    study = load_study("depth-gauge", "harbour")
    assert study.profile.name.startswith("Tarnholt harbour")
    assert study.name.startswith("Depth loss and gauge, Tarnholt harbour")


def test_a_profile_file_is_looked_for_beside_the_study(tmp_path: Path) -> None:
    text = dump_profile(load_profile("north").replaced(name="beside"))
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    study = tmp_path / "study.toml"
    study.write_text(
        'name = "a"\nprofile = "mine.toml"\n[vary.dome_depth]\nvalues = ["10 mm"]',
        encoding="utf-8",
    )
    assert load_study(study).profile.name == "beside"


BAD = {
    "no quantity": (HEAD, "vary is missing"),
    "misspelt quantity": (
        grid("[vary.dome_dept]", 'values = ["10 mm"]'), "did you mean dome_depth?"),
    "misspelt key": (
        grid("[vary.dome_depth]", 'form = "10 mm"'), "vary.dome_depth.form is not known; did you "
        "mean from?"),
    "no unit": (grid("[vary.dome_depth]", "values = [10]"), "without a unit"),
    "out of range": (
        grid("[vary.dome_depth]", 'values = ["99 mm"]'),
        "vary.dome_depth.values[1] is 99 mm; it must be 0.5 to 60 mm"),
    "loss out of range": (
        grid("[vary.springback]", 'values = ["99 mm"]'), "it must be -5 to 20 mm"),
    "no steps": (
        grid("[vary.dome_depth]", 'from = "10 mm"', 'to = "11 mm"'), "steps is missing"),
    "twice": (
        grid("[vary.dome_depth]", 'values = ["10 mm", "1 cm"]'), "has a value twice"),
    "both forms": (
        grid("[vary.dome_depth]", 'values = ["10 mm"]', 'from = "9 mm"'), "give one"),
    "plan kind": (grid("[plan]", 'kind = "random"'), "plan.kind is 'random'"),
    "no cases": (
        grid("[plan]", 'kind = "sobol"', "[vary.dome_depth]", 'from = "10 mm"', 'to = "11 mm"'),
        "plan.cases is missing"),
    "not a power of two": (
        grid("[plan]", 'kind = "saltelli"', "cases = 100", "[vary.dome_depth]", 'from = "10 mm"',
             'to = "11 mm"'), "power of two"),
    "ragged list": (
        grid("[plan]", 'kind = "list"', "[vary.dome_depth]", 'values = ["10 mm"]',
             "[vary.bottom_gauge]", 'values = ["0.26 mm", "0.27 mm"]'), "different lengths"),
    "too many": (
        grid("[vary.dome_depth]", 'from = "9 mm"', 'to = "10 mm"', "steps = 9999",
             "[vary.bottom_gauge]", 'from = "0.2 mm"', 'to = "0.3 mm"', "steps = 9999"),
        "at most 1000000"),
    "settings": (
        grid("[vary.dome_depth]", 'values = ["10 mm"]', "[settings]", 'resolution = "9 %"'),
        "settings.resolution is 0.09"),
    "no profile": ('name = "a"\nprofile = "nowhere"\n', "there is no profile file 'nowhere'"),
    "not TOML": ("name = ", "not valid TOML"),
    "scatter shape": (grid("[scatter.dome_depth]", 'mean = "10 mm"'), "one of normal"),
    "scatter spread": (
        grid("[scatter.dome_depth]", 'normal = "0 mm"'), "it must be more than 0"),
    "correlation": (
        grid("[scatter.dome_depth]", 'normal = "0.1 mm"', "[[correlation]]",
             'of = ["dome_depth", "bottom_gauge"]', "value = 0.5"), "is not known"),
    "contradicting correlations": (
        grid("[scatter.dome_depth]", 'normal = "0.1 mm"', "[scatter.bottom_gauge]",
             'normal = "0.001 mm"', "[scatter.dome_radius]", 'normal = "0.1 mm"',
             *(line for a, b, v in (("dome_depth", "bottom_gauge", 0.9),
                                    ("bottom_gauge", "dome_radius", 0.9),
                                    ("dome_depth", "dome_radius", -0.9))
               for line in ("[[correlation]]", f'of = ["{a}", "{b}"]', f"value = {v}"))),
        "contradict each other"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_files_are_rejected_in_one_sentence(case: str) -> None:
    text, words = BAD[case]
    with pytest.raises(InputError) as caught:
        parse_study(text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_quantities_that_the_bottom_does_not_have_are_rejected() -> None:
    text = '[vary.dome_radius]\nvalues = ["45 mm"]'
    with pytest.raises(InputError, match="a dome of one radius"):
        parse_study(f'name = "a"\nprofile = "south"\n{text}')
