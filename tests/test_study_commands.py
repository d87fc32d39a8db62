"""The study commands as their user meets them, in subprocesses without a terminal."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from test_study_runner import stored

COMMAND = (sys.executable, "-c", "from domemargin.studies.cli.app import main; main()")
CAUTION = "A model estimate, to be confirmed by a reversal test on real cans"
SMALL = """
name = "Small"
profile = "north"
required_pressure = "90 psi"

[vary.die_set_back]
from = "0 mm"
to = "0.6 mm"
steps = 3

[vary.bottom_gauge]
values = ["0.265 mm", "0.27 mm"]
"""


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments], cwd=cwd, capture_output=True, encoding="utf-8", timeout=300
    )


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the small study was run on two bottoms."""
    made = tmp_path_factory.mktemp("commands")
    (made / "small.toml").write_text(SMALL, encoding="utf-8")
    first = run("study", "small.toml", cwd=made)
    assert first.returncode == 0, first.stderr
    assert "6 cases planned, 6 solved now" in first.stdout
    assert CAUTION in flat(first.stdout)
    assert max(map(len, first.stdout.splitlines())) <= 80
    second = run("study", "small.toml", "--profile", "harbour", "--out", "b", cwd=made)
    assert second.returncode == 0, second.stderr
    return made


def test_a_study_leaves_a_store_and_tables(folder: Path) -> None:
    here = folder / "results" / "small"
    names = {p.name for p in here.iterdir() if not p.name.startswith(".")}
    assert {"study.sqlite", "cases.csv", "cases.parquet"} <= names
    assert not [name for name in names if name.endswith(("-wal", "-shm"))]
    table = pd.read_csv(here / "cases.csv")
    assert list(table["die_set_back_mm"]) == [0.0, 0.0, 0.3, 0.3, 0.6, 0.6]
    # less depth holds less, more gauge holds more
    by = table.pivot_table(
        index="die_set_back_mm", columns="bottom_gauge_mm", values="reversal_pressure_mpa"
    )
    assert (by.diff().dropna() < 0.0).all().all()
    assert (by.diff(axis=1).iloc[:, 1:] > 0.0).all().all()


def test_a_rerun_solves_nothing(folder: Path) -> None:
    done = run("study", "small.toml", "--json", cwd=folder)
    data = json.loads(done.stdout)
    assert data["solved"] == 0
    assert data["counts"] == {"limit": 6}


