"""A solve that fails is a named outcome of every command, from the terminal as from Python."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import domemargin.fea.around.waviness
import domemargin.fea.bottom.onsets
import domemargin.fea.doming.doming
import domemargin.fea.doming.reversal
from domemargin.fea.bottom import reversal as solving
from domemargin.fea.core.record import Curve, Record
from domemargin.fea.doming.record import DomingRecord
from domemargin.fea.errors import SolveError
from domemargin.profiles import Along, InputError, Profile, load_profile
from domemargin.profiles.local import MOST_SLOPE
from domemargin.profiles.tooling.files import load_tooling
from domemargin.studies.cli.app import main

REASON = "the unloaded body is not held: its stiffness is not positive definite"
READINGS = "time,machine,depth (mm)\n" + "".join(
    f"2025-03-{1 + i // 3:02d}T06:00,M{i % 3},{10.4 + 0.01 * (i % 5):.3f}\n" for i in range(60)
)


def fails(*_: Any, **__: Any) -> Any:
    raise SolveError(REASON)


def command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["domemargin", *arguments])
    with pytest.raises(SystemExit) as end:
        main()
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    return int(end.value.code or 0), said.out, said.err


@pytest.fixture(scope="module")
def unsolved() -> Record:
    """The record of a bottom whose first state cannot be solved: a curve of one state."""
    record = solving.reversal(load_profile("north"), ceiling=0.05)
    curve = Curve(*(getattr(record.curve, name)[:1] for name in Curve.__dataclass_fields__))
    return replace(record, kind="not_converged", reason=REASON, curve=curve, stability=None,
                   onset=None, first_yield=None, growth=(), at_onset=None)  # fmt: skip


def test_an_offset_steeper_than_metal_can_be_is_rejected() -> None:
    """0.1 mm within 0.05 mm: a cubic with level ends rises 1.5 times as steeply as its chord."""
    north = load_profile("north")
    with pytest.raises(InputError, match=r"between 24 mm and 24.05 mm .* slope of 3; it must be"):
        north.replaced(along=Along((24.0, 24.05), offset=(0.0, 0.1)))
    # just below the bound a bottom has an answer
    rise = 0.999 * MOST_SLOPE / 1.5 * 0.05
    north.replaced(along=Along((24.0, 24.05), offset=(0.0, rise)))
    with pytest.raises(InputError, match=r"along\.offset"):
        Along((24.0, 24.05), offset=(0.0, 1.002 * rise))
    # in the middle of many entries, and downward
    with pytest.raises(InputError, match=r"from 0.2 mm to 0 mm between 2 mm and 2.1 mm"):
        Along((0.0, 1.0, 2.0, 2.1, 3.0), offset=(0.2, 0.2, 0.2, 0.0, 0.0))


def test_random_steps_within_the_bound_are_solved_or_recorded() -> None:
    """40 shape errors of every size and place: none ends in an error."""
    rng = np.random.default_rng(8)
    north = load_profile("north")
    kinds = []
    for _ in range(40):
        length = 10.0 ** rng.uniform(-2.0, 0.5)
        rise = rng.choice([-1.0, 1.0]) * min(0.5, length * rng.uniform(0.0, 0.66))
        start = rng.uniform(0.5, north.meridian.length - 35.0)
        bottom = north.replaced(along=Along((start, start + length), offset=(0.0, rise)))
        kinds.append(solving.reversal(bottom, waves=0, growth_at=()).kind)
    assert set(kinds) <= {"limit", "bifurcation", "not_resolved"}


def test_waves(monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(solving, "plan_of", fails)
    record = domemargin.fea.bottom.onsets.wave_onsets(load_profile("north"))
    assert (record.kind, record.reason, record.flow) == ("not_converged", REASON, ())
    status, out, err = command(monkeypatch, capsys, "waves", "north", "--out", "o")
    assert status == 1
    assert err == f"domemargin: the solve could not be carried on: {REASON}\n"
    assert "A model estimate" in out
    assert f"not known: {REASON}"[:50] in out
    assert "not checked" in out  # nothing is said to be stable that was not solved
    assert "none of 1 to" not in out
    assert json.loads((tmp_path / "o" / "waves.json").read_text())["kind"] == "not_converged"
    assert (tmp_path / "o" / "waves.png").stat().st_size > 5_000


def test_waves_of_a_path_that_was_solved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search for waves fails where the reversal was found: what was found stands."""
    monkeypatch.setattr(domemargin.fea.bottom.onsets, "first_onset", fails)
    record = domemargin.fea.bottom.onsets.wave_onsets(load_profile("north"), waves=2)
    assert (record.kind, record.reason) == ("not_converged", REASON)
    assert record.reversal_pressure_mpa is not None


