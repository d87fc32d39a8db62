"""The store: old versions stay readable, damage is noticed and survived, exports are the table."""

from __future__ import annotations

import re
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import study_stand_in as stand_in
from test_study_runner import gauges

from domemargin.studies.study.cases import Result
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.rows import SCHEMA
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.store import DamagedStoreError, Store, StoreError
from domemargin.studies.study.study import Plan, Varied
from domemargin.studies.study.table import comparable, export, read_table, study_in

STORES = Path(__file__).parent / "data" / "stores"


def made(tmp_path: Path, repeat: int = 1) -> Path:
    path = tmp_path / "study.sqlite"
    run_study(gauges(repeat=repeat), path, Serial, stand_in.MOODY)
    return path


@pytest.mark.parametrize("version", range(1, SCHEMA + 1))
def test_stores_of_every_released_version_are_read(version: int, tmp_path: Path) -> None:
    old = STORES / f"v{version}.sqlite"
    path = tmp_path / "study.sqlite"
    shutil.copy(old, path)
    table = read_table(path)
    assert list(table["state"]) == ["limit", "not_converged", "none_below_ceiling", "failed"]
    assert table["bottom_gauge_mm"].tolist() == [0.26, 0.261, 0.262, 0.263]
    # the stand-in's pressure at 0.260 mm gauge: 90 - 2.5 psi
    assert table["reversal_pressure_mpa"][0] == pytest.approx(87.5 * stand_in.PSI, rel=1e-12)
    assert table["reversal_pressure_mpa"][1:].isna().all()
    assert study_in(path).name == "an old store"
    with Store.open(path) as store:  # and written on
        assert store.points_left() == 0


def test_every_schema_version_has_its_store() -> None:
    assert [p.name for p in sorted(STORES.glob("v*.sqlite"))] == [
        f"v{v}.sqlite" for v in range(1, SCHEMA + 1)
    ]


def test_a_newer_store_is_rejected(tmp_path: Path) -> None:
    path = made(tmp_path)
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version={SCHEMA + 1}")
    with pytest.raises(DamagedStoreError, match="header has changed"):
        read_table(path)  # a version has other tables: this one has them of today
    db.execute("ALTER TABLE cases ADD COLUMN mesh TEXT")
    db.close()
    with pytest.raises(StoreError, match="use a newer program"):
        read_table(path)


def test_what_is_no_store_is_rejected(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE t (x)")
    db.close()
    with pytest.raises(StoreError, match="is not the store of a study"):
        Store.open(path)
    with pytest.raises(StoreError, match="there is no store"):
        Store.read(tmp_path / "none.sqlite")
    empty = tmp_path / "empty.sqlite"
    empty.touch()
    with pytest.raises(DamagedStoreError, match="empty"):
        Store.open(empty)


@pytest.mark.parametrize("damage", ["cut short", "page overwritten", "header", "text changed"])
def test_a_damaged_store_is_rejected_and_what_can_be_read_is_rescued(
    tmp_path: Path, damage: str
) -> None:
    path = made(tmp_path, repeat=60)
    whole = comparable(read_table(path))
    raw = bytearray(path.read_bytes())
    if damage == "cut short":
        raw = raw[: len(raw) * 2 // 3]
    elif damage == "page overwritten":
        at = [m.start() for m in re.finditer(b"reversal_pressure_mpa", raw)][150]
        middle = at // 4096 * 4096
        raw[middle : middle + 4096] = np.random.default_rng(1).bytes(4096)
    elif damage == "header":
        raw[:100] = b"x" * 100
    else:
        # the answer of the first case, as a disk may change it: SQLite itself sees nothing
        at = raw.index(b'{"reversal_pressure_mpa": 0.')
        raw[at + 29] = ord("9") if raw[at + 29] != ord("9") else ord("8")
    path.write_bytes(raw)

    with pytest.raises(DamagedStoreError, match="--rescue") as caught:
        read_table(path)
    readable = caught.value.readable
    if damage == "header":
        assert readable == len(whole)
    elif damage == "text changed":
        assert readable == len(whole) - 1
    else:
        assert readable > 100

    kept, aside = rescue(path)
    assert kept == readable
    assert aside is not None
    assert aside.exists()
    outcome = run_study(gauges(repeat=60), path, Serial, stand_in.MOODY)
    # what failed for want of memory is tried again as ever
    assert len(whole) - kept <= outcome.solved <= len(whole) - kept + 60
    again = comparable(read_table(path))
    pd.testing.assert_frame_equal(whole, again, check_exact=True)


def test_a_damaged_store_is_not_started_anew(tmp_path: Path) -> None:
    path = made(tmp_path)
    path.write_bytes(path.read_bytes()[:5000])
    before = path.read_bytes()
    with pytest.raises(DamagedStoreError):
        run_study(gauges(), path, Serial, stand_in.MOODY)
    assert path.read_bytes() == before


def test_a_full_disk_keeps_what_was_stored(tmp_path: Path) -> None:
    path = made(tmp_path)
    with Store.open(path) as store:
        pages = store._db.execute("PRAGMA page_count").fetchone()[0]
        store._db.execute(f"PRAGMA max_page_count={pages}")  # as if there were no more room
        many = [Result(f"{i:064}", "limit", "", {"x": 0.1 * i}, 0.1) for i in range(1000)]
        with pytest.raises(StoreError, match="cannot be written"):
            store.add(many, "stand-in 1")
    assert len(read_table(path)) == 8
    assert (read_table(path)["state"] != "").all()


def test_csv_and_parquet_are_the_table(tmp_path: Path) -> None:
    path = made(tmp_path, repeat=3)
    table = read_table(path)
    for name, read in (("t.csv", pd.read_csv), ("t.parquet", pd.read_parquet)):
        assert export(path, tmp_path / name) == len(table)
        back = read(tmp_path / name)
        assert list(back.columns) == list(table.columns)
        for column in ("bottom_gauge_mm", "dome_depth_mm", "reversal_pressure_mpa", "margin"):
            np.testing.assert_array_equal(back[column], table[column])
        assert back["state"].tolist() == table["state"].tolist()


def test_tables_are_read_page_by_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = made(tmp_path, repeat=3)
    whole = read_table(path)
    from domemargin.studies.study import table as module

    pages = list(module.pages_of(path, page=7))
    assert [len(page) for page in pages] == [7, 7, 7, 3]
    pd.testing.assert_frame_equal(pd.concat(pages, ignore_index=True), whole)
    assert all((page.dtypes == whole.dtypes).all() for page in pages)


def test_angles_are_shown_in_degrees(tmp_path: Path) -> None:
    angle = (np.radians(2.0), np.radians(3.0))
    study = replace(gauges(), varied=(Varied("inner_leg_angle", angle, *angle),), plan=Plan("list"))
    run_study(study, tmp_path / "s.sqlite", Serial, stand_in.STRAIGHT)
    np.testing.assert_allclose(read_table(tmp_path / "s.sqlite")["inner_leg_angle_deg"], [2.0, 3.0])


def test_what_cannot_be_opened_is_not_called_damaged(tmp_path: Path) -> None:
    # a folder in its place, as no test can take rights from a user who has all
    folder = tmp_path / "study.sqlite"
    folder.mkdir()
    with pytest.raises(StoreError, match="cannot be opened: ") as rejected:
        Store.read(folder)
    assert "damaged" not in str(rejected.value)
    (tmp_path / ".other.sqlite.lock").mkdir()
    with pytest.raises(StoreError, match="cannot be written: "):
        Store.open(tmp_path / "other.sqlite")
