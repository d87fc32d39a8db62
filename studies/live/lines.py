"""The curves of the page's figures as plain arrays."""

from __future__ import annotations

import numpy as np

from domemargin.fea.core.record import Record
from domemargin.profiles import Profile
from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.figures.reversal import smooth_line

Columns = dict[str, Floats]
WALL = 5.0  # mm


def section(profile: Profile, points: int = 260) -> Columns:
    """The closed outline of the metal in the half plane, r and z in mm, thickness to scale.

    Of the sidewall only WALL mm above the heel are drawn.
    """
    top = min(profile.meridian.length, profile.meridian.span("heel")[1] + WALL)
    s = np.union1d(np.linspace(0.0, top, points), profile.breakpoints[profile.breakpoints < top])
    p, half = profile.meridian.at(s), 0.5 * profile.thickness(s)
    away = profile.offset(s)[0]
    normal_r, normal_z = -np.sin(p.phi), np.cos(p.phi)
    r, z = p.r + away * normal_r, p.z + away * normal_z
    return {
        "r": np.concatenate((r + half * normal_r, (r - half * normal_r)[::-1])),
        "z": np.concatenate((z + half * normal_z, (z - half * normal_z)[::-1])),
    }


def onset(record: Record | None) -> Columns:
    """The mid-surface at reversal, mm; empty where there is none."""
    if record is None or record.at_onset is None:
        return {"r": np.empty(0), "z": np.empty(0)}
    r, z, _ = smooth_line(record.at_onset)
    below = z < record.profile.chain.heel_height + WALL
    r, z = r[below], z[below]
    return {"r": r, "z": z}


def path(record: Record | None) -> Columns:
    """Pressure (psi) against lowering of the dome centre and of the stand ring, mm."""
    if record is None:
        return {"centre": np.zeros(1), "ring": np.zeros(1), "psi": np.zeros(1)}
    curve = record.curve
    return {
        "centre": curve.centre_travel_mm,
        "ring": curve.stand_growth_mm,
        "psi": curve.pressure_mpa / PSI,
    }
