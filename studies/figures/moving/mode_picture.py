"""The 3D picture of a wave mode: its surface, drawn by render_mode.py."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from matplotlib.image import imread
from scipy.interpolate import CubicSpline

from domemargin.fea.core.record import Outline, WaveMode
from domemargin.profiles.arrays import Floats
from domemargin.studies.figures.reversal import smooth_line
from domemargin.studies.figures.style import mode_colours

AMPLITUDE = 0.045  # largest displacement drawn, as a share of the diameter
AROUND = 360


class RenderError(RuntimeError):
    """The picture could not be drawn; the message is one sentence that says what to install."""


def mode_picture(outline: Outline, mode: WaveMode, top: float) -> Floats:
    """The bottom from below with its mode on it; image (height, width, 4), 0 to 1.

    outline : the meridian to revolve.  top : height at which the sidewall is cut off, mm.
    Raises RenderError where nothing can be drawn.
    """
    return drawn(*mode_surface(outline, mode, top))


def drawn(points: Floats, values: Floats) -> Floats:
    """A surface from below, points (a, b, 3), coloured by values (a, b) from -1, inward, to 1.

    Raises RenderError where nothing can be drawn.
    """
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "mode.npz"), Path(folder, "mode.png")
        colours = mode_colours()(np.linspace(0.0, 1.0, 256), bytes=True)
        np.savez(source, points=points, values=values, colours=colours)
        command = (
            sys.executable,
            "-m",
            "domemargin.studies.figures.moving.render_mode",
            str(source),
            str(target),
        )
        done = subprocess.run(command, capture_output=True, encoding="utf-8", errors="replace")
        if done.returncode != 0 or not target.exists():
            raise RenderError(_why(done.returncode, done.stderr))
        return _trimmed(imread(target))


def _trimmed(image: Floats) -> Floats:
    """An image without its white margins."""
    ink = image[..., :3].min(axis=-1) < 0.99
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return image[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] if rows.size else image


def _why(status: int, errors: str) -> str:
    what = "the 3D picture of the mode could not be drawn"
    if "No module named" in errors:
        return f"{what}: pyvista is not installed: pip install pyvista"
    if status < 0 or "EGL" in errors:
        return f"{what}: it lacks the system library libEGL.so.1: apt-get install libegl1"
    last = errors.strip().splitlines()[-1:] or [f"status {status}"]
    return f"{what}: {last[0]}"


def mode_surface(outline: Outline, mode: WaveMode, top: float) -> tuple[Floats, Floats]:
    """Points (AROUND + 1, n, 3) of the displaced mid-surface, mm, turned over so that the bottom
    is up, and their displacement along the inside normal (AROUND + 1, n), the largest 1."""
    r, z, angle = smooth_line(outline)
    nodes = np.arange(outline.r_mm.size)
    at = np.linspace(0.0, nodes[-1], r.size)
    radial, axial, hoop = (
        CubicSpline(nodes, part)(at) for part in (mode.radial, mode.axial, mode.hoop)
    )
    shown = z <= top
    r, z, angle, radial, axial, hoop = (
        part[shown] for part in (r, z, angle, radial, axial, hoop)
    )  # fmt: skip
    theta = np.linspace(0.0, 2.0 * np.pi, AROUND + 1)[:, None]
    wave, shifted = np.cos(mode.waves * theta), np.sin(mode.waves * theta)
    amplitude = AMPLITUDE * 2.0 * float(r.max())
    out, along = r + amplitude * radial * wave, amplitude * hoop * shifted
    x = out * np.cos(theta) - along * np.sin(theta)
    y = out * np.sin(theta) + along * np.cos(theta)
    height = -(z + amplitude * axial * wave)
    inward = (np.cos(angle) * axial - np.sin(angle) * radial) * wave
    return np.stack((x, y, height), axis=-1), inward / max(float(np.abs(inward).max()), 1e-300)
