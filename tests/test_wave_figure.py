"""Onset pressure by number of waves, its figure and its picture.

Source of the elastic numbers: open case G with elastic metal lets go in 5 waves at 1.2606 MPa,
its axisymmetric limit is 1.598 MPa; computed independently, band 1 %.
"""

from __future__ import annotations

import io
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from domemargin.fea.bottom.onsets import WaveRecord, wave_onsets
from domemargin.fea.core.record import Outline, WaveMode
from domemargin.profiles import InputError, load_profile
from domemargin.studies.figures.moving import mode_picture as module
from domemargin.studies.figures.moving.mode_picture import (
    AROUND,
    RenderError,
    mode_picture,
    mode_surface,
)
from domemargin.studies.figures.waves import waves_figure

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def elastic() -> WaveRecord:
    profile = load_profile(DATA / "open_case_g.toml")
    metal = replace(profile.material, yield_strength=None, hardening=None)
    return wave_onsets(replace(profile, material=metal))


@pytest.fixture(scope="module")
def plastic() -> WaveRecord:
    return wave_onsets(load_profile("north"), waves=8)


def texts(record: WaveRecord) -> str:
    figure = waves_figure(record, np.ones((20, 30, 4)))
    figure.savefig(io.BytesIO(), format="png")
    out = [text.get_text() for ax in figure.axes for text in (*ax.texts, ax.title)]
    out += [ax.get_title(loc="left") for ax in figure.axes]
    out += [t.get_text() for ax in figure.axes if ax.get_legend() for t in ax.get_legend().texts]
    return "\n".join(out)


def test_elastic_onsets(elastic: WaveRecord) -> None:
    onset = {o.waves: o for o in elastic.flow}
    assert elastic.kind == "bifurcation"
    assert elastic.reversal_pressure_mpa == pytest.approx(1.2606, rel=0.01)
    assert onset[0].pressure_mpa == pytest.approx(1.598, rel=0.01)
    lowest = min((o.pressure_mpa, o.waves) for o in elastic.flow if o.before_limit)
    assert lowest[1] == 5
    assert lowest[0] == pytest.approx(elastic.reversal_pressure_mpa, rel=2e-3)
    assert elastic.deformation == ()
    assert elastic.mode is not None
    assert (elastic.mode.waves, elastic.theory) == (5, "flow")
    # the meridian drawn is the last stable one before the onset
    assert 0.9 < elastic.outline.pressure_mpa / elastic.mode.pressure_mpa <= 1.0
    words = texts(elastic)
    assert "First wave mode: in 5 waves" in words
    assert "deformation" not in words


def test_plastic_onsets(plastic: WaveRecord) -> None:
    assert plastic.kind == "limit"
    assert [o.waves for o in plastic.flow] == list(range(9))
    limit = plastic.stability.axisymmetric_limit_mpa
    assert plastic.flow[0].pressure_mpa == pytest.approx(limit, rel=2e-3)
    assert plastic.mode is not None
    assert (plastic.mode.waves, plastic.mode.before_limit) == (1, False)
    assert plastic.flow[1].pressure_mpa == pytest.approx(plastic.mode.pressure_mpa, rel=2e-3)
    assert plastic.outline.pressure_mpa <= limit
    # these come later on the falling branch (computed independently for bottoms of this kind), and
    # some are stable again at its end
    for o in plastic.flow[2:7]:
        assert o.pressure_mpa is not None
        assert not o.before_limit
        assert o.pressure_mpa < plastic.mode.pressure_mpa
    assert [o.counted for o in plastic.deformation] == [n < 7 for n in range(9)]
    assert all(o.pressure_mpa <= 1.001 * limit for o in plastic.deformation if o.pressure_mpa)
    words = texts(plastic)
    for part in ("tilting (1 wave)", "after the limit", "theory check", "axisymmetric limit"):
        assert part in words


@pytest.mark.parametrize("mode", [None, "keep"])
def test_figure_of_a_poorer_record(plastic: WaveRecord, mode: str | None) -> None:
    none = replace(plastic.stability, axisymmetric_limit_mpa=None)
    poorer = replace(
        plastic, flow=(), deformation=(), stability=none, mode=plastic.mode if mode else None
    )
    waves_figure(poorer).savefig(io.BytesIO(), format="png")


def test_no_waves_is_rejected() -> None:
    with pytest.raises(InputError, match="waves is 0"):
        wave_onsets(load_profile("north"), waves=0)


def surface(n: int, radial: float, axial: float, hoop: float) -> tuple[np.ndarray, np.ndarray]:
    r = np.linspace(0.0, 10.0, 11)
    flat = Outline(0.0, r, np.zeros(11), np.zeros(11))
    one = np.ones(11)
    return mode_surface(flat, WaveMode(n, 1.0, True, radial * one, axial * one, hoop * one), 1.0)


def test_a_rigid_slide_stays_rigid() -> None:
    """Geometry: U = cos, V = -sin moves every point by the same vector; n = 1."""
    points, _ = surface(1, 1.0, 0.0, -1.0)
    still, _ = surface(1, 0.0, 0.0, 0.0)
    moved = points - still
    assert moved[..., 0] == pytest.approx(moved[0, 0, 0] * np.ones(moved.shape[:2]), abs=1e-9)
    assert moved[..., 1:] == pytest.approx(np.zeros((*moved.shape[:2], 2)), abs=1e-9)


def test_surface_has_n_waves_and_is_turned_over() -> None:
    points, inward = surface(5, 0.0, 1.0, 0.0)
    assert points.shape[:2] == inward.shape
    assert points.shape[0] == AROUND + 1
    rim = inward[:-1, -1]
    assert np.count_nonzero(np.diff(np.sign(rim)) != 0) == 10
    assert np.abs(inward).max() == pytest.approx(1.0)
    assert points[0, -1, 2] < 0.0 < inward[0, -1]  # into the can is down in the picture


def test_picture_is_drawn(elastic: WaveRecord) -> None:
    assert elastic.mode is not None
    image = mode_picture(elastic.outline, elastic.mode, 12.0)
    assert image.shape[0] > 300
    assert image.shape[1] > 300
    colour = image[..., :3]
    # metal is a light grey, the waves blue and vermilion
    saturated = colour.max(axis=-1) - colour.min(axis=-1) > 0.4
    assert 0.01 < saturated.mean() < 0.3
    assert 0.5 < (colour.min(axis=-1) < 0.99).mean() < 1.0


@pytest.mark.parametrize(
    ("status", "errors", "named"),
    [
        (-11, "Failed to load EGL!", "apt-get install libegl1"),
        (-11, "", "apt-get install libegl1"),
        (1, "ModuleNotFoundError: No module named 'pyvista'", "pip install pyvista"),
        (1, "Traceback\nValueError: odd", "ValueError: odd"),
    ],
)
def test_what_is_missing_is_named(
    elastic: WaveRecord, monkeypatch, status: int, errors: str, named: str
) -> None:
    def fail(*_, **__) -> subprocess.CompletedProcess[str]:
        return subprocess.CompletedProcess((), status, "", errors)

    monkeypatch.setattr(module.subprocess, "run", fail)
    assert elastic.mode is not None
    with pytest.raises(RenderError, match=named) as caught:
        mode_picture(elastic.outline, elastic.mode, 12.0)
    assert "\n" not in str(caught.value)
