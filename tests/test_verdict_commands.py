"""Commands with a calibration: cans, readings and studies moved by own tests.

Sources: the normal law of a straight response (stand-in) moved by a known level; the machine's mean
can by the calibration's own formula.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import study_stand_in as stand_in
from scipy.stats import norm
from typer.testing import CliRunner

from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import InputError, load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.cli.app import app
from domemargin.studies.margin.margin import margin_report
from domemargin.studies.margin.scatter import scatter_report
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.study import Scatter, Scattered, Study, Varied
from domemargin.studies.study.study_file import load_study
from domemargin.studies.verdict.budget import COVERAGE, verdict_of
from domemargin.studies.verdict.calibration import Calibration, dumped


def moved_by(level: float, level_sd: float = 0.008) -> Calibration:
    """A calibration about 90 psi that moves the level only, for every bottom of north's metal."""
    metal = load_profile("north").material.name
    return Calibration(
        5, 0, 1, math.log(90.0 * PSI), math.log1p(level), level_sd, 1.0, 0.2, 0.0, 0.015, (), metal
    )


def straight_line() -> Study:
    scatter = Scatter((Scattered("dome_depth", "normal", 10.4, 0.2),))
    return replace(load_study("line-scatter"), scatter=scatter, required=88.0 * PSI)


def test_shares_are_those_of_cans_moved_by_the_tests(tmp_path: Path) -> None:
    """Cans of mean 90 and deviation 1.6 psi (8 psi a mm); tests say 3 % more."""
    report = scatter_report(
        straight_line(), tmp_path, Serial, stand_in.STRAIGHT, training=32, cans=50_000,
        calibration=moved_by(0.03), most_error=1e-3,
    )  # fmt: skip
    exact = float(norm.cdf((88.0 / 1.03 - 90.0) / 1.6))
    assert report.low <= exact <= report.high
    assert report.study.required == 88.0 * PSI
    assert report.answer is not None
    assert report.answer.pressure == pytest.approx(90.0 * 1.03 * PSI, rel=1e-3)
    by = COVERAGE * report.answer.standard / report.answer.pressure
    ends = [float(norm.cdf((88.0 / 1.03 / (1 + s * by) - 90.0) / 1.6)) for s in (1, -1)]
    assert report.share_sure == pytest.approx(ends, abs=0.002)


def test_margin_counts_verdicts_and_solves_for_moved_cans(tmp_path: Path) -> None:
    """8 psi a mm: with 3 % more the loss is (90 - 88 / 1.03) / 8."""
    losses = tuple(np.linspace(0.0, 1.2, 7).tolist())
    varied = (Varied("die_set_back", losses, 0.0, 1.2),)
    study = replace(load_study("depth-gauge"), varied=varied, required=88.0 * PSI)
    store = tmp_path / "study.sqlite"
    run_study(study, store, Serial, stand_in.STRAIGHT)
    plain = margin_report(store, engine=Serial, solve=stand_in.straight)
    moved = margin_report(store, engine=Serial, solve=stand_in.straight, calibration=moved_by(0.03))
    assert plain.tolerable[0].loss == pytest.approx(2.0 / 8.0, abs=2e-3)
    assert moved.tolerable[0].loss == pytest.approx((90.0 - 88.0 / 1.03) / 8.0, abs=2e-3)
    assert set(plain.table["verdict"]) == {"IN DOUBT"}
    assert "SAFE" in set(moved.table["verdict"])
    first = moved.table.iloc[0]
    assert first["pressure_best_mpa"] == pytest.approx(90.0 * 1.03 * PSI)
    assert first["pressure_low_mpa"] < first["pressure_best_mpa"] < first["pressure_high_mpa"]


def test_readings_take_the_calibration_of_the_other_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(4)
    rows = ["time,machine,depth (mm)"]
    rows += [
        f"2026-03-0{2 + n // 20}T{n % 20:02d}:00,M1,{10.4 + rng.normal(0.0, 0.008):.3f}"
        for n in range(60)
    ]
    (tmp_path / "r.csv").write_text("\n".join(rows), encoding="utf-8")
    done = moved_by(0.03)
    (tmp_path / "c.json").write_text(dumped(done), encoding="utf-8")
    asked = ["readings", "r.csv", "--profile", "north", "--require", "90 psi", "--json"]
    run = CliRunner()
    found = run.invoke(app, [*asked, "--calibration", "c.json"])
    assert found.exit_code == 0, found.output
    machine = json.loads(found.stdout)["machines"][0]
    model = machine["pressure"]["mpa"]
    best, standard = done.applied(model)
    assert machine["calibrated"]["mpa"] == pytest.approx(best, rel=1e-3)
    assert machine["calibrated"]["level_error_mpa"] == pytest.approx(standard, rel=0.05)
    assert (machine["pressure"]["verdict"], machine["calibrated"]["verdict"]) == (
        "IN DOUBT", "SAFE",
    )  # fmt: skip
    # the bottom by itself, at the depth of the machine's cans
    bottom = load_profile("north").replaced(dome_depth=machine["mean_mm"])
    alone = reversal(bottom, growth_at=(), waves=0).reversal_pressure_mpa
    assert model == pytest.approx(alone, rel=1e-3)
    assert verdict_of(None, 1.0).word == "NOT KNOWN"
    tested = [rows[0] + ",reversal (psi)", *(row + ",90" for row in rows[1:])]
    (tmp_path / "r.csv").write_text("\n".join(tested), encoding="utf-8")
    both = run.invoke(app, [*asked, "--calibration", "c.json"])
    assert isinstance(both.exception, InputError)
    assert "one of the two" in str(both.exception)


def test_calibrate_writes_what_commands_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.csv").write_text("pressure (psi)\n93.1\n94\n92.2\n? \n", encoding="utf-8")
    run = CliRunner()
    done = run.invoke(app, ["calibrate", "t.csv", "--profile", "north", "--out", "c"])
    assert done.exit_code == 0, done.output
    assert "Line 5 is set aside" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    asked = ["reversal", "north", "--require", "88 psi", "--json"]
    plain = json.loads(run.invoke(app, asked).stdout)
    found = run.invoke(app, [*asked, "--calibration", "c/calibration.json"])
    moved = json.loads(found.stdout)
    assert moved["reversal_pressure_mpa"] == plain["reversal_pressure_mpa"]
    assert moved["answer"]["pressure_mpa"] > 1.01 * plain["answer"]["pressure_mpa"]
    assert (plain["verdict"]["word"], moved["verdict"]["word"]) == ("IN DOUBT", "SAFE")
    assert moved["answer"]["budget"][0]["source"] == "3 own tests"
