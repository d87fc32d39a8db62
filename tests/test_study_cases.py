"""What a case is called, what of it is kept, and which cases a plan has: by brute force."""

from __future__ import annotations

import itertools
import json
import math
import sqlite3
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import study_stand_in as stand_in
from scipy.stats import qmc

from domemargin.fea.core.settings import Settings
from domemargin.profiles import Zone, load_profile
from domemargin.studies.study.cases import CRASHED, FAILED, Keys, Result, canonical, outputs_of
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.sampling import count, points
from domemargin.studies.study.store import DamagedStoreError, Store, StoreError
from domemargin.studies.study.study import Plan, Study, Varied
from domemargin.studies.study.table import export, pages_of, read_table

NORTH = load_profile("north")
GAUGES = Varied("bottom_gauge", (0.26, 0.265, 0.27), 0.26, 0.27)
DEPTHS = Varied("dome_depth", (10.2, 10.4), 10.2, 10.4)
ANGLES = Varied("inner_leg_angle", (0.05, 0.06), 0.05, 0.06)


def study(*varied: Varied, **changes: Any) -> Study:
    return Study("cases", NORTH, varied or (GAUGES, DEPTHS), **changes)


# --- keys ----------------------------------------------------------------------------------------


def key(base: Study, point: dict[str, float], version: str = "1") -> str:
    return Keys(base, version).of(point)


def test_a_key_changes_with_every_input_and_with_no_name() -> None:
    base, point = study(), {"bottom_gauge": 0.265, "dome_depth": 10.4}
    first = key(base, point)
    assert len(first) == 64
    assert set(first) <= set("0123456789abcdef")
    same = [
        (replace(base, name="another"), point, "1"),
        (replace(base, profile=replace(NORTH, name="another")), point, "1"),
        (base, dict(reversed(point.items())), "1"),
        # a plan that comes to the same bottom
        (replace(base, varied=(GAUGES,)), {"bottom_gauge": 0.265, "dome_depth": 10.4}, "1"),
        (replace(base, profile=NORTH.replaced(dome_depth=10.4)), {"bottom_gauge": 0.265}, "1"),
    ]
    for other, at, version in same:
        assert key(other, at, version) == first, other
    metal = NORTH.material
    different = [
        (base, {**point, "bottom_gauge": 0.2650001}, "1"),
        (base, {**point, "dome_depth": 10.4000001}, "1"),
        (base, point, "2"),
        (replace(base, settings=Settings(resolution=0.001)), point, "1"),
        (replace(base, settings=Settings(waves=19)), point, "1"),
        (replace(base, profile=NORTH.replaced(body_diameter=66.3)), point, "1"),
        (replace(base, profile=NORTH.replaced(poisson_ratio=0.32)), point, "1"),
        (
            replace(base, profile=NORTH.replaced(yield_strength=(metal.yield_strength or 0) + 1.0)),
            point, "1",
        ),
        (
            replace(base, profile=NORTH.replaced(zones=(Zone(part="nose", prior_strain=0.1),))),
            point, "1",
        ),
    ]  # fmt: skip
    found = [key(*one) for one in different]
    assert len({first, *found}) == len(found) + 1


def test_a_point_that_makes_no_bottom_has_a_key_of_its_own() -> None:
    base = study()
    one, other = ({"bottom_gauge": 0.265, "dome_depth": depth} for depth in (2.0, 2.1))
    assert len({key(base, one), key(base, other), key(base, {"bottom_gauge": 0.265})}) == 3
    assert key(base, one) == key(study(DEPTHS), dict(one))


@dataclass(frozen=True)
class Part:
    name: str = "for people"
    width: float = 2.0
    pair: tuple[int, float] = (1, -0.0)
    more: dict[str, Any] = field(default_factory=lambda: {"a": True, "b": None, "c": "text"})


def test_plain_form_of_inputs() -> None:
    """By hand: names for people left out, numbers as floats, minus nought as nought."""
    plain = canonical(Part())
    assert plain == {
        "is": "Part", "width": 2.0, "pair": [1.0, 0.0], "more": {"a": True, "b": None, "c": "text"},
    }  # fmt: skip
    assert json.dumps(plain["pair"]) == "[1.0, 0.0]"
    assert plain["more"]["a"] is True
    assert json.dumps(canonical(Part(width=2))) == json.dumps(plain)


