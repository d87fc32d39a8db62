"""Power cuts, full disks, failing disks, rescues side by side, spoiled stores in every command.

Each result is judged by an uninterrupted run of the same study: brute force, no other source.
"""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import study_stand_in as stand_in
from test_study_runner import gauges, table
from typer.testing import CliRunner

from domemargin.profiles.tooling.files import load_tooling
from domemargin.studies.cli.app import app
from domemargin.studies.doming.study import Doming, DomingStudy, write_doming_table
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.runner import Progress, run_study, run_task
from domemargin.studies.study.salvage import readable_rows
from domemargin.studies.study.store import DamagedStoreError, Store, StoreError
from domemargin.studies.whole_files import UnwrittenError


def solve(path: Path, repeat: int = 1) -> pd.DataFrame:
    run_study(gauges(repeat=repeat), path, Serial, stand_in.STRAIGHT)
    return table(path)


def spoil(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("UPDATE cases SET outputs = '{}' WHERE id = 2")
    db.close()


def test_every_commit_waits_for_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed = []
    fsync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda h: (flushed.append(os.fstat(h).st_ino), fsync(h)))
    with Store.open(tmp_path / "s.sqlite") as store:
        # SQLite's manual: in WAL mode, FULL (2) syncs the log after each commit
        assert store._db.execute("PRAGMA synchronous").fetchone() == (2,)
        assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert tmp_path.stat().st_ino in flushed  # the name of the new file


