"""Figures: they show what the record says, for odd bottoms too, and touch no global state."""

from __future__ import annotations

import io
import math
import struct
from dataclasses import replace
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import Outline, Record
from domemargin.profiles import load_profile
from domemargin.studies.figures.drawing import metal_outline, profile_figure
from domemargin.studies.figures.reversal import faces, reversal_figure, smooth_line


def png_size(figure: Figure) -> tuple[int, int]:
    file = io.BytesIO()
    figure.savefig(file, format="png")
    data = file.getvalue()
    assert len(data) > 10_000
    return struct.unpack(">II", data[16:24])  # width and height: PNG specification, IHDR


def legends_of(figure: Figure) -> list[str]:
    own = [ax.get_legend() for ax in figure.axes]
    return [t.get_text() for box in (*figure.legends, *own) if box for t in box.texts]


@pytest.fixture(scope="module")
def record() -> Record:
    return reversal(load_profile("north"), required=0.5, follow=True)


def test_smooth_line_follows_a_circle() -> None:
    # nodes on a circle of radius 10 give points on it between them (geometry)
    angle = np.linspace(0.0, 1.2, 7)
    arc = Outline(0.0, 10.0 * np.sin(angle), 10.0 * np.cos(angle), -angle)
    r, z, turned = smooth_line(arc)
    assert np.hypot(r, z) == pytest.approx(10.0, abs=2e-3)
    assert turned[[0, -1]] == pytest.approx([0.0, -1.2])
    inside, outside = faces(arc, np.full(7, 0.4))
    assert np.hypot(*inside.T) == pytest.approx(10.2, abs=2e-3)
    assert np.hypot(*outside.T) == pytest.approx(9.8, abs=2e-3)


def test_metal_outline_encloses_the_area_of_the_section() -> None:
    # area of the half section = integral of thickness by arc length (curvature averages out)
    profile = load_profile("south")
    r, z = metal_outline(profile).T
    area = 0.5 * abs(np.sum(r * np.roll(z, -1) - z * np.roll(r, -1)))
    s = np.linspace(0.0, profile.meridian.length, 20001)
    t = profile.thickness(s)
    assert area == pytest.approx(np.sum(0.5 * (t[1:] + t[:-1]) * np.diff(s)), rel=1e-3)


def test_reversal_figure_names_limit_margin_and_states(record: Record) -> None:
    figure = reversal_figure(record)
    width, height = png_size(figure)
    assert 800 < width < 2500
    assert 300 < height < 1500
    texts = " ".join(text.get_text() for ax in figure.axes for text in ax.texts)
    assert record.reversal_pressure_mpa is not None
    assert f"{record.reversal_pressure_mpa:.3f} MPa" in texts
    assert "SAFE, margin +" in texts
    legends = legends_of(figure)
    quoted = record.reversal_pressure_mpa / 0.006894757  # psi
    assert f"at reversal onset,\n{quoted:.1f} psi" in legends
    assert any("let off from 60" in text for text in legends)


@pytest.mark.parametrize(
    "changes",
    [
        {"at_onset": None, "after": None, "reversal_pressure_mpa": None, "margin": None,
         "kind": "none_below_ceiling"},
        {"reversal_pressure_mpa": None, "margin": None, "kind": "not_converged", "growth": ()},
        {"required_pressure_mpa": 6.0, "margin": -0.9},
        {"required_pressure_mpa": None, "margin": None, "after": None},
    ],
)  # fmt: skip
def test_reversal_figure_of_a_poorer_record(record: Record, changes: dict[str, Any]) -> None:
    png_size(reversal_figure(replace(record, **changes)))


def test_without_a_reversal_the_last_state_is_shown_as_such(record: Record) -> None:
    poorer = replace(record, at_onset=None, reversal_pressure_mpa=None, margin=None)
    figure = reversal_figure(replace(poorer, kind="not_converged"))
    legends = legends_of(figure)
    assert any(text.startswith("last state found") for text in legends)
    assert not any("after" in text for text in legends)


def test_a_state_beyond_a_bifurcation_has_not_fallen(record: Record) -> None:
    assert record.after is not None
    assert record.reversal_pressure_mpa is not None
    higher = replace(record.after, pressure_mpa=1.2 * record.reversal_pressure_mpa)
    figure = reversal_figure(replace(record, after=higher))
    legends = " ".join(legends_of(figure))
    assert "further on" in legends
    assert "fallen" not in legends


def test_what_a_path_without_reversal_says_does_not_overlap() -> None:
    record = reversal(load_profile("north"), required=0.6, ceiling=0.01)
    figure = reversal_figure(record)
    figure.savefig(io.BytesIO(), format="png")
    texts = [text for ax in figure.axes for text in ax.texts if text.get_text()]
    boxes = [text.get_window_extent() for text in texts]
    assert len(boxes) == 2
    assert not boxes[0].overlaps(boxes[1])


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"inner_leg_angle": math.radians(-12.0)},
        {"dome_depth": 6.9, "shoulder_radius": 0.8, "inner_leg_angle": 0.3},
        {"name": "$\\frac{1}$ \x07 " + "long " * 60},
        {"bottom_gauge": 0.6, "wall_gauge": 0.5},
    ],
)
def test_profile_figure(changes: dict[str, Any]) -> None:
    png_size(profile_figure(load_profile("north").replaced(**changes)))


def test_no_global_state_of_matplotlib_is_touched(record: Record) -> None:
    before = dict(matplotlib.rcParams)
    reversal_figure(record)
    profile_figure(record.profile)
    assert dict(matplotlib.rcParams) == before