def test_reversal(
    unsolved: Record, monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    """A path that ends at its start is drawn and put in words without a claim about the metal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(solving, "reversal", lambda *_, **__: unsolved)
    status, out, err = command(monkeypatch, capsys, "reversal", "north", "--out", "o")
    assert status == 1
    assert err == f"domemargin: the solve could not be carried on: {REASON}\n"
    assert "none: up to where the solve stopped" in out
    assert "elastic" not in out
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == [
        "curve.csv", "record.json", "reversal.png",
    ]  # fmt: skip


def test_waviness(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    north = load_profile("north")
    none = domemargin.fea.around.waviness.waviness(north, 2, (0.01, 0.02), ceiling=0.2)
    assert [one.kind for one in none] == ["none_below_ceiling"] * 2
    assert "there is no reversal to lose from: no reversal below 0.2 MPa" in none[0].reason
    monkeypatch.setattr(domemargin.fea.around.waviness, "first_onset", fails)
    (found,) = domemargin.fea.around.waviness.waviness(north, 2, (0.01,))
    assert (found.kind, found.reason, found.pressure_mpa) == ("not_converged", REASON, None)
    status, out, err = command(monkeypatch, capsys, "waviness", "north")
    assert (status, out, err) == (1, "", f"domemargin: {REASON}\n")
    monkeypatch.setattr(solving, "plan_of", fails)
    status, out, err = command(monkeypatch, capsys, "waviness", "north", "--json")
    assert (status, json.loads(out)["kind"]) == (1, "not_converged")
    assert REASON in err


def test_reversal_has_no_trace_whatever_is_raised(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    monkeypatch.setattr(solving, "reversal", fails)
    status, out, err = command(monkeypatch, capsys, "reversal", "north", "--json")
    assert (status, out) == (1, "")
    assert err == f"domemargin: the solve could not be carried on: {REASON}\n"


@pytest.mark.parametrize("raises", [True, False])
def test_readings(
    unsolved: Record, raises: bool, monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    (tmp_path / "r.csv").write_text(READINGS)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        domemargin.fea.bottom.reversal, "reversal", fails if raises else lambda *_, **__: unsolved
    )
    status, _, err = command(
        monkeypatch, capsys, "readings", "r.csv", "--profile", "north", "--require", "90 psi"
    )
    assert status == 1
    assert REASON in err
    assert [path.name for path in tmp_path.iterdir()] == ["r.csv"]


@pytest.mark.parametrize("options", [(), ("--parts",)])
def test_doming(
    options: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(domemargin.fea.doming.reversal, "find_limit", fails)
    status, out, err = command(monkeypatch, capsys, "doming", "north", *options, "--out", "o")
    assert status == 1
    assert err.startswith("domemargin: the reversal could not be found (")
    assert REASON in err
    assert "A model estimate" in out
    stored = json.loads((tmp_path / "o" / "doming.json").read_text())
    assert {one["kind"] for one in stored["reversal"].values()} == {"not_converged"}
    assert stored["depth_mm"] > 5.0


def test_doming_that_fails_at_once(
    monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    """No stage, no picture, no film: still a record, a reason and a status."""
    import domemargin.fea.stroke.stages

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(domemargin.fea.stroke.stages, "advance", fails)
    status, out, err = command(
        monkeypatch, capsys, "doming", "north", "--animation", "--budget", "--out", "o"
    )
    assert status == 1
    assert err.startswith("domemargin: the forming could not be carried on: stage ")
    assert REASON in err
    assert "A model estimate" in out
    assert [path.name for path in (tmp_path / "o").iterdir()] == ["doming.json"]


def test_doming_budget(monkeypatch: pytest.MonkeyPatch) -> None:
    """A neighbour that cannot be solved leaves a slope out, with its reason."""
    import domemargin.studies.doming.budget as budget

    base = domemargin.fea.doming.doming.doming(load_tooling("north"))

    def neighbour(tooling: Any) -> DomingRecord:
        return DomingRecord(tooling, "stroke failed", REASON)

    monkeypatch.setattr(budget, "doming", neighbour)
    found = budget.depth_budget(base)
    assert {slope.reason for slope in found.slopes} == {REASON}
    assert all(slope.depth_mm is None for slope in found.slopes)


def test_studies_take_it_as_an_answer(tmp_path: Path) -> None:
    from domemargin.studies.margin.slopes import slope_of
    from domemargin.studies.margin.tolerable import tolerable_loss
    from domemargin.studies.study.study_file import load_study

    def solve(profile: Profile, settings: Any) -> Any:
        raise SolveError(REASON)

    study = load_study("depth-gauge")
    assert REASON in slope_of(study.profile, study.settings, "bottom_gauge", solve).reason
    assert REASON in tolerable_loss(study, {"bottom_gauge": 0.27}, solve=solve).reason
