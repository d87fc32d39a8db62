"""Results of a finished study: margins, tolerable depth loss, slopes, what matters most."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.fea.bottom.accuracy import refined_limit
from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import CAUTION
from domemargin.profiles.errors import brief_path
from domemargin.profiles.files.contents import STORE, content_of
from domemargin.profiles.units import PSI
from domemargin.studies.margin.sensitivity import Sensitivity, sensitivity
from domemargin.studies.margin.slopes import USUAL, Slope, slope_of
from domemargin.studies.margin.surrogate import Surrogate, SurrogateError, surrogate_of
from domemargin.studies.margin.tolerable import (
    RESOLUTION,
    Tolerable,
    depth_rule,
    tolerable_loss,
)
from domemargin.studies.study.engines import Engine, Processes, WorkerError
from domemargin.studies.study.store import Store, StoreError
from domemargin.studies.study.study import GRID, Study
from domemargin.studies.study.table import PRESSURE, read_table, study_in
from domemargin.studies.study.varied import DEPTH_RULES, column_of, kind_of
from domemargin.studies.verdict.table import with_verdicts

if TYPE_CHECKING:
    import pandas as pd

    from domemargin.studies.verdict.calibration import Calibration

MOST_LEVELS = 24  # of other quantities at which the tolerable loss is solved for


@dataclass(frozen=True)
class MarginReport:
    """table : of the study (study/table.py).  counts : state -> points.  tolerable : by inverse
    solve at each level of the other quantities.  surrogate, sensitivity : None where
    why_no_surrogate says why.  wanted : margin asked for, a share of the requirement.
    calibration : by own tests, of the verdicts in the table and of the tolerable loss."""

    study: Study
    table: pd.DataFrame
    counts: dict[str, int]
    reasons: list[tuple[str, str, int]]
    tolerable: tuple[Tolerable, ...]
    slopes: tuple[Slope, ...]
    surrogate: Surrogate | None
    sensitivity: Sensitivity | None
    why_no_surrogate: str
    wanted: float = 0.0
    calibration: Calibration | None = None
    caution: str = CAUTION

    @property
    def target(self) -> float | None:
        """The pressure to hold with the margin asked for, MPa; None where none is required."""
        return None if self.study.required is None else self.study.required * (1.0 + self.wanted)


def store_in(result: Path) -> Path:
    """The store of a result: the file itself, or the one in a run's folder.  Raises StoreError."""
    try:
        path = result / "study.sqlite" if result.is_dir() else result
        there = path.exists()
    except (OSError, ValueError):  # no file can have that name
        there = False
    if not there:
        raise StoreError(
            f"there is no study result at {brief_path(result)}; give the folder of a study's run",
            "RESULT",
        )
    try:
        found = content_of(path.read_bytes()[:100_000]) if path.is_file() else "a folder"
    except OSError as error:
        raise StoreError(f"{brief_path(path)} cannot be read: {error.strerror}", "RESULT") from None
    if path == result and found not in ("", STORE):
        raise StoreError(
            f"{brief_path(path)} is {found}, not a study's result; give the folder of a run of "
            "`domemargin study`",
            "RESULT",
        )
    return path


def margin_report(
    path: Path,
    margin: float = 0.0,
    required: float | None = None,
    most_error: float = 0.5 * PSI,
    engine: Callable[[], Engine] = Processes,
    solve: Callable[..., Any] = reversal,
    calibration: Calibration | None = None,
) -> MarginReport:
    """The margins of a study's store, which may still be filling.

    margin : asked for, a share of the requirement.  required : another requirement than the
    study's, MPa.  most_error : of the surrogate, MPa; a worse one is rejected and left out.
    engine : where the inverse solves run.  calibration : by own tests.
    Raises StoreError, InputError.
    """
    study = study_in(path)
    table = read_table(path)
    if required is not None:
        study = replace(study, required=required)
        table["margin"] = table[PRESSURE] / required - 1.0
    table = with_verdicts(table, study, calibration)
    with Store.read(path) as store:
        counts, reasons = store.counts(), store.reasons()
    surrogate, found, why = None, None, ""
    try:
        surrogate = surrogate_of(study, table).require(most_error)
        if len(study.varied) > 1:
            found = sensitivity(study, table, surrogate)
    except SurrogateError as error:
        why = str(error)
    level = 1.0
    if calibration is not None and study.required is not None:
        level = level_for(calibration, study)
    tolerable, slopes = _solved(study, table, margin, engine, solve, level)
    return MarginReport(
        study,
        table,
        counts,
        reasons,
        tolerable,
        slopes,
        surrogate,
        found,
        why,
        margin,
        calibration,
    )