# --- what is kept --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    part: str = "nose"
    r_mm: float = 23.5


@dataclass(frozen=True)
class Grown:
    pressure_mpa: float = 0.41368543759
    travel_mm: float = 0.5
    permanent_mm: float | None = None
    reason: str = "not told of"


@dataclass(frozen=True)
class Record:
    kind: str = "limit"
    reason: str = ""
    reversal_pressure_mpa: float = 0.6
    ok: bool = True
    place: Place = Place()
    odd: float = math.inf
    curve: tuple[float, ...] = (1.0, 2.0)
    nothing: None = None
    growth: tuple[Grown, ...] = (Grown(),)
    seconds: float = 3.0


def test_outputs_of_a_record_have_the_names_of_its_parts() -> None:
    assert outputs_of(Record()) == {
        "reversal_pressure_mpa": 0.6, "ok": True, "place_part": "nose", "place_r_mm": 23.5,
        "odd": None, "at_0.4137_mpa_travel_mm": 0.5,
    }  # fmt: skip


def stored(path: Path, results: list[Result], planned: list[str] | None = None) -> Store:
    store = Store.open(path)
    names = planned or [one.key for one in results]
    store.replace_plan(((name, {"bottom_gauge": 0.26 + i / 1e3}) for i, name in enumerate(names)),
                       {"study": study(GAUGES).to_json()})  # fmt: skip
    store.add(results, "1")
    return store


def test_a_crashed_case_is_kept_and_tried_again_only_if_it_may_pass(tmp_path: Path) -> None:
    results = [
        Result("a", "limit", "", {"reversal_pressure_mpa": 0.6}, 1.5),
        Result("b", CRASHED, "the worker died", {}, 0.1),
        Result("c", FAILED, "no room", {}, 0.2, passing=True, detail="where"),
    ]
    with stored(tmp_path / "s.sqlite", results, ["a", "b", "c", "d", "b", "d"]) as store:
        assert store.planned() == 6
        assert store.counts() == {"limit": 1, CRASHED: 2, FAILED: 1, "": 2}
        assert [name for name, _ in store.left()] == ["c", "d"]
        assert store.points_left() == 2
        assert [name for name, _ in store.left(page=1)] == ["c", "d"]
        rows = list(store.rows())
        assert [row["number"] for row in rows] == [1, 2, 3, 4, 5, 6]
        assert [row["state"] for row in rows] == ["limit", CRASHED, FAILED, "", CRASHED, ""]
        assert [row["reason"] for row in rows][1:3] == ["the worker died", "no room"]
        assert [row["seconds"] for row in rows][:3] == [1.5, 0.1, 0.2]
        assert [row["detail"] for row in rows][:3] == ["", "", "where"]
        assert [row["outputs"] for row in rows][:2] == [{"reversal_pressure_mpa": 0.6}, {}]
        assert store.reasons() == [(CRASHED, "the worker died", 2), (FAILED, "no room", 1)]
    table = read_table(tmp_path / "s.sqlite")
    assert table["state"].tolist() == ["limit", CRASHED, FAILED, "", CRASHED, ""]
    assert table["reversal_pressure_mpa"].isna().tolist() == [False] + [True] * 5


def test_reasons_come_with_the_commonest_first(tmp_path: Path) -> None:
    reasons = ["b", "a", "b", "c", "a", "b", ""]
    results = [
        Result(f"k{i}", "limit" if not why else "not_converged", why, {}, 0.1)
        for i, why in enumerate(reasons)
    ]
    with stored(tmp_path / "s.sqlite", results) as store:
        wanted = Counter(why for why in reasons if why)
        assert store.reasons() == [
            ("not_converged", why, n)
            for why, n in sorted(wanted.items(), key=lambda x: (-x[1], x[0]))
        ]


@pytest.mark.parametrize("column", ["state", "reason", "outputs", "solver"])
def test_a_row_that_somebody_changed_is_noticed(tmp_path: Path, column: str) -> None:
    path = tmp_path / "s.sqlite"
    results = [Result(name, "limit", "why", {"x": 1.5}, 0.1) for name in "ab"]
    stored(path, results).close()
    assert len(read_table(path)) == 2
    with sqlite3.connect(path) as db:
        changed = db.execute(
            f"UPDATE cases SET {column} = replace({column}, ?, ?) WHERE key = 'b'",
            {"state": "ml", "reason": "wW", "outputs": "16", "solver": "12"}[column],
        )
        assert changed.rowcount == 1
    with pytest.raises(DamagedStoreError, match="case b has changed"):
        read_table(path)


