"""Slopes and remedies taken over from a doming study."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from domemargin.profiles import InputError
from domemargin.studies.cli.shared.readings_options import question_of
from domemargin.studies.diagnosis.doming import load_doming
from domemargin.studies.diagnosis.scatter import Slopes


def slope(knob: str, value: float, depth: float | None) -> dict[str, object]:
    return {"knob": knob, "unit": "-", "value": value, "depth_mm": depth}


def budget(set_slope: float | None = 0.001) -> dict[str, object]:
    """Made-up slopes in the form of the command doming."""
    return {"tooling": {"name": "trial"}, "budget": {
        "slopes": [slope("set", 0.5, set_slope), slope("flange height (spacer)", 10.75, 0.95),
                   slope("gauge", 0.265, -0.2), slope("yield strength", 270.0, -0.002),
                   slope("friction", 0.08, 0.38)],
        "ways": [
            {"knob": "set", "unit": "mm", "change": None, "reversal_psi": None,
             "thinning_points": None, "peak_force_kn": None, "remark": "wins no depth"},
            {"knob": "flange height (spacer)", "unit": "mm", "change": 0.105, "reversal_psi": 0.7,
             "thinning_points": 0.01, "peak_force_kn": None, "remark": "loads the drive"},
        ],
        "wanted_mm": 0.1, "warning": ""}}  # fmt: skip


def test_slopes_become_those_of_shares(tmp_path: Path) -> None:
    path = tmp_path / "doming.json"
    path.write_text(json.dumps(budget()))
    study = load_doming(path)
    # by a share of gauge and yield strength: slope times their value
    assert study.slopes.gauge == pytest.approx(-0.2 * 0.265)
    assert study.slopes.yield_strength == pytest.approx(-0.002 * 270.0)
    assert study.slopes.friction == 0.38
    assert study.slopes.set == 0.95  # the flange already holds the nose
    assert "trial" in study.slopes.source
    (remedy,) = study.remedies
    assert (remedy.name, remedy.depth) == ("flange height (spacer) +0.105 mm", 0.1)
    assert remedy.cost == "+0.70 psi in all, +0.01 points of thinning; loads the drive"
    assert study.notes == ()


def test_a_slope_that_is_missing_is_said(tmp_path: Path) -> None:
    path = tmp_path / "doming.json"
    data = budget()
    data["budget"]["slopes"][4]["depth_mm"] = None  # type: ignore[index]
    path.write_text(json.dumps(data))
    study = load_doming(path)
    assert study.slopes.friction == Slopes().friction
    assert "friction" in study.notes[0]


@pytest.mark.parametrize("text", ["", "[]", '{"budget": null}', '{"budget": {"slopes": []}}'])
def test_other_files_are_rejected_in_a_sentence(text: str, tmp_path: Path) -> None:
    path = tmp_path / "doming.json"
    path.write_text(text)
    with pytest.raises(InputError, match="--budget"):
        load_doming(path)
    with pytest.raises(InputError, match="cannot be read"):
        load_doming(tmp_path / "nowhere.json")


def test_slopes_that_would_hide_play_are_rejected(tmp_path: Path) -> None:
    path = tmp_path / "doming.json"
    data = budget()
    path.write_text(json.dumps(data))
    assert question_of(doming=str(path)).notes == ()
    # a spring that gives way: friction alone moves the dome by 26 mm for 1.0
    data["budget"]["slopes"][4]["depth_mm"] = 26.0  # type: ignore[index]
    path.write_text(json.dumps(data))
    with pytest.raises(InputError, match=r"friction alone 0\.520 mm"):
        question_of(doming=str(path))
    # by hand: 0.9 x 0.02 = 0.018 mm, with 0.0070 mm of yield strength
    data["budget"]["slopes"][4]["depth_mm"] = 0.9  # type: ignore[index]
    path.write_text(json.dumps(data))
    (warning,) = question_of(doming=str(path)).notes
    assert "0.0193 mm" in warning
    for slope_of_set in (8.0, 0.01):
        data = budget(slope_of_set)
        data["budget"]["slopes"][1]["depth_mm"] = 0.01  # type: ignore[index]
        path.write_text(json.dumps(data))
        with pytest.raises(InputError, match="for 1 mm of set"):
            question_of(doming=str(path))
