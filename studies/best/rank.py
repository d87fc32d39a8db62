"""The designs of a study that hold a pressure, the lightest first."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from domemargin.fea.core.record import CAUTION
from domemargin.profiles import InputError
from domemargin.profiles.mass import USUAL_HEIGHT, mass_of
from domemargin.studies.study.cases import SOLVED
from domemargin.studies.study.study import Study
from domemargin.studies.study.table import PRESSURE, read_table, study_in
from domemargin.studies.study.varied import DEPTH_RULES, bottom_at, column_of, kind_of

_MOST = 50_000  # cases whose mass is worked out


@dataclass(frozen=True)
class Ranking:
    """table : the designs that hold, the lightest first, with case, varied quantities, PRESSURE,
    gauge_mm, can_g and `spare` (pressure / needed - 1); losses of depth are left at nought in the
    mass.  needed_mpa : pressure to hold with the margin.  solved : cases with an answer.  closest :
    the case nearest to holding where none does, as (case, MPa)."""

    study: Study
    table: pd.DataFrame
    needed_mpa: float
    solved: int
    planned: int
    closest: tuple[int, float] | None
    can_height_mm: float
    caution: str = CAUTION


def ranking(
    store: Path, margin: float = 0.0, required: float | None = None,
    can_height: float = USUAL_HEIGHT,
) -> Ranking:  # fmt: skip
    """The designs of a study's store that hold the required pressure with a margin.

    margin : share of the requirement.  required : another requirement than the study's, MPa.
    Raises StoreError, InputError.
    """
    study = study_in(store)
    needed = (study.requirement() if required is None else required) * (1.0 + margin)
    cases = read_table(store)
    solved = cases[cases["state"].isin([*SOLVED])]
    ceiling = cases[cases["state"] == "none_below_ceiling"].copy()
    ceiling[PRESSURE] = study.settings.ceiling  # more than that
    answered = pd.concat([solved, ceiling]) if len(ceiling) else solved
    holds = answered[answered[PRESSURE] >= needed]
    if len(holds) > _MOST:
        raise InputError(
            f"{len(holds)} designs hold; at most {_MOST} are ranked: ask for a larger --margin",
            "--margin",
        )
    rows: list[dict[str, Any]] = []
    for _, row in holds.iterrows():
        point = {
            name: float(row[column_of(name)]) * (0.017453292519943295 if kind_of(name) == "angle"
                                                 else 1.0)
            for name in study.names
        }  # fmt: skip
        made = {name: value for name, value in point.items() if name not in DEPTH_RULES}
        bottom = bottom_at(study.profile, made)
        rows.append({
            "case": int(row["case"]),
            **{column_of(name): float(row[column_of(name)]) for name in study.names},
            PRESSURE: float(row[PRESSURE]),
            "gauge_mm": bottom.sheet.bottom_gauge,
            "can_g": mass_of(bottom, can_height).can_g,
            "spare": float(row[PRESSURE]) / needed - 1.0,
        })  # fmt: skip
    columns = ["case", *(column_of(n) for n in study.names), PRESSURE, "gauge_mm", "can_g", "spare"]
    table = pd.DataFrame(rows, columns=columns).sort_values(
        ["can_g", "spare"], ascending=[True, False], kind="stable", ignore_index=True
    )
    closest = None
    if not rows and len(answered):
        top = answered.loc[answered[PRESSURE].idxmax()]
        closest = int(top["case"]), float(top[PRESSURE])
    return Ranking(study, table, needed, len(answered), len(cases), closest, can_height)
