"""Two bottoms over the same study."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from domemargin.fea.core.record import CAUTION
from domemargin.profiles import InputError, Profile
from domemargin.profiles.errors import brief_path
from domemargin.profiles.limits import LIMITS, shown
from domemargin.profiles.units import PSI
from domemargin.studies.margin.margin import store_in
from domemargin.studies.study.study import Study
from domemargin.studies.study.table import PRESSURE, read_table, study_in
from domemargin.studies.study.varied import VARIABLE, kind_of, value_in
from domemargin.studies.verdict.budget import IN_DOUBT, NOT_SAFE, SAFE
from domemargin.studies.verdict.table import VERDICT, with_verdicts

if TYPE_CHECKING:
    import pandas as pd

    from domemargin.studies.verdict.calibration import Calibration


@dataclass(frozen=True)
class Comparison:
    """a, b : the studies.  table : one row a point that both have, with pressure_a_mpa and
    pressure_b_mpa; pressures of both known in `both` of `points` rows.
    differing : (quantity, in a, in b) of the base bottoms, in words with units."""

    a: Study
    b: Study
    table: pd.DataFrame
    points: int
    both: int
    differing: tuple[tuple[str, str, str], ...]
    caution: str = CAUTION


def compare(a: Path, b: Path, calibration: Calibration | None = None) -> Comparison:
    """Compare two results (folders of runs, or stores) of the same study.

    calibration : by own tests, of the verdicts.
    Raises InputError where they do not vary the same quantities over the same points.
    """
    paths = store_in(a), store_in(b)
    first, second = (study_in(path) for path in paths)
    if first.varied != second.varied or first.plan != second.plan:
        raise InputError(
            f"{brief_path(a)} and {brief_path(b)} are results of different studies; run one "
            "study file on both profiles: domemargin study FILE --profile PROFILE",
            "compare",
        )
    tables = [read_table(path) for path in paths]
    keep = [c for c in tables[0].columns if c == "case" or c in _columns(first)]
    table = tables[0][keep].copy()
    for name, other in zip("ab", tables):
        table[f"pressure_{name}_mpa"] = other[PRESSURE].to_numpy(float)
        study = first if name == "a" else second
        judged = with_verdicts(other, study, calibration)
        if VERDICT in judged:
            table[f"verdict_{name}"] = judged[VERDICT].to_numpy()
        table[f"state_{name}"] = other["state"].to_numpy()
    both = int(np.isfinite(table[["pressure_a_mpa", "pressure_b_mpa"]]).all(axis=1).sum())
    return Comparison(
        first, second, table, len(table), both, differing(first.profile, second.profile)
    )


def _columns(study: Study) -> set[str]:
    from domemargin.studies.study.varied import column_of

    return {column_of(name) for name in study.names}


def differing(a: Profile, b: Profile) -> tuple[tuple[str, str, str], ...]:
    """In what two bottoms differ: (quantity, in a, in b), in words with units."""
    names = [name for name, known in VARIABLE.items() if known.key in LIMITS]
    rows = [(name.replace("_", " "), _shown(a, name), _shown(b, name)) for name in names]
    rows += [
        ("radii on", a.shape.radii_on, b.shape.radii_on),
        ("metal", a.material.name, b.material.name),
        ("hardening", *_told_apart(a.material.hardening, b.material.hardening)),
        ("reverse loading, r-value, heat", *_told_apart(_rest(a), _rest(b))),
        ("along the bottom", *_told_apart((a.zones, a.along), (b.zones, b.along))),
        ("left by forming", *_told_apart(a.formed, b.formed)),
    ]
    return tuple(row for row in rows if row[1] != row[2])


def _shown(profile: Profile, name: str) -> str:
    """A quantity with the unit people read; a dome of several zones by all its radii."""
    if name == "dome_radius":
        return " / ".join(f"{radius:.5g}" for radius in profile.shape.dome_radii) + " mm"
    try:
        return shown(value_in(profile, name), kind_of(name), 5)
    except (TypeError, InputError):  # the yield strength of an elastic metal
        return "none"


def _rest(profile: Profile) -> tuple[object, ...]:
    """What of a metal has no row of its own."""
    m = profile.material
    return m.kinematic_share, m.back_stress, m.r_value, m.temperature, m.bake


def _told_apart(a: object, b: object) -> tuple[str, str]:
    """Words for two values that differ but are too long to show."""
    return ("the same", "the same") if a == b else ("one", "another")


def pressure_rows(comparison: Comparison) -> list[tuple[str, str, str]]:
    """(what, in the first, in the second) for the pressures of both."""
    table = comparison.table
    both = table.dropna(subset=["pressure_a_mpa", "pressure_b_mpa"])
    rows = []
    for what, function in (("lowest", np.min), ("mean", np.mean), ("highest", np.max)):
        if len(both):
            a, b = (float(function(both[f"pressure_{n}_mpa"])) / PSI for n in "ab")
            rows.append((f"{what} reversal pressure", f"{a:.1f} psi", f"{b:.1f} psi"))
    for required in dict.fromkeys((comparison.a.required, comparison.b.required)):
        if required is None or not len(both):
            continue
        a, b = (int((both[f"pressure_{n}_mpa"] >= required).sum()) for n in "ab")
        text = f"hold {required / PSI:.4g} psi, of {len(both)} points"
        rows.append((text, str(a), str(b)))
    if "verdict_a" in table and "verdict_b" in table:
        for word in (SAFE, IN_DOUBT, NOT_SAFE):
            one, other = (int((table[f"verdict_{n}"] == word).sum()) for n in "ab")
            if one or other:
                rows.append((f"points {word} by the interval", str(one), str(other)))
    a, b = (int(table[f"pressure_{n}_mpa"].isna().sum()) for n in "ab")
    rows.append(("points without a pressure", str(a), str(b)))
    return rows
