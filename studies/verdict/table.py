"""Interval and verdict of every case of a study."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from domemargin.profiles import InputError, Profile
from domemargin.studies.study.study import Study
from domemargin.studies.study.table import PRESSURE
from domemargin.studies.study.varied import bottom_at, column_of, kind_of
from domemargin.studies.verdict.answer import answer_of
from domemargin.studies.verdict.budget import IN_DOUBT, NOT_KNOWN, NOT_SAFE, SAFE, verdict_of

if TYPE_CHECKING:
    import pandas as pd

    from domemargin.studies.verdict.calibration import Calibration

COLUMNS = ("pressure_best_mpa", "pressure_low_mpa", "pressure_high_mpa")
VERDICT = "verdict"
WORDS = (SAFE, IN_DOUBT, NOT_SAFE, NOT_KNOWN)


def with_verdicts(
    table: pd.DataFrame, study: Study, calibration: Calibration | None = None
) -> pd.DataFrame:
    """The table of a study with best estimate, interval and, where a pressure is required, verdict.

    calibration : by own tests; it is applied to the bottoms that are of its family.
    """
    rows: list[tuple[float, float, float]] = []
    words: list[str] = []
    correction = table.get("step_correction_mpa")
    for i, (state, pressure) in enumerate(zip(table["state"], table[PRESSURE])):
        known = math.isfinite(pressure)
        above = study.settings.ceiling if state == "none_below_ceiling" else None
        step = float(correction.iloc[i]) if correction is not None else 0.0
        profile, valid = study.profile, calibration
        if calibration is not None:
            try:
                profile = _bottom(study, table.iloc[i])
            except InputError:
                valid = None
        found = answer_of(
            profile, float(pressure) if known else None, step if math.isfinite(step) else 0.0,
            study.settings.resolution, valid, (), above,
        )  # fmt: skip
        nothing = (math.nan, math.nan, math.nan)
        rows.append(nothing if found is None else (found.pressure, found.low, found.high))
        if study.required is not None:
            words.append(verdict_of(found, study.required).word if state else "")
    out = table.copy()
    for name, column in zip(COLUMNS, np.array(rows).reshape(-1, 3).T):
        out[name] = column
    if study.required is not None:
        out[VERDICT] = words
        out[VERDICT] = out[VERDICT].astype("string")
    return out


def _bottom(study: Study, row: pd.Series) -> Profile:
    point = {}
    for name in study.names:
        value = float(row[column_of(name)])
        point[name] = math.radians(value) if kind_of(name) == "angle" else value
    return bottom_at(study.profile, point)


def counts(table: pd.DataFrame) -> dict[str, int]:
    """Cases by verdict; empty where none is required."""
    if VERDICT not in table:
        return {}
    return {word: int((table[VERDICT] == word).sum()) for word in WORDS}


def counts_words(found: dict[str, int]) -> str:
    """Such as "12 SAFE, 20 IN DOUBT, 4 NOT SAFE"."""
    return ", ".join(f"{number} {word}" for word, number in found.items() if number)