def test_what_was_stored_is_replaced_and_outputs_keep_their_kinds(tmp_path: Path) -> None:
    with stored(tmp_path / "s.sqlite", [Result("a", FAILED, "no", {}, 0.1, passing=True)]) as store:
        store.add([Result("a", "limit", "", {"p": 1.0, "place": "nose", "none": None}, 0.2)], "2")
        (row,) = store.rows()
        assert (row["state"], row["solver"], row["outputs"]["p"]) == ("limit", "2", 1.0)
        assert store.output_names() == {"p": "number", "place": "text", "none": "number"}
        assert store.points_left() == 0
        assert store.meta("nothing") is None
        with pytest.raises(StoreError, match="in use"):
            Store.open(tmp_path / "s.sqlite")


# --- plans ---------------------------------------------------------------------------------------


def test_plans_have_the_points_they_say() -> None:
    """itertools, scipy.stats.qmc, and the size of a Saltelli design, N (d + 2)."""
    grid = study()
    expected = [
        {"bottom_gauge": g, "dome_depth": d}
        for g, d in itertools.product(GAUGES.values, DEPTHS.values)
    ]
    assert list(points(grid)) == expected
    assert count(grid) == 6
    listed = study(GAUGES, replace(DEPTHS, values=(10.2, 10.3, 10.4)), plan=Plan("list"))
    assert list(points(listed)) == [
        {"bottom_gauge": g, "dome_depth": d} for g, d in zip(GAUGES.values, (10.2, 10.3, 10.4))
    ]
    assert count(listed) == 3
    sobol = study(plan=Plan("sobol", 5000, 7))
    drawn = np.array([list(point.values()) for point in points(sobol)])
    assert count(sobol) == len(drawn) == 5000
    engine = qmc.Sobol(2, scramble=True, rng=np.random.default_rng(7))
    unit = engine.random(8192)[:5000]
    np.testing.assert_allclose(drawn, [0.26, 10.2] + unit * [0.01, 0.2], rtol=1e-12)
    saltelli = study(plan=Plan("saltelli", 64, 3))
    drawn = np.array([list(point.values()) for point in points(saltelli)])
    assert count(saltelli) == len(drawn) == 64 * 4
    assert drawn[:, 0].min() >= 0.26
    assert drawn[:, 1].max() <= 10.4
    # between the two base rows of a block, one column at a time is that of the other
    block = drawn[:4]
    np.testing.assert_array_equal(block[1], [block[3, 0], block[0, 1]])
    np.testing.assert_array_equal(block[2], [block[0, 0], block[3, 1]])


# --- tables --------------------------------------------------------------------------------------


def test_a_table_has_degrees_margins_and_the_same_rows_page_by_page(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    run_study(study(ANGLES, GAUGES, required=0.6), path, Serial, stand_in.STRAIGHT)
    table = read_table(path)
    assert table["inner_leg_angle_deg"].tolist() == pytest.approx(
        [math.degrees(angle) for angle in (0.05, 0.06) for _ in range(3)]
    )
    # 90 psi at 0.265 mm and half a psi a micrometre: the stand-in's own line
    psi = [
        90.0 + 8.0 * (NORTH.shape.dome_depth - 10.4) + 500.0 * (g - 0.265) for g in GAUGES.values
    ]
    assert table["reversal_pressure_mpa"].tolist() == pytest.approx(
        [p * stand_in.PSI for p in psi] * 2, rel=1e-12
    )
    np.testing.assert_allclose(
        table["margin"], table["reversal_pressure_mpa"] / 0.6 - 1.0, rtol=1e-12
    )
    assert table["case"].tolist() == [1, 2, 3, 4, 5, 6]
    assert list(table.columns)[:4] == ["case", "inner_leg_angle_deg", "bottom_gauge_mm", "state"]
    pages = list(pages_of(path, page=4))
    assert [len(page) for page in pages] == [4, 2]
    assert [len(page) for page in pages_of(path, page=3)] == [3, 3]
    np.testing.assert_array_equal(np.concatenate([page["case"] for page in pages]), table["case"])
    assert export(path, tmp_path / "t.csv") == 6
    assert export(path, tmp_path / "t.parquet") == 6
