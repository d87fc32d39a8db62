"""Two bottoms over the same study."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fea.record import CAUTION
from profiles import InputError, Profile
from profiles.limits import LIMITS
from studies.margin import store_in
from studies.study import Study
from studies.table import PRESSURE, read_table, study_in
from studies.varied import VARIABLE, kind_of, value_in

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Comparison:
    """a, b : the studies.  table : one row a point that both have, with pressure_a_mpa and
    pressure_b_mpa; pressures of both known in `both` of `points` rows.
    differing : (quantity, value in a, value in b) of the base bottoms, internal units."""

    a: Study
    b: Study
    table: pd.DataFrame
    points: int
    both: int
    differing: tuple[tuple[str, float, float], ...]
    caution: str = CAUTION


def compare(a: Path, b: Path) -> Comparison:
    """Compare two results (folders of runs, or stores) of the same study.

    Raises InputError where they do not vary the same quantities over the same points.
    """
    paths = store_in(a), store_in(b)
    first, second = (study_in(path) for path in paths)
    if first.varied != second.varied or first.plan != second.plan:
        raise InputError(
            f"{str(a)!r} and {str(b)!r} are results of different studies; run one study file on "
            "both profiles: domemargin study FILE --profile PROFILE",
            "compare",
        )
    tables = [read_table(path) for path in paths]
    keep = [c for c in tables[0].columns if c == "case" or c in _columns(first)]
    table = tables[0][keep].copy()
    for name, other in zip("ab", tables):
        table[f"pressure_{name}_mpa"] = other[PRESSURE].to_numpy(float)
        table[f"state_{name}"] = other["state"].to_numpy()
    both = int(np.isfinite(table[["pressure_a_mpa", "pressure_b_mpa"]]).all(axis=1).sum())
    return Comparison(
        first, second, table, len(table), both, differing(first.profile, second.profile)
    )


def _columns(study: Study) -> set[str]:
    from studies.varied import column_of

    return {column_of(name) for name in study.names}


def differing(a: Profile, b: Profile) -> tuple[tuple[str, float, float], ...]:
    """The dimensions in which two bottoms differ."""
    out = []
    for name in VARIABLE:
        key = VARIABLE[name].key
        if key is None or key not in LIMITS:
            continue
        try:
            here, there = value_in(a, name), value_in(b, name)
        except (TypeError, InputError):  # a dome of several radii, an elastic metal
            continue
        if here != there:
            out.append((name, here, there))
    return tuple(out)


def shown_value(name: str, value: float) -> str:
    """A value with the unit people read."""
    from profiles.limits import shown

    return shown(value, kind_of(name), 5)
