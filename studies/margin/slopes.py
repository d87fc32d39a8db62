"""Slopes of the reversal pressure over depth, gauge and radius, with their error.

By fea/bottom/slopes.py, with the two ways in which depth is lost beside a profile's own inputs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import Input, slopes
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.tolerable import RESOLUTION
from domemargin.studies.study.varied import (
    DEPTH_RULES,
    DIE_SET_BACK,
    VARIABLE,
    bottom_at,
    check_name,
    kind_of,
    value_in,
)

USUAL = (DIE_SET_BACK, "springback", "bottom_gauge", "dome_radius")
LOSS_STEP = 0.04  # mm, half the distance of the two solves of a loss of depth


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


def input_of(profile: Profile, name: str) -> Input:
    """A quantity of a study as an input of a profile."""
    _, low, high = VARIABLE[name].limit
    step = LOSS_STEP if name in DEPTH_RULES else None
    return Input(name, kind_of(name), value_in(profile, name), low, high, step)


def moved(profile: Profile, name: str, value: float) -> Profile:
    """The bottom with one quantity of a study at a value.  Raises InputError or ShapeError."""
    return bottom_at(profile, {name: value})


def slope_of(
    profile: Profile, settings: Settings, name: str, solve: Callable[..., Any] = reversal
) -> Slope:
    """The slope of one quantity at a profile."""
    settings = replace(
        settings, resolution=min(RESOLUTION, settings.resolution), growth_at=(), required=None
    )

    def read(record: Record) -> dict[str, float]:
        found = record.reversal_pressure_mpa
        return {} if found is None else {"pressure": found}

    per = {"length": "0.01 mm", "angle": "1 deg", "stress": "1 MPa", "number": "0.01"}[
        kind_of(name)
    ]
    try:
        check_name(name, profile, name)
        base = solve(profile, settings)
        if base.reversal_pressure_mpa is None:
            return Slope(name, per, None, None, base.reason or base.kind)
        inputs = (input_of(profile, name),)
        (found,) = slopes(profile, settings, inputs, None, solve, moved, read)
    except InputError as rejected:
        return Slope(name, per, None, None, str(rejected))
    except Exception as failed:  # as in a study, a failed solve is recorded
        return Slope(name, per, None, None, f"{type(failed).__name__}: {failed}")
    if found.change is None or found.error is None:
        return Slope(name, found.per_words, None, None, found.reason)
    return Slope(name, found.per_words, found.change / PSI, found.error * found.per / PSI)