def test_a_power_cut_in_the_midst_of_a_commit_leaves_the_commits_before(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    copies = []

    def cut(progress: Progress) -> None:
        log = Path(f"{path}-wal")
        if not copies and progress.done == 6:
            for part in range(10):
                copy = tmp_path / f"{part}.sqlite"
                shutil.copy(path, copy)
                raw = log.read_bytes()
                # the end of the log is not on the disk
                Path(f"{copy}-wal").write_bytes(raw[: len(raw) * (part + 1) // 11])
                copies.append(copy)

    run_study(gauges(), path, Serial, stand_in.STRAIGHT, cut)
    calm = table(path)
    solved = []
    for copy in copies:
        with Store.open(copy) as store:
            solved.append(sum(row["state"] != "" for row in store.rows()))
        pd.testing.assert_frame_equal(solve(copy), calm, check_exact=True)
    assert solved == sorted(solved)
    assert 0 <= solved[0] < solved[-1] <= 6


def test_a_disk_that_fills_up_loses_nothing_that_was_stored(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    calm = solve(tmp_path / "calm.sqlite", 30)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill(progress: Progress) -> None:
        if progress.done == 100:  # no file may grow beyond what the log has now
            size = Path(f"{path}-wal").stat().st_size
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))

    try:
        with pytest.raises(StoreError, match="make room and run the study again"):
            run_study(gauges(repeat=30), path, Serial, stand_in.STRAIGHT, fill)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert (table(path)["state"] != "").sum() >= 100
    pd.testing.assert_frame_equal(solve(path, 30), calm, check_exact=True)


def test_a_disk_that_does_not_flush_is_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = DomingStudy("s", load_tooling("north"), {"station.set": (0.1, 1.0)}, 4, 1)
    path, to = tmp_path / "s.sqlite", tmp_path / "doming-study.csv"
    run_task(Doming(study, "1", stand_in.form), path, Serial)
    to.write_text("before")

    def fail(handle: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(UnwrittenError, match="Input/output error"):
        write_doming_table(to, study, path)
    assert to.read_text() == "before"
    with pytest.raises(StoreError, match=r"cannot be made: .*Input/output error"):
        Store.open(tmp_path / "new.sqlite")
    monkeypatch.undo()
    write_doming_table(to, study, path)
    assert len(to.read_text().splitlines()) == 5
    assert sorted(p.name for p in tmp_path.iterdir() if p.suffix == ".tmp") == []


def test_two_rescues_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    calm = solve(path, 8)
    spoil(path)

    def attempt(_: int) -> Any:
        try:
            return rescue(path)
        except StoreError as error:
            assert "in use by another run" in str(error)  # noqa: PT017
            return None

    with ThreadPoolExecutor(2) as pool:
        ends = list(pool.map(attempt, range(2)))
    assert sum(end is not None and end[0] == 63 for end in ends) == 1
    assert run_study(gauges(repeat=8), path, Serial, stand_in.STRAIGHT).solved == 1
    pd.testing.assert_frame_equal(table(path), calm, check_exact=True)


@pytest.mark.parametrize("done", range(6))
def test_a_rescue_stopped_anywhere_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, done: int
) -> None:
    """Stopped before its nth change to the names of files."""
    path = tmp_path / "study.sqlite"
    calm = solve(path)
    spoil(path)
    left = done

    def counted(change: Any) -> Any:
        def changed(*arguments: Any, **more: Any) -> Any:
            nonlocal left
            if left == 0:
                raise KeyboardInterrupt
            left -= 1
            return change(*arguments, **more)

        return changed

    with monkeypatch.context() as patched:
        for name in ("link", "replace", "unlink"):
            patched.setattr(os, name, counted(getattr(os, name)))
        with contextlib.suppress(KeyboardInterrupt):
            rescue(path)
    stores = [p for p in tmp_path.glob("study*.sqlite") if p.exists()]
    assert max(sum(1 for _ in readable_rows(p)) for p in stores) == 7
    rescue(path)
    assert run_study(gauges(), path, Serial, stand_in.STRAIGHT).solved == 1
    pd.testing.assert_frame_equal(table(path), calm, check_exact=True)


@pytest.mark.parametrize("number", [2**63 - 1, 10**12, -5, 50_000])
def test_a_rescue_passes_damaged_numbers_of_rows(tmp_path: Path, number: int) -> None:
    path = tmp_path / "study.sqlite"
    calm = solve(path, 60)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE cases SET id = ? WHERE id = 300", (number,))
        db.execute("UPDATE cases SET seconds = 9 WHERE id = 5")
    db.close()
    kept, _ = rescue(path)
    assert kept == 479
    pd.testing.assert_frame_equal(solve(path, 60), calm, check_exact=True)


def test_a_rescue_finds_rows_behind_a_long_gap(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    solve(path)
    with sqlite3.connect(path) as db:  # as after many cases that were tried again
        db.execute("UPDATE cases SET id = id + 1000000 WHERE id > 4")
        db.execute("UPDATE meta SET value = 'x' WHERE name = 'study'")
    db.close()
    assert rescue(path)[0] == 8


PLAN = 'name = "p"\ncases = 4\n[vary]\n"station.set" = ["0.1 mm", "0.5 mm"]\n'
COMMANDS = {
    "study": (["study", "depth-gauge", "--out", "."], "study.sqlite"),
    "margin": (["margin", "."], "study.sqlite"),
    "compare": (["compare", ".", "."], "study.sqlite"),
    "scatter": (["scatter", "line-scatter", "--out", "."], "training.sqlite"),
    "doming": (["doming", "north", "--study", "p.toml", "--out", "."], "doming-study.sqlite"),
}


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("how", ["altered", "cut", "empty", "other"])
def test_a_spoiled_store_is_one_sentence_in_every_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, how: str
) -> None:
    monkeypatch.chdir(tmp_path)
    arguments, file = COMMANDS[name]
    Path("p.toml").write_text(PLAN)
    path = tmp_path / file
    solve(path)
    if how == "altered":
        spoil(path)
    elif how == "cut":
        path.write_bytes(path.read_bytes()[:9000])
    elif how == "empty":
        path.write_bytes(b"")
    else:
        path.unlink()
        with sqlite3.connect(path) as db:
            db.execute("CREATE TABLE t (x)")
        db.close()
    before = path.read_bytes()
    error = CliRunner().invoke(app, arguments).exception
    # main() gives every InputError, as StoreError is, status 2
    assert isinstance(error, StoreError if how == "other" else DamagedStoreError)
    assert "\n" not in str(error)
    assert path.read_bytes() == before
    for beside in tmp_path.iterdir():
        assert beside.suffix not in (".csv", ".json", ".png", ".pdf")


def test_an_old_doming_study_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from domemargin.studies.doming import study as module

    monkeypatch.chdir(tmp_path)
    Path("p.toml").write_text(PLAN)
    Path("doming-study.jsonl").write_text("{}\n")
    monkeypatch.setattr(module, "doming_task", lambda plan: Doming(plan, "1", stand_in.form))
    arguments = ["doming", "north", "--study", "p.toml", "--out", ".", "--workers", "1"]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    assert "doming-study.jsonl' is of an earlier version and is no longer read" in done.stderr
    assert "4 cases formed" in done.output
