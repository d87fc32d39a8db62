"""Endings that no bottom at hand gives: a solve that fails, a missing library, Ctrl-C."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from domemargin.fea.bottom import reversal as solving
from domemargin.fea.core.record import Record
from domemargin.profiles import Profile, load_profile
from domemargin.profiles.files import section
from domemargin.studies.cli.app import main

Run = Callable[..., int]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str) -> int:
        monkeypatch.setattr(sys, "argv", ["domemargin", *arguments])
        with pytest.raises(SystemExit) as end:
            main()
        return int(end.value.code or 0)

    return command


@pytest.fixture(scope="module")
def failed() -> Record:
    record = solving.reversal(load_profile("north"), ceiling=0.2)
    return replace(record, kind="not_converged", reason="no equilibrium found beyond 0.2 MPa")


def test_a_failed_solve_is_recorded_with_status_1(
    run: Run, failed: Record, monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    monkeypatch.setattr(solving, "reversal", lambda *_, **__: failed)
    assert run("reversal", "north", "--out", "here", "--require", "90 psi") == 1
    out, err = capsys.readouterr()
    assert "not known: no equilibrium found beyond 0.2 MPa" in out
    assert err == "domemargin: the solve could not be carried on: " + failed.reason + "\n"
    stored = json.loads((tmp_path / "here" / "record.json").read_text(encoding="utf-8"))
    assert stored["kind"] == "not_converged"
    assert (tmp_path / "here" / "reversal.png").stat().st_size > 10_000

    assert run("reversal", "north", "--json") == 1
    assert json.loads(capsys.readouterr().out)["reason"] == failed.reason


def test_a_reversal_that_is_not_resolved_is_an_answer_to_nothing(
    run: Run, failed: Record, monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path
) -> None:
    reason = "the resolution of 0.20% is not reached"
    coarse = replace(
        failed, kind="not_resolved", reason=reason, required_pressure_mpa=0.62, margin=None
    )
    monkeypatch.setattr(solving, "reversal", lambda *_, **__: coarse)
    assert run("reversal", "north", "--out", "here", "--require", "90 psi") == 1
    out, err = capsys.readouterr()
    assert f"not known: {reason}" in out
    assert "NOT KNOWN" in out
    words = "a reversal was found, but not to the resolution asked for"
    assert err == f"domemargin: {words}: {reason}\n"


def test_a_missing_library_is_one_sentence_with_status_1(
    run: Run, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    def lacking(_: Profile) -> None:
        raise section.GmshUnavailableError("gmsh lacks libGLU.so.1: apt-get install ...")

    monkeypatch.setattr(section, "section_mesh", lacking)
    assert run("profile", "north", "--mesh", "a.vtu") == 1
    assert capsys.readouterr().err == "domemargin: gmsh lacks libGLU.so.1: apt-get install ...\n"


def test_ctrl_c_and_a_full_disk_leave_no_trace(
    run: Run, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    def raising(error: BaseException) -> Callable[..., None]:
        def call(*_: Any, **__: Any) -> None:
            raise error

        return call

    monkeypatch.setattr(solving, "reversal", raising(KeyboardInterrupt()))
    assert run("reversal", "north") in (130, 1)
    monkeypatch.setattr(solving, "reversal", raising(OSError(28, "No space left on device")))
    assert run("reversal", "north") == 2
    err = capsys.readouterr().err
    assert "No space left on device" in err
    assert "Traceback" not in err