def test_margin_writes_a_figure_and_says_how_much_may_be_lost(folder: Path) -> None:
    done = run("margin", "results/small", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "Tolerable depth loss (depth lost, die set back)" in done.stdout
    assert "Slopes at the base bottom" in done.stdout
    assert "No surrogate" in done.stdout  # six cases are too few
    assert CAUTION in flat(done.stdout)
    data = json.loads((folder / "results/small/margin.json").read_text(encoding="utf-8"))
    losses = {t["at"]["bottom_gauge_mm"]: t["loss_mm"] for t in data["tolerable_depth_loss"]}
    assert losses[0.265] < losses[0.27]
    assert (folder / "results/small/margin.png").stat().st_size > 10_000
    assert data["caution"].startswith(CAUTION)


def test_compare_makes_one_page(folder: Path) -> None:
    done = run("compare", "results/small", "b", "--out", "c", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "6 of 6 points have both pressures" in done.stdout
    assert CAUTION in flat(done.stdout)
    told = run("compare", "results/small", "b", "--out", "c", "--json", cwd=folder)
    data = json.loads(told.stdout)
    assert (data["points"], data["points_with_both_pressures"]) == (6, 6)
    assert data["table"][0]["pressure_a_mpa"] != data["table"][0]["pressure_b_mpa"]
    assert {"quantity": "nose radius", "first": "1.5 mm", "second": "1.7 mm"} in data["differing"]
    pdf = (folder / "c" / "compare.pdf").read_bytes()
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1


def test_compare_rejects_different_studies(folder: Path) -> None:
    (folder / "other.toml").write_text(SMALL.replace("steps = 3", "steps = 2"), encoding="utf-8")
    assert run("study", "other.toml", "--out", "other", cwd=folder).returncode == 0
    done = run("compare", "results/small", "other", cwd=folder)
    assert done.returncode == 2
    assert "are results of different studies" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_scatter_says_a_share_with_its_interval(folder: Path) -> None:
    text = (
        'name = "Line"\nprofile = "north"\nrequired_pressure = "89 psi"\n'
        '[settings]\nresolution = "1 %"\nwaves = 0\n'
        '[scatter.bottom_gauge]\ntolerance = "0.006 mm"\n'
        '[scatter.dome_depth]\nnormal = "0.04 mm"\n'
    )
    (folder / "line.toml").write_text(text, encoding="utf-8")
    done = run("scatter", "line.toml", "--training", "32", "--cans", "5000", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "95 % interval" in done.stdout
    assert "Which scatter matters" in done.stdout
    assert CAUTION in flat(done.stdout)
    data = json.loads((folder / "results/line/scatter.json").read_text(encoding="utf-8"))
    low, high = data["interval_95"]
    assert 0.0 < low < data["share_below"] < high < 0.2


def test_ctrl_c_says_how_to_go_on(tmp_path: Path) -> None:
    runner = subprocess.Popen(
        [*COMMAND, "study", "overnight", "--out", "night"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True,
    )  # fmt: skip
    while stored(tmp_path / "night" / "study.sqlite") < 3:
        time.sleep(0.2)
        assert runner.poll() is None
    time.sleep(5.5)  # a line is due every five seconds
    os.killpg(runner.pid, signal.SIGINT)
    out, errors = runner.communicate(timeout=60)
    assert runner.returncode == 130
    assert "Interrupted; run the same command again to go on." in out
    assert "Traceback" not in errors
    # without a terminal: plain lines with rate, time left, failures
    assert re.search(r"\d+/2048 cases, .*left.*, 0 without an answer", errors), errors


def test_a_damaged_store_is_named_and_rescued(folder: Path) -> None:
    (folder / "d.toml").write_text(SMALL, encoding="utf-8")
    assert run("study", "d.toml", "--out", "d", cwd=folder).returncode == 0
    store = folder / "d" / "study.sqlite"
    raw = store.read_bytes()
    at = raw.index(b'{"reversal_pressure_mpa": 0.') + 29
    store.write_bytes(raw[:at] + (b"9" if raw[at : at + 1] != b"9" else b"8") + raw[at + 1 :])
    done = run("margin", "d", cwd=folder)
    assert done.returncode == 2
    assert "--rescue" in done.stderr
    again = run("study", "d.toml", "--out", "d", "--rescue", "--json", cwd=folder)
    assert "kept 5 cases" in again.stderr
    assert json.loads(again.stdout)["solved"] == 1


@pytest.mark.parametrize(("arguments", "words"), [
    (("study", "nowhere.toml"), "there is no study file"),
    (("study", "depth-gauge", "--require", "90"), "without a unit"),
    (("study", "line-scatter"), "vary is missing"),
    (("study", "depth-gauge", "--cluster", "x", "--workers", "2"), "--workers goes with"),
    (("margin", "nowhere"), "there is no study result"),
    (("margin", "nowhere", "--margin", "5"), "must be a percentage"),
    (("scatter", "depth-gauge"), "scatter is missing"),
])  # fmt: skip
def test_slips_end_in_one_sentence(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""


def test_ready_studies_are_listed(tmp_path: Path) -> None:
    done = run("studies", cwd=tmp_path)
    assert done.returncode == 0
    assert "overnight" in done.stdout
    assert "2048" in done.stdout


def test_bottoms_of_different_domes_differ_in_their_radii_and_metal() -> None:
    from domemargin.profiles import load_profile
    from domemargin.studies.margin.compare import differing

    # the ready profiles' files
    rows = {name: (a, b) for name, a, b in differing(load_profile("north"), load_profile("south"))}
    assert rows["dome radius"] == ("47 mm", "52 / 40 mm")
    assert rows["yield strength"] == ("255 MPa", "270 MPa")
    assert rows["metal"] == ("AA3104-H19 after baking", "AA3104-H19 as rolled")
    assert "poisson ratio" not in rows
    north = load_profile("north")
    assert differing(north, north) == ()


def test_a_folder_of_another_study_is_named(folder: Path) -> None:
    (folder / "one.toml").write_text(SMALL.replace('"Small"', '"One"'), encoding="utf-8")
    assert run("study", "one.toml", "--out", "shared", cwd=folder).returncode == 0
    done = run("study", "small.toml", "--out", "shared", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "'shared' held the study 'One'; its cases stay in the store" in flat(done.stderr)
    again = run("study", "small.toml", "--out", "shared", cwd=folder)
    assert "held the study" not in again.stderr
