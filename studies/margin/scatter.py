"""The share of cans below the required pressure when dimensions and metal scatter.

A surrogate is fitted to solved cases that fill the scatter's range, its cross-validated error is
checked, and a hundred thousand cans are drawn and judged by it.  Cans so close to the
requirement that the surrogate's error decides, or out of its range, are solved: all such cans, or
a random part where they are many.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from domemargin.fea.core.record import CAUTION
from domemargin.profiles import InputError
from domemargin.profiles.arrays import Floats
from domemargin.profiles.units import PSI
from domemargin.studies.margin.rare_line import RareReport, rare_report
from domemargin.studies.margin.sensitivity import Index, indices_of
from domemargin.studies.margin.surrogate import Surrogate, surrogate_of
from domemargin.studies.study.cases import Solver
from domemargin.studies.study.distributions import box, draw, frozen, scores_of, values
from domemargin.studies.study.engines import Engine, Processes
from domemargin.studies.study.runner import Outcome, Progress, run_study
from domemargin.studies.study.study import LIST, SOBOL, Plan, Scatter, Study, Varied
from domemargin.studies.study.table import PRESSURE, read_table
from domemargin.studies.verdict.answer import answer_of
from domemargin.studies.verdict.budget import Answer
from domemargin.studies.verdict.calibration import Calibration

REACH = 4.0  # standard deviations that the surrogate covers
_DOUBT = 4.0  # times its error: nearer to the requirement a can is solved
_INDEX_BASE = 2048


@dataclass(frozen=True)
class Influence:
    """How much the scatter of one quantity matters.

    index : Sobol' indices of the reversal pressure under the scatter, each quantity on its own
    (correlations left out).  share_without : share of cans below the requirement, by the
    surrogate, if this quantity did not scatter.
    """

    index: Index
    share_without: float


@dataclass(frozen=True)
class ScatterReport:
    """Pressures in MPa.

    share, low, high : of cans below the required pressure, with the ends of the 95 % interval.
    pressure : (cans,) by the surrogate, a sample of them for figures.  mean, deviation : of all.
    surrogate_error : its cross-validated error.  doubtful : cans near the requirement or out of
    the surrogate's range; solved : doubtful cans solved; unanswered : solved without an answer,
    counted as below.
    rare : the share by a search for the likeliest failing can, where that was asked for.
    answer : pressure of the mean can with its interval.  share_sure : ends of the share as the
    level of all cans moves through that interval.
    """

    study: Study
    cans: int
    share: float
    low: float
    high: float
    mean: float
    deviation: float
    pressure: Floats
    surrogate_error: float
    trained_on: int
    doubtful: int
    solved: int
    unanswered: int
    influences: tuple[Influence, ...]
    rare: RareReport | None = None
    answer: Answer | None = None
    share_sure: tuple[float, float] | None = None
    caution: str = CAUTION


class Interrupted(RuntimeError):  # noqa: N818
    """The solves were interrupted; what is stored is kept."""


def scatter_report(
    study: Study,
    folder: Path,
    engine: Callable[[], Engine] = Processes,
    solver: Solver | None = None,
    cans: int = 100_000,
    training: int = 128,
    most_error: float = 0.5 * PSI,
    most_solved: int = 400,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    rare: bool = False,
    calibration: Calibration | None = None,
) -> ScatterReport:
    """The share of cans below the requirement.

    folder : for the stores of the solves, so that a rerun solves only what is missing.
    cans : drawn.  training : cases solved for the surrogate.  most_error : of the surrogate,
    MPa; worse is rejected (SurrogateError).  most_solved : cans in doubt that are solved.
    calibration : by own tests; the share is that of cans so moved.
    rare : also look for the likeliest failing can, for shares that no drawing meets.
    Raises InputError for a study without [scatter] or requirement, Interrupted.
    """
    scatter, asked = study.scatter, study.requirement()
    if scatter is None:
        raise InputError("scatter is missing from the study; give [scatter.<quantity>]", "scatter")
    # cans moved by own tests meet the requirement where the model meets this
    required, valid = asked, calibration
    if calibration is not None and not calibration.outside(study.profile):
        required = calibration.undone(asked)
        study = replace(study, required=required)

    def solved(plan: Study, name: str) -> Outcome:
        outcome = run_study(plan, folder / name, engine, solver, on_progress)
        if outcome.interrupted:
            raise Interrupted("interrupted; run the same command again to go on")
        return outcome

    cover = training_study(study, training)
    solved(cover, "training.sqlite")
    table = read_table(folder / "training.sqlite")
    surrogate = surrogate_of(cover, table).require(most_error)

    rng = np.random.default_rng(scatter.seed)
    scores = draw(scatter, cans, rng)
    points = values(scatter, scores)
    pressure = surrogate(points)
    outside = (abs(scores) > REACH).any(axis=1)
    doubt = np.flatnonzero(outside | (abs(pressure - required) <= _DOUBT * surrogate.error))
    sure = int((pressure < required).sum() - (pressure[doubt] < required).sum())
    chosen = doubt if len(doubt) <= most_solved else rng.choice(doubt, most_solved, replace=False)
    below = unanswered = 0
    if len(chosen):
        solved(listed(study, points[chosen]), "tail.sqlite")
        found = read_table(folder / "tail.sqlite")
        exact = found[PRESSURE].to_numpy(float)
        none = found["state"].to_numpy() == "none_below_ceiling"
        unanswered = int((np.isnan(exact) & ~none).sum())
        below = int((exact < required).sum()) + unanswered
    share, low, high = share_interval(cans, sure, len(doubt), len(chosen), below)
    mean = float(pressure.mean())
    answer = answer_of(study.profile, mean, 0.0, study.settings.resolution, valid)
    assert answer is not None
    moved = 2.0 * answer.standard / answer.pressure
    ends = tuple(float((pressure * (1.0 + by) < required).mean()) for by in (moved, -moved))
    study = replace(study, required=asked)
    wanted = replace(study, required=required)
    return ScatterReport(
        study, cans, share, low, high, mean, float(pressure.std()),
        pressure[:20_000], surrogate.error, surrogate.cases, len(doubt), len(chosen), unanswered,
        influences(scatter, surrogate, scores, required),
        rare_report(wanted, surrogate) if rare else None, answer, (ends[0], ends[1]),
    )  # fmt: skip


def training_study(study: Study, cases: int) -> Study:
    """A Sobol plan over the range of the scatter."""
    assert study.scatter is not None
    low, high = box(study.scatter, REACH)
    varied = tuple(
        Varied(q.name, (), float(a), float(b))
        for q, a, b in zip(study.scatter.quantities, low, high)
    )
    plan = Plan(SOBOL, cases, study.scatter.seed)
    return replace(study, name=f"{study.name}, training", varied=varied, plan=plan, scatter=None)


def listed(study: Study, points: Floats) -> Study:
    """A plan of given points (n, d) of the scattered quantities."""
    assert study.scatter is not None
    varied = tuple(
        Varied(q.name, tuple(column.tolist()), float(column.min()), float(column.max()))
        for q, column in zip(study.scatter.quantities, points.T)
    )
    return replace(study, name=f"{study.name}, tail", varied=varied, plan=Plan(LIST), scatter=None)


def share_interval(
    cans: int, sure: int, doubtful: int, solved: int, below: int, level: float = 0.95
) -> tuple[float, float, float]:
    """Share of cans below the requirement and an interval for it.

    cans : number drawn; sure : cans certainly below; doubtful : cans in doubt; solved : doubtful
    cans solved, drawn at random; below : solved cans found below.
    With all doubtful cans solved it is the interval of Clopper & Pearson 1934
    (doi 10.1093/biomet/26.4.404).  With a part solved, the drawing of that part adds to
    the variance (two-phase sampling; Cochran, Sampling Techniques, 1977, sec. 12.2, value from
    memory) and the interval is that of a smaller number of cans with the same variance.
    """
    from scipy.stats import beta

    if solved == doubtful:
        share, size = (sure + below) / cans, float(cans)
    else:
        of_doubtful = below / solved
        share = (sure + doubtful * of_doubtful) / cans
        # half a can added to both sides: none found in a small sample does not mean none
        smooth = (below + 0.5) / (solved + 1.0)
        likely = (sure + doubtful * smooth) / cans
        variance = likely * (1.0 - likely) / cans
        variance += (doubtful / cans) ** 2 * smooth * (1.0 - smooth) / solved * (
            1.0 - solved / doubtful
        )  # fmt: skip
        size = max(likely * (1.0 - likely) / variance, 1.0)
    hits, misses = share * size, (1.0 - share) * size
    tail = 0.5 * (1.0 - level)
    low = 0.0 if hits <= 0.0 else float(beta.ppf(tail, hits, misses + 1.0))
    high = 1.0 if misses <= 0.0 else float(beta.ppf(1.0 - tail, hits + 1.0, misses))
    return share, low, high


def influences(
    scatter: Scatter, surrogate: Surrogate, scores: Floats, required: float
) -> tuple[Influence, ...]:
    """Influence of each scatter, the largest first."""
    from SALib.sample import sobol

    names = [q.name for q in scatter.quantities]
    if len(names) == 1:
        one = Index(names[0], 1.0, 0.0, 1.0, 0.0)
        return (Influence(one, float(surrogate(values(scatter, scores[:1] * 0))[0] < required)),)
    unit = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    uniform = sobol.sample(unit, _INDEX_BASE, calc_second_order=False, seed=scatter.seed + 1)
    found = indices_of(unit, surrogate(values(scatter, scores_of(np.asarray(uniform)))))
    out = []
    for i, index in enumerate(found):
        held = surrogate(values(scatter, frozen(scatter, scores, i)))
        out.append(Influence(index, float((held < required).mean())))
    return tuple(sorted(out, key=lambda entry: -entry.index.total))
