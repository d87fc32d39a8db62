"""The solid beside the shell on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from test_cli import DATA, run


def test_both_models_differ_in_one_line(tmp_path: Path) -> None:
    """Source of the pressure: an independent continuum solution, 0.5084 MPa, computed
    independently, +- 0.2 %."""
    case = str(DATA / "open_case_h.toml")
    done = run("reversal", case, "--model", "both", "--waves", "0", "--out", "run", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    (line,) = [line for line in done.stdout.splitlines() if line.startswith("Solid ")]
    both = json.loads((tmp_path / "run" / "record.json").read_text(encoding="utf-8"))
    shell, solid = (both[name]["reversal_pressure_mpa"] for name in ("shell", "solid"))
    assert solid == pytest.approx(0.5084, rel=0.002)
    assert f"the shell lies {abs(100 * (shell / solid - 1)):.2f} %" in line
    assert both["solid"]["mesh"]["model"] == "solid"
    assert both["solid"]["growth"][0]["stand_growth_mm"] == pytest.approx(
        both["shell"]["growth"][0]["stand_growth_mm"], rel=0.01
    )


def test_solid_alone_is_a_record_like_the_shells(tmp_path: Path) -> None:
    case = str(DATA / "open_case_h.toml")
    options = ("--resolution", "0.5 %", "--waves", "0", "--json")
    ours, theirs = (
        json.loads(run("reversal", case, "--model", name, *options, cwd=tmp_path).stdout)
        for name in ("solid", "shell")
    )
    assert ours.keys() == theirs.keys()
    assert ours["mesh"]["model"] == "solid"
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("model", "change", "sentence"),
    [
        ("plate", "", "--model is 'plate'; it must be shell, solid or both"),
        (
            "both",
            "r_value = 0.8",
            "r_value is given, which the solid does not carry",
        ),
    ],
)
def test_what_the_solid_cannot_do_is_one_sentence(
    tmp_path: Path, model: str, change: str, sentence: str
) -> None:
    text = (DATA / "open_case_h.toml").read_text(encoding="utf-8")
    assert "[material]" in text
    case = tmp_path / "case.toml"
    case.write_text(text.replace("[material]", f"[material]\n{change}"), encoding="utf-8")
    done = run("reversal", str(case), "--model", model, cwd=tmp_path)
    assert done.returncode == 2
    assert sentence in done.stderr
    assert done.stderr.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["case.toml"]
