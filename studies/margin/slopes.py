"""Slopes of the reversal pressure over depth, gauge and radius, with their error.

Five solves a quantity, fitted by a parabola; the error is the larger of two standard errors of
its slope (the resolution of the solves) and of what a cubic would change (the curve).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.tolerable import RESOLUTION
from domemargin.studies.study.varied import (
    DEPTH_RULES,
    DIE_SET_BACK,
    bottom_at,
    check_name,
    kind_of,
    value_in,
)

USUAL = (DIE_SET_BACK, "springback", "bottom_gauge", "dome_radius")
# a step, and the change that a slope is quoted for, by what is varied
_STEP = {"bottom_gauge": 0.004, "wall_gauge": 0.004}
_PER = {"length": (0.01, "0.01 mm"), "angle": (np.radians(1.0), "1 deg"),
        "stress": (1.0, "1 MPa"), "number": (0.01, "0.01")}  # fmt: skip


@dataclass(frozen=True)
class Slope:
    """psi : change of the reversal pressure for a change `per` of the quantity; error : of it.

    reason : why there is none.
    """

    name: str
    per: str
    psi: float | None
    error: float | None
    reason: str = ""


def step_of(profile: Profile, name: str) -> float:
    """The step of the five solves, internal units."""
    if name in DEPTH_RULES or name == "dome_depth":
        return 0.1
    if kind_of(name) == "angle":
        return float(np.radians(0.5))
    return _STEP.get(name, 0.02 * abs(value_in(profile, name)) or 0.01)


def slope_of(
    profile: Profile, settings: Settings, name: str, solve: Callable[..., Any] = reversal
) -> Slope:
    """The slope of one quantity at a profile."""
    per, words = _PER[kind_of(name)]
    settings = replace(
        settings, resolution=min(RESOLUTION, settings.resolution), growth_at=(), required=None
    )
    x = np.arange(-2.0, 3.0)
    found = []
    try:
        check_name(name, profile, name)
        step, middle = step_of(profile, name), value_in(profile, name)
        for offset in x:
            record = solve(bottom_at(profile, {name: middle + offset * step}), settings)
            if record.reversal_pressure_mpa is None:
                return Slope(name, words, None, None, record.reason or record.kind)
            found.append(record.reversal_pressure_mpa / PSI)
    except InputError as rejected:
        return Slope(name, words, None, None, str(rejected))
    except Exception as failed:  # as in a study, a failed solve is recorded
        return Slope(name, words, None, None, f"{type(failed).__name__}: {failed}")
    p = np.array(found)
    fit, cubic = np.polyfit(x, p, 2), np.polyfit(x, p, 3)
    spread = np.sqrt(np.sum((p - np.polyval(fit, x)) ** 2) / (p.size - 3))
    standard = spread / np.sqrt(np.sum(x**2))
    error = max(2.0 * standard, abs(cubic[-2] - fit[-2]))
    return Slope(name, words, float(fit[1] * per / step), float(error * per / step))