def level_for(calibration: Calibration, study: Study) -> float:
    """Real over modelled pressure where a study's bottoms just hold; 1 outside the calibration's
    family."""
    if calibration.outside(study.profile):
        return 1.0
    required = study.requirement()
    return required / calibration.undone(required)


def levels(study: Study) -> list[dict[str, float]]:
    """The levels of the quantities other than depth at which the tolerable loss is wanted: all
    of a grid's, or some values of each, ends included, where those are many; else the base
    bottom."""
    others = [v for v in study.varied if v.name not in (*DEPTH_RULES, "dome_depth")]
    if study.plan.kind != GRID or not others:
        return [{}]
    many = [len(v.values) for v in others]
    while math.prod(many) > MOST_LEVELS:
        many[many.index(max(many))] -= 1
    kept = [[v.values[i] for i in _spread(len(v.values), n)] for v, n in zip(others, many)]
    return [dict(zip([v.name for v in others], row)) for row in itertools.product(*kept)]


def _spread(length: int, number: int) -> list[int]:
    """Some places in a list, evenly spaced; the ends included if there are at least two."""
    if number == 1:
        return [(length - 1) // 2]
    return [round(i * (length - 1) / (number - 1)) for i in range(number)]


def guess(study: Study, table: pd.DataFrame, at: dict[str, float], target: float) -> float | None:
    """Depth loss, mm, at which a grid's pressure falls to the target; None where it does not."""
    rule = depth_rule(study)
    column = column_of(rule if rule in study.names else "dome_depth")
    if column not in table or study.plan.kind != GRID:
        return None
    rows = table[table[PRESSURE].notna()]
    for name, value in at.items():
        shown = math.degrees(value) if kind_of(name) == "angle" else value
        rows = rows[np.isclose(rows[column_of(name)], shown, rtol=1e-9, atol=0.0)]
    loss = rows[column].to_numpy(float)
    if rule not in study.names:
        loss = study.profile.shape.dome_depth - loss
    order = np.argsort(loss)
    loss, over = loss[order], rows[PRESSURE].to_numpy(float)[order] - target
    missed = np.flatnonzero(over < 0.0)
    if not len(missed) or missed[0] == 0:
        return None
    i = int(missed[0])
    return float(loss[i - 1] + (loss[i] - loss[i - 1]) * over[i - 1] / (over[i - 1] - over[i]))


def _solved(
    study: Study,
    table: pd.DataFrame,
    margin: float,
    engine: Callable[[], Engine],
    solve: Callable[..., Any],
    level: float,
) -> tuple[tuple[Tolerable, ...], tuple[Slope, ...]]:
    made = engine()
    try:
        losses = []
        if study.required is not None:
            margin = (1.0 + margin) / level - 1.0
            target = study.required * (1.0 + margin)
            # waves that come first are not what the judge looks for
            judge = refined_limit if solve is reversal else None
            for at in levels(study):
                near = guess(study, table, at, target)
                work = (study, at, margin, near, solve, RESOLUTION, judge)
                losses.append(made.submit(tolerable_loss, *work))
        names = dict.fromkeys((*USUAL, *study.names))
        slopes = [made.submit(slope_of, study.profile, study.settings, n, solve) for n in names]
        out = tuple(f.result() for f in losses), tuple(f.result() for f in slopes)
    except made.lost as error:
        made.close(at_once=True)
        raise WorkerError("a worker died in an inverse solve; run the command again") from error
    except BaseException:
        made.close(at_once=True)
        raise
    made.close()
    return out
