"""Tolerable depth loss: the loss at which the solved pressure equals the requirement.

The root is bracketed and then found by Brent's method (Brent 1973, ch. 4) on solves of a
finer resolution than a map needs: along the depth, 0.2 % of the pressure is 0.03 mm.  One solve of
twice the elements and layers and far shorter steps there moves the root by what it finds, over the
slope; a third of that is taken for what is left (measured: tests/test_margin.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import ROUGH
from domemargin.profiles import InputError, Profile
from domemargin.studies.study.study import Study
from domemargin.studies.study.varied import DEPTH_RULES, DIE_SET_BACK, bottom_at

RESOLUTION = 0.0005
TOLERANCE = 0.001  # mm, of the root
MOST_LOSS = 1.5  # mm, where a study gives no range
_STEPS = 6
_LEFT = 1.0 / 3.0
_FAR = 0.005
_APART = 0.005  # mm
Judge = Callable[[Profile, float], float | None]
NOT_HELD = "it does not hold the requirement with no depth lost"
MORE_THAN = "more than "


@dataclass(frozen=True)
class Tolerable:
    """The tolerable depth loss at some values of the other quantities.

    at : quantity -> value, internal units.  rule : how depth is lost (studies/study/varied.py).
    loss : mm, None where there is none (reason).  error : what mesh, layers and steps leave
    uncertain, mm; the uncertainty of the model is not in it.  pressure : reversal pressure
    without loss, MPa.  solves : their number.
    """

    at: dict[str, float]
    rule: str
    loss: float | None
    error: float | None
    pressure: float | None
    reason: str
    solves: int


class _NoAnswerError(Exception):
    pass


def depth_rule(study: Study) -> str:
    """How depth is lost in a study: by the rule that it varies, else by die set back."""
    return next((name for name in study.names if name in DEPTH_RULES), DIE_SET_BACK)


def most_loss(study: Study) -> float:
    """The largest loss considered in a study, mm."""
    rule = depth_rule(study)
    for varied in study.varied:
        if varied.name == rule and varied.high > 0.0:
            return varied.high
        if varied.name == "dome_depth" and varied.low < study.profile.shape.dome_depth:
            return study.profile.shape.dome_depth - varied.low
    return MOST_LOSS


def tolerable_loss(
    study: Study,
    at: Mapping[str, float],
    margin: float = 0.0,
    guess: float | None = None,
    solve: Callable[..., Any] = reversal,
    resolution: float = RESOLUTION,
    judge: Judge | None = None,
) -> Tolerable:
    """The smallest loss at which the margin falls to the margin asked for.

    at : the other quantities.  margin : asked for, a share of the requirement.  guess : first
    loss tried, mm.  resolution : of the solves, or the study's if that is finer.
    judge : a far finer solve (fea/bottom/accuracy.py), of a bottom and a ceiling.
    Raises InputError for a study without a requirement.
    """
    from scipy.optimize import brentq

    rule, most = depth_rule(study), most_loss(study)
    target = study.requirement() * (1.0 + margin)
    settings = replace(
        study.settings, resolution=min(resolution, study.settings.resolution), growth_at=()
    )
    known: dict[float, float] = {}

    def excess(loss: float) -> float:
        if loss not in known:
            known[loss] = _pressure(study, {**at, rule: loss}, settings, solve) - target
        return known[loss]

    def result(loss: float | None, error: float | None = None, reason: str = "") -> Tolerable:
        bare = known[0.0] + target if 0.0 in known else None
        return Tolerable(dict(at), rule, loss, error, bare, reason, len(known))

    try:
        if excess(0.0) < 0.0:
            return result(None, reason=NOT_HELD)
        low, high = _bracket(excess, most, guess)
        if high is None:
            return result(None, reason=f"{MORE_THAN}{most:.4g} mm, the largest loss looked at")
        root = brentq(excess, low, high, xtol=TOLERANCE, rtol=1e-12)
    except _NoAnswerError as missing:
        return result(None, reason=f"a solve on the way has no answer: {missing}")
    slope = _slope(known, float(root))
    error = settings.resolution * target / slope if slope > 0.0 else None
    if judge is not None and slope > 0.0:
        fine = judge(bottom_at(study.profile, {**at, rule: float(root)}), settings.ceiling)
        # a solve that finds another limit, or waves, judges nothing
        if fine is not None and abs(fine / target - 1.0) < _FAR:
            moved = (fine - target) / slope
            if root + moved > 0.0:
                return result(
                    float(root) + moved, math.hypot(_LEFT * moved, 3.0 * ROUGH * target / slope)
                )
    return result(float(root), error)


def _slope(known: Mapping[float, float], root: float) -> float:
    """Fall of the pressure with loss about the root, MPa per mm, from the solves there are."""
    apart = sorted(known, key=lambda loss: abs(loss - root))
    below = next((loss for loss in apart if loss < root - _APART), None)
    above = next((loss for loss in apart if loss > root + _APART), None)
    if below is None or above is None:
        ends = sorted(known)
        below, above = ends[0], ends[-1]
    return abs(known[above] - known[below]) / (above - below) if above > below else 0.0


def _pressure(
    study: Study, point: Mapping[str, float], settings: Any, solve: Callable[..., Any]
) -> float:
    try:
        record = solve(bottom_at(study.profile, point), settings)
    except InputError as error:
        raise _NoAnswerError(str(error)) from None
    except Exception as error:  # as in a study, a solve that fails is an answer too
        raise _NoAnswerError(f"{type(error).__name__}: {error}") from None
    if record.reversal_pressure_mpa is not None:
        return float(record.reversal_pressure_mpa)
    if record.kind == "none_below_ceiling":
        return float(settings.ceiling)
    raise _NoAnswerError(record.reason)


def _bracket(
    excess: Callable[[float], float], most: float, guess: float | None
) -> tuple[float, float | None]:
    """Two losses with the requirement met at the first and missed at the second; None for the
    second if it is met up to the most."""
    if guess is not None:
        reach = 0.02
        while reach < most:
            low, high = max(guess - reach, 0.0), min(guess + reach, most)
            if excess(low) >= 0.0 > excess(high):
                return low, high
            reach *= 4.0
    low = 0.0
    for i in range(1, _STEPS + 1):
        high = most * i / _STEPS
        if excess(high) < 0.0:
            return low, high
        low = high
    return low, None
