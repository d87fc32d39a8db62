"""The command that says what waves round the can cost."""

from __future__ import annotations

import json

import pytest

from domemargin.studies.cli.app import main


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["domemargin", "waviness", *arguments])
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def test_summary_and_json_agree(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ("north", "--waves", "6", "--amplitude", "0.02 mm", "--amplitude", "50 um")
    assert run(monkeypatch, *arguments) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert run(monkeypatch, *arguments, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    small, large = data["costs"]
    assert 0.0 <= small["share_lost"] <= large["share_lost"] < 0.2
    assert large["pressure_mpa"] <= data["reversal_pressure_mpa"]
    assert f"{100 * large['share_lost']:.2f} %" in text
    assert "50 um" in text
    assert "reversal test on real cans" in text


@pytest.mark.parametrize(
    "arguments",
    [("north", "--waves", "0"), ("north", "--amplitude", "5"), ("north", "--amplitude", "9 mm")],
)
def test_bad_input_is_one_sentence_and_status_2(
    arguments: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(monkeypatch, *arguments) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert len(out.err.strip().splitlines()) == 1
