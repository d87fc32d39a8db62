"""What people see of a margin report: the margin asked for, levels, reasons, a legible figure."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import study_stand_in as stand_in
from rich.console import Console

from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.figures.margin import margin_figure
from domemargin.studies.margin.margin import MOST_LEVELS, MarginReport, levels, margin_report
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.study import Plan, Study, Varied
from domemargin.studies.study.study_file import load_study
from domemargin.studies.text.study import print_margin, print_reasons


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("study") / "study.sqlite"
    run_study(load_study("depth-gauge"), path, Serial, stand_in.STRAIGHT)
    return path


@pytest.fixture(scope="module")
def asked(store: Path) -> MarginReport:
    return margin_report(store, margin=0.02, engine=Serial, solve=stand_in.straight)


def test_the_margin_asked_for_is_said(asked: MarginReport, capsys: pytest.CaptureFixture) -> None:
    print_margin(asked, [])
    out = " ".join(capsys.readouterr().out.split())
    # arithmetic: 90 psi and 2 % are 91.8 psi; the stand-in says 90 + 500 (gauge - 0.265) - 8 loss
    assert "Required 90 psi and a margin of 2 %: 91.8 psi" in out
    gauge, loss = np.meshgrid((0.255, 0.26, 0.265, 0.27, 0.275, 0.28), np.linspace(0, 0.9, 10))
    held = int((90.0 + 500.0 * (gauge - 0.265) - 8.0 * loss >= 91.8).sum())
    assert f"which {held} of 60 hold" in out
    assert "0.265 90.00 none: too low -" in out
    assert "0.270 92.50 0.087" in out  # (92.5 - 91.8) / 8
    assert "0.275 95.00 0.400" in out  # (95 - 91.8) / 8


def test_an_unfinished_study_is_called_so(
    asked: MarginReport, capsys: pytest.CaptureFixture
) -> None:
    print_margin(replace(asked, counts={"limit": 40, "": 20}), [])
    assert "have a reversal pressure; 20 are not solved yet" in capsys.readouterr().out


def test_the_figure_draws_the_margin_asked_for_and_nothing_lies_on_its_title(
    asked: MarginReport,
) -> None:
    figure = margin_figure(asked)
    figure.savefig(io.BytesIO(), format="png")
    axes = figure.axes[0]
    legend, title = axes.get_legend(), figure.get_suptitle()
    assert legend is not None
    assert title.startswith("Depth loss and gauge")
    assert legend.texts[0].get_text() == "just holds 90 psi with 2 % margin"
    box = figure._suptitle.get_window_extent()  # type: ignore[attr-defined]
    assert not box.overlaps(legend.get_window_extent())
    frame = axes.get_window_extent()
    for label in axes.texts:  # of the contours: none is cut off by the frame
        middle = label.get_window_extent()
        assert frame.x0 < middle.x0 < middle.x1 < frame.x1
        assert frame.y0 < middle.y0 < middle.y1 < frame.y1


def test_without_a_surrogate_the_cases_are_shown(tmp_path: Path) -> None:
    varied = tuple(
        Varied(name, (), low, high)
        for name, low, high in (
            ("die_set_back", 0.0, 0.5), ("bottom_gauge", 0.26, 0.28), ("nose_radius", 1.4, 1.6),
        )
    )  # fmt: skip
    study = Study("box", load_profile("north"), varied, Plan("sobol", 16, 1), required=90.0 * PSI)
    run_study(study, tmp_path / "box.sqlite", Serial, stand_in.STRAIGHT)
    report = margin_report(
        tmp_path / "box.sqlite", most_error=1e-30, engine=Serial, solve=stand_in.straight
    )
    shown = [ax.get_xlabel() for ax in margin_figure(report).axes if ax.get_visible()]
    assert shown == ["depth lost, die set back (mm)", "gauge (mm)", "nose radius (mm)"]


def test_levels_of_a_large_grid_are_a_smaller_grid() -> None:
    rows = levels(load_study("nose-leg"))  # 8 radii by 6 angles
    noses = sorted({row["nose_radius"] for row in rows})
    angles = sorted({row["inner_leg_angle"] for row in rows})
    assert len(rows) == len(noses) * len(angles) <= MOST_LEVELS
    assert min(len(noses), len(angles)) >= 4
    study = load_study("nose-leg")
    by_name = {varied.name: varied for varied in study.varied}
    for name, kept in (("nose_radius", noses), ("inner_leg_angle", angles)):
        values = by_name[name].values
        assert (kept[0], kept[-1]) == (min(values), max(values))
    small = replace(study, varied=study.varied[:1])
    assert len(levels(small)) == len(study.varied[0].values)


def test_reasons_that_differ_by_numbers_are_told_once() -> None:
    console = Console(file=io.StringIO(), width=200)
    reasons = [
        ("invalid_geometry", f"shape.dome_depth {d} mm leaves the inner leg -{d} mm long", 1)
        for d in (1.4, 2.21818, 3)
    ]
    print_reasons(console, [*reasons, ("not_converged", "no step is small enough", 2)])
    assert console.file.getvalue().splitlines() == [  # type: ignore[attr-defined]
        "3 x the dimensions do not make a bottom: for one, shape.dome_depth 1.4 mm leaves the "
        "inner leg -1.4 mm long",
        "2 x the solve could not be carried on: no step is small enough",
    ]
