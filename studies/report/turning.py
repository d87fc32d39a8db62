"""Frames of a reversal in the form that turning.js draws: small whole numbers in base64."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from domemargin.fea.bottom.frames import Frames
from domemargin.fea.core.record import Outline
from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.figures.reversal import smooth_line

PER_ELEMENT = 2  # points of a line from node to node


def turning_data(found: Frames, wall_from: float) -> dict[str, Any]:
    """The frames for the page.

    wall_from : height over the stand plane above which the sidewall is left out, mm; to the nearest
    point of the unloaded line.
    """
    lines = [_line(found, i) for i in range(found.r_mm.shape[0])]
    below = lines[0][1] <= wall_from
    end = int(np.flatnonzero(below)[-1]) + 1
    data: dict[str, Any] = {"frames": len(lines), "points": end, "states": _states(found)}
    for k, name in enumerate(("r", "z", "strain")):
        values = np.stack([line[k][:end] for line in lines])
        low = 0.0 if name == "strain" else float(values.min())
        high = float(values.max())
        data[name] = packed(values, low, high)
        data[f"{name}_ends"] = [low, high]
    return data


def packed(values: Floats, low: float, high: float) -> str:
    """Values from low to high as 16-bit whole numbers, little end first, in base64."""
    share = (values - low) / (high - low if high > low else 1.0)
    whole = np.clip(np.rint(65535.0 * share), 0, 65535).astype("<u2")
    return base64.b64encode(whole.tobytes()).decode("ascii")


def _line(found: Frames, i: int) -> tuple[Floats, Floats, Floats]:
    outline = Outline(
        float(found.pressure_mpa[i]), found.r_mm[i], found.z_mm[i], found.angle_rad[i]
    )
    r, z, _ = smooth_line(outline, PER_ELEMENT)
    nodes = np.arange(found.r_mm.shape[1])
    strain = np.interp(np.linspace(0, nodes[-1], r.size), nodes, found.plastic_strain[i])
    return r, z, strain


def _states(found: Frames) -> list[str]:
    """What each frame shows, in words."""
    last = len(found.pressure_mpa) - 1
    words = []
    for i, (mpa, travel, depth) in enumerate(
        zip(found.pressure_mpa, found.centre_travel_mm, found.depth_mm)
    ):
        text = f"{max(mpa, 0.0) / PSI:.1f} psi, dome centre {travel:.2f} mm down"
        if i == 0:
            text = "unloaded"
        elif i == found.limit:
            text += ": at reversal"
        elif found.rest and i == last:
            text = f"at rest after the reversal, dome depth {depth:.2f} mm"
        elif found.limit is not None and i > found.limit:
            text += ": turning out"
        words.append(text)
    return words
