"""The command doming as a user meets it."""

from __future__ import annotations

import json
import math
import sqlite3
from pathlib import Path

import pytest
from typer.testing import CliRunner

from domemargin.studies.cli.app import app
from domemargin.studies.doming.budget import KNOBS, LEVEL, depth_budget

runner = CliRunner()


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_summary_and_files(here: Path) -> None:
    done = runner.invoke(app, ["doming", "north", "--parts"])
    assert done.exit_code == 0, done.output
    for words in (
        "Depth", "springback", "overtravel", "Peak force", "Split risk", "Embossing", "psi",
        "+ residual stress", "qualified people",
    ):  # fmt: skip
        assert words in done.output
    assert max(len(line) for line in done.output.splitlines()) <= 80
    folder = here / "results" / "tarnholt-north-line-doming"
    names = ["doming.json", "doming.png", "formed.toml"]
    assert sorted(path.name for path in folder.iterdir()) == names
    data = json.loads((folder / "doming.json").read_text("utf-8"))
    assert data["kind"] == "formed"
    assert data["tooling"]["die"]["flange_height"] == 10.75
    assert "reversal test" in data["caution"]


def test_json_alone_writes_no_files(here: Path) -> None:
    done = runner.invoke(app, ["doming", "north", "--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["bottomed"] is True
    assert not list(here.iterdir())


@pytest.mark.slow
def test_animation_is_a_moving_picture(here: Path) -> None:
    done = runner.invoke(app, ["doming", "north", "--animation", "--out", "out"])
    assert done.exit_code == 0
    from PIL import Image

    with Image.open(here / "out" / "doming.gif") as picture:
        assert picture.n_frames > 30  # type: ignore[attr-defined]


STUDY = """
name = "set and friction"
cases = 4
[vary]
"station.set" = ["-0.1 mm", "0.5 mm"]
"friction" = [0.05, 0.1]
"""


def test_study_goes_on_where_it_stopped(here: Path) -> None:
    (here / "plan.toml").write_text(STUDY)
    arguments = ["doming", "north", "--study", "plan.toml", "--out", "out", "--workers", "1"]
    done = runner.invoke(app, arguments)
    assert done.exit_code == 0, done.output
    assert "4 cases formed, 0 failed" in done.output
    with sqlite3.connect(here / "out" / "doming-study.sqlite") as db:  # two cases lost
        db.execute("DELETE FROM cases WHERE id > 2")
    db.close()
    again = runner.invoke(app, arguments)
    assert "4 cases formed, 0 failed; 2 solved in an earlier run" in again.output
    table = (here / "out" / "doming-study.csv").read_text().splitlines()
    assert len(table) == 5
    assert "depth_mm" in table[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[vary]\n"die.diametr" = ["1 mm", "2 mm"]', "vary.die.diametr is not known"),
        ('[vary]\n"die.diameter" = ["1 kN", "2 mm"]', "not a unit of length"),
        ('[vary]\n"die.diameter" = "43 mm"', "low and high"),
        ('cases = 0\n[vary]\n"station.set" = ["0 mm", "1 mm"]', "cases is 0"),
        ("cases = 3", "vary is missing"),
    ],
)
def test_a_slip_in_a_study_is_one_sentence(here: Path, text: str, words: str) -> None:
    from domemargin.profiles.errors import InputError
    from domemargin.profiles.tooling.files import load_tooling
    from domemargin.studies.doming.study import load_doming_study

    (here / "plan.toml").write_text(text)
    with pytest.raises(InputError) as caught:
        load_doming_study(here / "plan.toml", load_tooling("north"))
    assert words in str(caught.value)


@pytest.mark.slow
def test_budget_knows_what_wins_depth() -> None:
    """Bottomed: a spacer wins its height, more set only loads the drive (common practice, no
    source)."""
    from domemargin.fea.doming.doming import doming
    from domemargin.profiles.tooling.files import load_tooling

    budget = depth_budget(doming(load_tooling("north")))
    slopes = {row.knob: row for row in budget.slopes}
    assert len(slopes) == len(KNOBS)
    assert slopes["flange height (spacer)"].depth_mm == pytest.approx(1.0, abs=0.1)
    assert abs(slopes["set"].depth_mm or 0.0) < LEVEL
    assert (slopes["set"].peak_force_kn or 0.0) > 0.1
    ways = {way.knob: way for way in budget.ways}
    assert ways["set"].change is None
    assert "already" in ways["set"].remark
    assert ways["flange height (spacer)"].change == pytest.approx(0.1, abs=0.02)
    assert "drive" in budget.warning


def test_a_budget_is_told_for_sensible_changes(capsys: pytest.CaptureFixture[str]) -> None:
    from domemargin.studies.doming.budget import Budget, Slopes, Way
    from domemargin.studies.text.doming import print_budget
    from domemargin.studies.text.printing import narrow_console

    # arithmetic: per mm of gauge 499.7 psi is 5.00 psi per 0.01 mm
    slopes = (
        Slopes("gauge", "mm", 0.265, -0.035, -0.003, 499.7, 18.43, -0.42, split_risk=2.1),
        Slopes("friction", "-", 0.08, 0.34, -0.346, -15.0, 19.55, 0.07),
        Slopes("spring force", "kN", 11.0, None, None, None, None, None, "no step"),
    )
    print_budget(
        narrow_console(), Budget(slopes, (Way("gauge", "mm", None, None, None, None, "x"),))
    )
    out = capsys.readouterr().out
    rows = [" ".join(line.split()) for line in out.splitlines()]
    assert "gauge 0.265 +0.01 mm 0.000 0.000 +5.00 +0.18 0.00 +0.02" in rows
    assert "friction 0.08 +0.01 +0.003 -0.003 -0.15 +0.20 0.00 -" in rows
    assert "spring force 11 +1 kN - - - - - -" in rows
    assert "-0.00" not in out.replace("-0.003", "")
    assert max(map(len, out.splitlines())) <= 80


def test_the_table_of_a_study_says_its_units(tmp_path: Path) -> None:
    from domemargin.profiles.tooling.files import load_tooling
    from domemargin.studies.doming.study import Doming, DomingStudy, write_doming_table
    from domemargin.studies.study.store import Store

    # geometry: 60 degrees are pi / 3
    ranges = {"station.set": (0.0, 1.0), "punch.leg_angle": (1.0, 1.1), "friction": (0.05, 0.1)}
    study = DomingStudy("s", load_tooling("north"), ranges, 1, 0)
    point = {"station.set": 0.5, "punch.leg_angle": math.pi / 3.0, "friction": 0.08}
    task = Doming(study, "1", dict)
    with Store.open(tmp_path / "s.sqlite") as store:
        store.replace_plan([("a", point)], {"study": task.text()})
    write_doming_table(tmp_path / "t.csv", study, tmp_path / "s.sqlite")
    head, row = (line.split(",") for line in (tmp_path / "t.csv").read_text().splitlines())
    assert head[:3] == ["station.set (mm)", "punch.leg_angle (deg)", "friction"]
    assert [float(cell) for cell in row[:3]] == pytest.approx([0.5, 60.0, 0.08])


@pytest.mark.slow
def test_band_of_the_share_of_a_formed_bottom() -> None:
    """Forming and reversal by each share: the ends that the first study of this found, 111 and
    85 psi, permanent growth 0.05 and 0.38 mm (value from memory)."""
    from domemargin.fea.doming.kinematic import formed_band
    from domemargin.profiles.tooling.files import load_tooling
    from domemargin.profiles.units import PSI

    band = formed_band(load_tooling("north"))
    assert band.pressures is not None
    assert band.growths is not None
    rows = zip((85.0, 111.0, 0.38, 0.05), (*band.pressures, *band.growths[::-1]), strict=True)
    for i, (expected, found) in enumerate(rows):
        assert found / (PSI if i < 2 else 1.0) == pytest.approx(expected, rel=0.01, abs=0.005)
