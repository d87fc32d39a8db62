"""Running a study: nothing is lost, nothing is done twice, whatever dies and wherever it runs."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pandas as pd
import psutil
import pytest
import study_stand_in as stand_in

from domemargin.profiles import load_profile
from domemargin.studies.study.cases import Solver
from domemargin.studies.study.engines import Cluster, Engine, Processes, Serial
from domemargin.studies.study.runner import Progress, run_study
from domemargin.studies.study.sampling import count
from domemargin.studies.study.store import Store, StoreError
from domemargin.studies.study.study import Plan, Study, Varied
from domemargin.studies.study.study_file import load_study
from domemargin.studies.study.table import comparable, read_table

HERE = Path(__file__).parent
TWO = partial(Processes, 2)


def gauges(first: int = 260, last: int = 267, repeat: int = 1) -> Study:
    """A study over gauges, micrometres, and `repeat` depths."""
    values = tuple(g / 1000.0 for g in range(first, last + 1))
    depths = tuple(10.4 - 0.01 * i for i in range(repeat))
    return Study(
        "gauges",
        load_profile("north"),
        (
            Varied("bottom_gauge", values, values[0], values[-1]),
            Varied("dome_depth", depths, depths[-1], depths[0]),
        ),
        required=0.62,
    )


def table(path: Path) -> pd.DataFrame:
    return comparable(read_table(path))


@pytest.fixture(scope="module")
def cluster() -> object:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as made:
        yield made


def test_every_ending_is_a_row_and_a_rerun_tries_only_passing_failures(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    outcome = run_study(gauges(), path, Serial, stand_in.MOODY)
    assert outcome.counts == {
        "limit": 4, "not_converged": 1, "none_below_ceiling": 1, "failed": 2,
    }  # fmt: skip
    rows = read_table(path).set_index("bottom_gauge_mm")
    assert rows.loc[0.261, "reason"] == "the step became too short"
    assert rows.loc[0.263, "reason"] == "ZeroDivisionError: a slip in the program"
    assert rows["reversal_pressure_mpa"].isna().sum() == 4
    assert rows.loc[0.26, "margin"] == pytest.approx((87.5 * stand_in.PSI) / 0.62 - 1.0)
    with Store.read(path) as store:
        detail = next(r["detail"] for r in store.rows() if r["point"]["bottom_gauge"] == 0.263)
    assert "study_stand_in.py" in detail

    again = run_study(gauges(), path, Serial, stand_in.STRAIGHT)
    assert again.solved == 1  # only the case that had no memory
    assert again.counts["limit"] == 5


def test_a_bottom_that_does_not_close_is_a_row(tmp_path: Path) -> None:
    depths = (10.4, 2.0)
    study = Study("depths", load_profile("north"), (Varied("dome_depth", depths, *depths),))
    run_study(study, tmp_path / "s.sqlite", Serial, stand_in.STRAIGHT)
    row = table(tmp_path / "s.sqlite").iloc[1]
    assert row["state"] == "invalid_geometry"
    assert "dome_depth" in row["reason"]


def test_an_edited_study_solves_only_what_is_new(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    assert run_study(gauges(260, 264), path, Serial, stand_in.STRAIGHT).solved == 5
    assert run_study(gauges(262, 267), path, Serial, stand_in.STRAIGHT).solved == 3
    assert len(read_table(path)) == 6
    # another requirement changes no solve
    other = replace(gauges(262, 267), required=0.6)
    assert run_study(other, path, Serial, stand_in.STRAIGHT).solved == 0
    assert read_table(path)["margin"].iloc[0] == pytest.approx(88.5 * stand_in.PSI / 0.6 - 1.0)
    # another solver solves all anew, and results of the two are never mixed
    newer = Solver(stand_in.straight, "stand-in 2")
    assert run_study(gauges(262, 267), path, Serial, newer).solved == 6
    assert set(read_table(path)["solver"]) == {"stand-in 2"}


def test_one_bottom_planned_twice_is_solved_once(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    twice = (0.26, 0.261, 0.26)
    study = replace(
        gauges(), varied=(Varied("bottom_gauge", twice, 0.26, 0.261),), plan=Plan("list")
    )
    assert run_study(study, path, Serial, stand_in.STRAIGHT).solved == 2
    pressures = read_table(path)["reversal_pressure_mpa"]
    assert len(pressures) == 3
    assert pressures[0] == pressures[2]


def test_processes_cluster_and_one_at_a_time_agree_bit_for_bit(
    tmp_path: Path, cluster: object
) -> None:
    """On the true solver."""
    study = load_study("depth-gauge")
    keep = {v.name: v.values[::3] for v in study.varied}
    study = replace(study, varied=tuple(replace(v, values=keep[v.name]) for v in study.varied))
    engines: dict[str, Callable[[], Engine]] = {
        "serial": Serial,
        "processes": TWO,
        "cluster": lambda: Cluster(cluster.scheduler_address),  # type: ignore[attr-defined]
    }
    tables = {}
    for name, engine in engines.items():
        outcome = run_study(study, tmp_path / f"{name}.sqlite", engine)
        assert outcome.counts == {"limit": count(study)}
        tables[name] = table(tmp_path / f"{name}.sqlite")
    pd.testing.assert_frame_equal(tables["serial"], tables["processes"], check_exact=True)
    pd.testing.assert_frame_equal(tables["serial"], tables["cluster"], check_exact=True)


@pytest.mark.parametrize("where", ["processes", "cluster"])
def test_the_case_that_kills_workers_is_told_from_its_neighbours(
    tmp_path: Path, where: str, cluster: object
) -> None:
    path = tmp_path / "study.sqlite"
    made: Callable[[], Engine] = TWO
    if where == "cluster":
        made = lambda: Cluster(cluster.scheduler_address)  # type: ignore[attr-defined]  # noqa: E731
    outcome = run_study(gauges(repeat=1), path, made, stand_in.DEADLY)
    assert outcome.counts == {"limit": 7, "crashed": 1}
    assert outcome.workers_lost >= 2
    crashed = read_table(path).query("state == 'crashed'")
    assert list(crashed["bottom_gauge_mm"]) == [0.263]
    assert "worker that solved it died" in crashed["reason"].iloc[0]


def test_a_case_that_never_ends_is_given_up(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    outcome = run_study(gauges(), path, TWO, stand_in.STUCK, patience=2.0)
    assert outcome.counts == {"limit": 7, "crashed": 1}
    assert "no answer within 2 s" in outcome.reasons[0][1]


def test_workers_that_are_killed_lose_nothing(tmp_path: Path) -> None:
    study = gauges(250, 280, 6)
    run_study(study, tmp_path / "calm.sqlite", Serial, stand_in.STRAIGHT)
    rng = random.Random(5)
    killed = 0
    last = 0
    # the workers of the cluster fixture are children too, and none of this run's
    others = {p.pid for p in psutil.Process().children(recursive=True)}

    def kill_one(progress: Progress) -> None:
        nonlocal killed, last
        if killed < 3 and progress.done >= last + 20:
            children = [p for p in psutil.Process().children() if p.pid not in others]
            workers = [p for p in children if "spawn_main" in str(p.cmdline())]
            if workers:
                rng.choice(workers).kill()
                killed, last = killed + 1, progress.done

    outcome = run_study(study, tmp_path / "rough.sqlite", TWO, stand_in.SLOW, kill_one)
    assert killed == 3
    # two kills may fall into one pool before its loss is noticed
    assert outcome.workers_lost >= 1
    assert outcome.counts == {"limit": count(study)}
    calm, rough = table(tmp_path / "calm.sqlite"), table(tmp_path / "rough.sqlite")
    pd.testing.assert_frame_equal(calm, rough, check_exact=True)


RUN = """
import sys
from functools import partial
from pathlib import Path
sys.path.insert(0, {here!r})
from domemargin.studies.study.engines import Processes
from domemargin.studies.study.runner import run_study
from {module} import STUDY, SOLVER
if __name__ == "__main__":
    outcome = run_study(STUDY, Path({path!r}), partial(Processes, 2), SOLVER)
    print(outcome.solved, outcome.interrupted)
