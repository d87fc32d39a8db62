"""No wrong answer, nothing lost: altered stores, cases without end, other code, doming studies.

Each result is judged by an uninterrupted run of the same study: brute force, no other source.
"""

from __future__ import annotations

import csv
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
import study_stand_in as stand_in
from test_study_runner import TWO, gauges, table

from domemargin.profiles.tooling.files import load_tooling
from domemargin.studies.doming.study import Doming, DomingStudy, tooling_at, write_doming_table
from domemargin.studies.study.engines import Cluster, Processes, Serial, WorkerError
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.runner import run_study, run_task
from domemargin.studies.study.store import DamagedStoreError, Store, StoreError
from domemargin.studies.study.table import read_table

ROOT = Path(__file__).parent.parent


def clone(to: Path) -> Path:
    """A copy of the package that a process started in `to` imports; returns its folder."""
    for package in ("fea", "profiles", "studies"):
        shutil.copytree(
            ROOT / package,
            to / "domemargin" / package,
            ignore=shutil.ignore_patterns("__pycache__"),
        )
    return to / "domemargin"


ALTERATIONS = {
    "a point": "UPDATE plan SET point = replace(point, '0.26', '0.27') WHERE number = 1",
    "two keys": "UPDATE plan SET key = (SELECT p.key FROM plan p WHERE p.number = 3 - plan.number)"
    " WHERE number < 3",
    "a point lost": "DELETE FROM plan WHERE number = 8",
    "the study": "UPDATE meta SET value = replace(value, '0.62', '0.63') WHERE name = 'study'",
    "an answer": "UPDATE cases SET outputs = replace(outputs, '0.6', '0.7') WHERE id = 1",
    "no JSON": "UPDATE cases SET outputs = '{' WHERE id = 1",
    "no text": "UPDATE cases SET reason = CAST(x'ff' AS TEXT) WHERE id = 2",
    "the passing mark": "UPDATE cases SET passing = 1 WHERE id = 1",
    "the seconds": "UPDATE cases SET seconds = 9 WHERE id = 1",
    "no table": "DROP TABLE plan",
    "a description lost": "DELETE FROM meta WHERE name = 'study'",
    "the whole lost": "DELETE FROM meta WHERE name = 'whole'",
    "the application": "PRAGMA application_id = 5",
    "a version to come": "PRAGMA user_version = 77",
    "the version before": "PRAGMA user_version = 1",
    "no version": "PRAGMA user_version = 0",
}


@pytest.mark.parametrize("what", ALTERATIONS)
def test_an_altered_store_is_rejected_and_rescued(tmp_path: Path, what: str) -> None:
    path = tmp_path / "study.sqlite"
    run_study(gauges(), path, Serial, stand_in.STRAIGHT)
    calm = table(path)
    db = sqlite3.connect(path)
    with db:
        db.execute(ALTERATIONS[what])
    db.close()
    for use in (read_table, Store.open, partial(run_study, gauges(), engine=Serial)):
        with pytest.raises(DamagedStoreError, match="--rescue") as caught:
            use(path)
        assert "\n" not in str(caught.value)
    rescue(path)
    outcome = run_study(gauges(), path, Serial, stand_in.STRAIGHT)
    assert outcome.solved <= 1
    pd.testing.assert_frame_equal(calm, table(path), check_exact=True)


