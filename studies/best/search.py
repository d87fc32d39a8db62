"""The least value of a function within limits, from several starts, on slopes by differences.

Variables run from 0 to 1.  Slopes are central differences of the function itself; steps are by
sequential quadratic programming (SLSQP of scipy; Kraft 1988).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from domemargin.profiles.arrays import Floats

HOLDS = 2e-5  # share by which a limit may be passed and still counts as held
AGREE = 1e-3  # share of the objective within which two ends are one
_WORSE = 0.5  # of objective and limits where there is no answer


class Value(NamedTuple):
    """objective : to be made least.  margins : (m,) of the limits, each held from 0 up."""

    objective: float
    margins: Floats


Evaluate = Callable[[Floats], Value | None]


@dataclass(frozen=True)
class Found:
    """An end of a search.

    x : (n,) in 0..1.  value : there.  slopes : (n,) of the objective, and (m, n) of the margins.
    holds : whether all limits are held.  steps : of the search.
    """

    x: Floats
    value: Value
    slopes: tuple[Floats, Floats]
    holds: bool
    steps: int


class Differences:
    """A function that remembers, and its slopes.

    step : of the central differences.  count : distinct evaluations made.
    """

    def __init__(self, evaluate: Evaluate, step: float = 0.004) -> None:
        self._evaluate, self._step = evaluate, step
        self._known: dict[bytes, Value | None] = {}
        self.count = 0

    def __call__(self, x: Floats) -> Value | None:
        """The value at x; None where there is no answer."""
        x = np.clip(x, 0.0, 1.0)
        key = np.round(x, 12).tobytes()
        if key not in self._known:
            self._known[key] = self._evaluate(x)
            self.count += 1
        return self._known[key]

    def slopes(self, x: Floats) -> tuple[Floats, Floats]:
        """Slopes of objective and margins at x: over a step to each side, within 0..1."""
        x = np.clip(x, 0.0, 1.0)
        middle = self(x)
        assert middle is not None  # slopes are asked for where there is an answer
        first, rest = np.zeros(x.size), np.zeros((middle.margins.size, x.size))
        for i in range(x.size):
            ends = []
            for side in (-1.0, 1.0):
                at = x.copy()
                at[i] = min(max(x[i] + side * self._step, 0.0), 1.0)
                value = self(at)
                if value is not None and at[i] != x[i]:
                    ends.append((at[i], value))
            if len(ends) < 2:
                ends.append((x[i], middle))
            if len(ends) < 2:
                continue
            (a, low), (b, high) = ends[:2]
            first[i] = (high.objective - low.objective) / (b - a)
            rest[:, i] = (high.margins - low.margins) / (b - a)
        return first, rest


def descend(
    function: Differences, start: Floats, most: int = 25, close: float = 1e-6
) -> Found | None:
    """From a start to the nearest least value; None where the start has no answer.

    most : steps.  close : change of the objective in a step at which the search ends.
    """
    from scipy.optimize import minimize

    begin = function(start)
    if begin is None:
        return None
    best: list[tuple[tuple[bool, float], Floats]] = []

    def value(x: Floats) -> Value:
        found = function(x)
        if found is None:
            return Value(begin.objective + _WORSE, begin.margins - _WORSE)
        holds = bool(np.min(found.margins, initial=0.0) >= -HOLDS)
        rank = (not holds, found.objective if holds else -float(np.min(found.margins)))
        if not best or rank < best[0][0]:
            best[:] = [(rank, np.clip(x, 0.0, 1.0))]
        return found

    last: dict[str, Any] = {"x": np.clip(start, 0.0, 1.0)}

    def slopes(x: Floats) -> tuple[Floats, Floats]:
        # where a step has led to no answer the slopes of the last answer are the only ones
        if function(x) is not None:
            last["x"] = np.clip(x, 0.0, 1.0)
        return function.slopes(last["x"])

    rules: list[dict[str, Any]] = []
    if begin.margins.size:
        rules = [{
            "type": "ineq", "fun": lambda x: value(x).margins, "jac": lambda x: slopes(x)[1]
        }]  # fmt: skip
    ended = minimize(
        lambda x: value(x).objective, np.clip(start, 0.0, 1.0), jac=lambda x: slopes(x)[0],
        bounds=[(0.0, 1.0)] * start.size, constraints=rules, method="SLSQP",
        options={"maxiter": most, "ftol": close},
    )  # fmt: skip
    value(ended.x)
    x = best[0][1]
    there = function(x)
    assert there is not None  # the start has an answer
    return Found(x, there, function.slopes(x), not best[0][0][0], int(ended.nit))


def best_of(ends: Sequence[Found]) -> Found:
    """The end that holds the limits at the least objective; else the one nearest to holding."""
    held = [end for end in ends if end.holds]
    if held:
        return min(held, key=lambda end: end.value.objective)
    return max(ends, key=lambda end: float(np.min(end.value.margins)))


def merit(value: Value) -> float:
    """Objective with what passes a limit counted five times: to choose among starts."""
    return value.objective + 5.0 * float(np.sum(np.maximum(-value.margins, 0.0)))


def search(
    function: Differences, starts: Sequence[Floats], chosen: int = 3, most: int = 25
) -> tuple[Found, ...]:
    """The ends of the searches from the best `chosen` of the starts, the best end first; two ends
    that agree are enough."""
    values = [(merit(v), i) for i, x in enumerate(starts) if (v := function(x)) is not None]
    ends: list[Found] = []
    for _, i in sorted(values)[:chosen]:
        end = descend(function, starts[i], most, 1e-5)
        ends += [] if end is None else [end]
        held = sorted(other.value.objective for other in ends if other.holds)
        if len(held) > 1 and held[1] - held[0] < AGREE * abs(held[0]):
            break
    if not ends:
        return ()
    first = best_of(ends)
    return (first, *(end for end in ends if end is not first))


def weights(found: Found) -> tuple[Floats, Floats]:
    """How much each limit holds the objective up: multipliers of the margins (m,), and of the
    ranges of the variables (n,), from 0 up: what the objective would fall by per unit of margin
    given away (Karush, Kuhn and Tucker), by least squares without negative numbers."""
    from scipy.optimize import nnls

    slope, rows = found.slopes
    x, margins = found.x, found.value.margins
    active = np.flatnonzero(margins < 1e-3)
    low, high = np.flatnonzero(x < 1e-6), np.flatnonzero(x > 1.0 - 1e-6)
    unit = np.eye(x.size)
    columns = [*rows[active], *unit[low], *(-unit[high])]
    of_margins, of_ranges = np.zeros(margins.size), np.zeros(x.size)
    if columns:
        solved, _ = nnls(np.stack(columns, axis=1), slope)
        of_margins[active] = solved[: active.size]
        of_ranges[np.concatenate((low, high))] = solved[active.size :]
    return of_margins, of_ranges