"""


def start_run(tmp_path: Path, module: str) -> subprocess.Popen[str]:
    script = tmp_path / "run.py"
    path = str(tmp_path / "run.sqlite")
    script.write_text(RUN.format(here=str(HERE), module=module, path=path), encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def stored(path: Path) -> int:
    try:
        db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
        return int(db.execute("SELECT count(*) FROM cases").fetchone()[0])
    except sqlite3.Error:
        return 0


def kill_and_resume(tmp_path: Path, module: str, kills: int, seed: int, most: float) -> int:
    """Kill -9 the runner or one of its workers at random moments; returns runs started."""
    rng = random.Random(seed)
    runs = done = 0
    while done < kills:
        runner = start_run(tmp_path, module)
        runs += 1
        aim = psutil.Process(runner.pid)
        while done < kills and runner.poll() is None:
            time.sleep(rng.uniform(0.0, most))
            try:
                workers = [p for p in aim.children() if "spawn_main" in str(p.cmdline())]
                if rng.random() < 0.5 and workers:
                    rng.choice(workers).kill()
                    done += 1
                else:
                    aim.kill()
                    done += 1
                    runner.communicate()
                    _, alive = psutil.wait_procs(workers, timeout=10)
                    assert not alive, "workers outlive their runner"
                    break
            except psutil.NoSuchProcess:
                continue
        runner.communicate()
        if runner.returncode == 0:
            # all solved before the last kill: start over
            for file in tmp_path.glob("run.sqlite*"):
                file.unlink()
    return runs


def test_killed_at_random_moments_the_resumed_table_is_the_same(tmp_path: Path) -> None:
    from study_kill_quick import SOLVER, STUDY

    kill_and_resume(tmp_path, "study_kill_quick", kills=5, seed=1, most=4.0)
    last = start_run(tmp_path, "study_kill_quick")
    _, errors = last.communicate(timeout=120)
    assert last.returncode == 0, errors
    run_study(STUDY, tmp_path / "calm.sqlite", Serial, SOLVER._replace(solve=stand_in.straight))
    calm, rough = table(tmp_path / "calm.sqlite"), table(tmp_path / "run.sqlite")
    assert list(rough["case"]) == list(range(1, count(STUDY) + 1))
    pd.testing.assert_frame_equal(calm, rough, check_exact=True)
    # each bottom has one row in the store
    assert stored(tmp_path / "run.sqlite") == rough["key"].nunique()


@pytest.mark.slow
def test_killed_twenty_times_on_the_true_solver(tmp_path: Path) -> None:
    from study_kill_true import STUDY

    kill_and_resume(tmp_path, "study_kill_true", kills=20, seed=2, most=6.0)
    last = start_run(tmp_path, "study_kill_true")
    _, errors = last.communicate(timeout=600)
    assert last.returncode == 0, errors
    run_study(STUDY, tmp_path / "calm.sqlite", TWO)
    calm, rough = table(tmp_path / "calm.sqlite"), table(tmp_path / "run.sqlite")
    assert list(rough["case"]) == list(range(1, count(STUDY) + 1))
    pd.testing.assert_frame_equal(calm, rough, check_exact=True)
    assert stored(tmp_path / "run.sqlite") == rough["key"].nunique()


def test_ctrl_c_stores_what_is_in_hand_and_the_rest_follows(tmp_path: Path) -> None:
    from study_kill_quick import STUDY

    runner = start_run(tmp_path, "study_kill_quick")
    path = tmp_path / "run.sqlite"
    while stored(path) < 5:
        time.sleep(0.05)
        assert runner.poll() is None
    os.killpg(runner.pid, signal.SIGINT)  # as a terminal does: to the workers too
    out, errors = runner.communicate(timeout=30)
    assert runner.returncode == 0
    assert errors == ""
    solved, interrupted = out.split()
    assert interrupted == "True"
    assert int(solved) == stored(path) < count(STUDY)
    runner = start_run(tmp_path, "study_kill_quick")
    out, _ = runner.communicate(timeout=120)
    assert out.split() == [str(count(STUDY) - int(solved)), "False"]


def test_a_second_run_on_a_store_in_use_is_rejected(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    with Store.open(path), pytest.raises(StoreError, match="in use by another run"):
        run_study(gauges(), path, Serial, stand_in.STRAIGHT)


def test_a_store_can_be_read_while_the_study_runs(tmp_path: Path) -> None:
    path = tmp_path / "study.sqlite"
    seen = []

    def look(progress: Progress) -> None:
        seen.append((read_table(path)["state"] != "").sum())

    run_study(gauges(repeat=4), path, Serial, stand_in.STRAIGHT, look)
    assert seen[0] == 0
    assert seen[-1] == 32
    assert seen == sorted(seen)
    assert len(set(seen)) > 3


def test_memory_is_flat(tmp_path: Path) -> None:
    """Records are not held: ten times the cases take no more room.  The slow test has 100,000."""
    assert _growth(tmp_path, 4000) < 20.0


@pytest.mark.slow
def test_memory_is_flat_over_100000_cases(tmp_path: Path) -> None:
    assert _growth(tmp_path, 100_000) < 30.0


def _growth(tmp_path: Path, cases: int) -> float:
    """Growth of this process from a tenth of the run to its end, MB."""
    v = Varied("dome_depth", (), 10.0, 10.5), Varied("bottom_gauge", (), 0.25, 0.28)
    study = Study("many", load_profile("north"), v, Plan("sobol", cases, 3))
    at = []
    me = psutil.Process()

    def look(progress: Progress) -> None:
        if progress.done > cases // 10 and (not at or progress.done % 50 == 0):
            at.append(me.memory_info().rss / 1e6)

    run_study(study, tmp_path / "many.sqlite", Serial, stand_in.STRAIGHT, look)
    return max(at) - at[0]


@pytest.mark.slow
def test_two_cores_do_nearly_twice_the_work(tmp_path: Path) -> None:
    """Two workers against one in the same run: at least 0.9 of twice the speed."""
    study = load_study("overnight")
    study = replace(study, plan=replace(study.plan, cases=512))
    seconds = {}
    others = 0.0  # cores that everybody else used meanwhile
    for workers in (1, 2):
        busy, own, started = _busy(), _own(), time.monotonic()
        outcome = run_study(study, tmp_path / f"{workers}.sqlite", partial(Processes, workers))
        seconds[workers] = outcome.seconds
        took = time.monotonic() - started
        others = max(others, (_busy() - busy - (_own() - own)) / took)
    if others > 0.05:
        pytest.skip(f"others used {others:.2f} cores of this machine: {seconds} says nothing")
    assert seconds[1] / (2.0 * seconds[2]) >= 0.9, seconds


def _busy() -> float:
    """CPU time, s, that all processes of the machine have used."""
    times = psutil.cpu_times()
    return float(times.user + times.system + times.nice)


def _own() -> float:
    """CPU time, s, of this process and of its children that have ended."""
    return float(sum(psutil.Process().cpu_times()[:4]))