def test_a_rescue_waits_for_no_run_and_moves_nothing_of_it(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    run_study(gauges(), path, Serial, stand_in.STRAIGHT)
    before = sorted(p.name for p in tmp_path.iterdir())
    with Store.open(path), pytest.raises(StoreError, match="in use by another run"):
        rescue(path)
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    assert rescue(path) == (0, None)  # sound: left as it is


def test_a_rescue_that_was_stopped_half_way_loses_nothing(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    run_study(gauges(), path, Serial, stand_in.STRAIGHT)
    calm = table(path)
    path.replace(tmp_path / "study.damaged.sqlite")
    assert rescue(path) == (8, None)
    assert run_study(gauges(), path, Serial, stand_in.STRAIGHT).solved == 0
    pd.testing.assert_frame_equal(calm, table(path), check_exact=True)


def test_a_copied_store_keeps_what_stands_in_its_log(tmp_path: Path) -> None:
    path, copy = tmp_path / "study.sqlite", tmp_path / "copy.sqlite"
    with Store.open(path) as store:
        store.add([], "stand-in 1")
        run = {"key": "a" * 64, "state": "limit", "reason": "", "outputs": {"x": 1.0}}
        store.add([stand_in.result(**run)], "stand-in 1")
        for tail in ("", "-wal"):
            shutil.copy(f"{path}{tail}", f"{copy}{tail}")
    db = sqlite3.connect(copy)
    with db:
        db.execute("INSERT INTO meta VALUES ('study', 'x', 'y')")
    db.close()
    kept, aside = rescue(copy)
    assert kept == 1
    assert aside is not None


def test_a_case_over_its_limit_is_named_and_holds_nobody(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    started = time.monotonic()
    # the kernels may have to be compiled for other tests: here nothing is
    outcome = run_study(gauges(), path, TWO, stand_in.STUCK, limit=2.0)
    assert outcome.counts == {"limit": 7, "over_time": 1}
    assert "limit of 2 s" in outcome.reasons[0][1]
    assert time.monotonic() - started < 60.0
    with Store.read(path) as store:
        assert "study_stand_in.py" in next(r["detail"] for r in store.rows() if r["detail"])


def test_a_doming_study_with_ten_killers_is_one_run(tmp_path: Path) -> None:
    study = DomingStudy("killers", load_tooling("north"), {"station.set": (0.0, 1.0)}, 200, 1)
    # brute force: which points kill follows from the plan
    killers = sum(tooling_at(study.tooling, p).set < 0.05 for p in study.points())
    assert killers == 10
    path = tmp_path / "s.sqlite"
    outcome = run_task(Doming(study, "1", stand_in.form), path, partial(Processes, 2))
    assert outcome.counts == {"formed": 190, "crashed": 10}
    write_doming_table(tmp_path / "t.csv", study, path)
    with (tmp_path / "t.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 200
    for row in rows:
        if row["kind"] == "formed":
            assert float(row["depth_mm"]) == 10.0 + float(row["station.set (mm)"])
        else:
            assert "died" in row["reason"]


@pytest.mark.parametrize("what", ["other", "missing"])
def test_a_cluster_worker_with_other_code_gets_no_case(tmp_path: Path, what: str) -> None:
    pytest.importorskip("distributed")
    if what == "other":
        with (clone(tmp_path) / "fea" / "bottom" / "reversal.py").open(
            "a", encoding="utf-8"
        ) as file:
            file.write("# other\n")
    else:  # as where it is not installed
        (tmp_path / "domemargin.py").write_text("raise ImportError('not here')\n")
    from distributed import LocalCluster

    with LocalCluster(n_workers=0, processes=True, dashboard_address=None) as made:
        address = made.scheduler_address
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-nanny",
             "--no-dashboard"],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path)},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            started = time.monotonic()
            for _ in range(2):  # it comes late, then it is there
                with pytest.raises(WorkerError, match="install the same version"):
                    run_study(gauges(), tmp_path / "s.sqlite", lambda: Cluster(address),
                              stand_in.STRAIGHT)  # fmt: skip
            assert time.monotonic() - started < 60.0
            assert read_table(tmp_path / "s.sqlite")["state"].eq("").all()
        finally:
            worker.kill()
            worker.wait()


def test_a_change_in_a_package_of_a_package_changes_both_digests(tmp_path: Path) -> None:
    deep = clone(tmp_path) / "fea" / "deep" / "deeper"
    deep.mkdir(parents=True)
    ask = (
        "from domemargin.studies.study.cases import solver_version;"
        "from domemargin.fea.compiled import sources;"
        "print(solver_version(), sources())"
    )

    def digests() -> list[str]:
        run = subprocess.run(
            [sys.executable, "-c", ask],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "PYTHONPATH": ""},
        )
        return run.stdout.split()

    (deep / "module.py").write_text("# @kernel\nA = 1\n")
    one = digests()
    (deep / "module.py").write_text("# @kernel\nA = 2\n")
    two = digests()
    (deep / "module.py").rename(deep.parent / "module.py")
    three = digests()
    assert len({one[0], two[0], three[0]}) == 3
    assert len({one[1], two[1], three[1]}) == 3


def test_a_varied_yield_strength_moves_a_tabled_curve() -> None:
    from dataclasses import replace

    from domemargin.profiles import Table

    tooling = load_tooling("north")
    curve = Table((0.0, 0.1), (250.0, 300.0))
    tooling = tooling.replaced(
        material=replace(tooling.material, yield_strength=250.0, hardening=curve)
    )
    moved = tooling_at(tooling, {"material.yield_strength": 260.0}).material
    # definition: the whole curve moves by 10 MPa
    assert moved.hardening == Table((0.0, 0.1), (260.0, 310.0))


def test_long_names_alike_in_their_beginning_have_two_folders() -> None:
    from domemargin.studies.cli.shared.runs import slug

    assert slug("a" * 60 + "1") != slug("a" * 60 + "2")
    assert slug("b" * 60) == "b" * 60
    assert len(slug("a" * 99)) <= 60
