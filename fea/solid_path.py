"""From the unloaded state to the first axisymmetric limit of the pressure.

Each step is controlled by arc length in the (V, p) plane (path.py).  A step is kept only if the
path turned little and the inertia fits what the path did: no negative pivot while the pressure
has only risen, one after the first peak.  A step that jumped over a peak onto another branch
fails that test and is halved.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fea.banded import factor, solve
from fea.errors import SolveError
from fea.path import Control, Newton, Step, System, take_step

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stepping:
    """Sizes of steps, in arc length of the (V / volume_scale, p / pressure_scale) plane.

    first, longest, shortest : steps.  turn : largest change of direction in one step, radians.
    steps : most steps accepted.  beyond : steps taken past the peak.
    ceiling : MPa; the search ends there ("no limit below").  accuracy : of the limit, relative.
    """

    first: float = 0.05
    longest: float = 0.1
    shortest: float = 1e-6
    turn: float = 0.6
    steps: int = 2000
    beyond: int = 2
    ceiling: float = float("inf")
    accuracy: float = 1e-4


class Followed(NamedTuple):
    """A path to its first limit.

    ending : "limit", "ceiling" or "steps".  states : along the path, from the unloaded one.
    negative : negative pivots at each.  top : index of the state at the peak, or of the last
    one if there is no peak.  iterations : tangents factored, rejected steps included.
    """

    ending: str
    states: list[Any]
    negative: list[int]
    top: int
    iterations: int

    @property
    def limit(self) -> Any:
        """State at the peak."""
        return self.states[self.top]


class _Mark(NamedTuple):
    """An accepted state with what the next step needs."""

    state: Any
    predictor: tuple[Floats, Floats] | None
    slope: tuple[float, float]


def follow(
    system: System,
    start: Any,
    volume_scale: float,
    stepping: Stepping | None = None,
    newton: Newton | None = None,
) -> Followed:
    """Raise the pressure from start until it has passed its first peak.

    volume_scale : volume that counts as one step length, in the units of the system's volume;
        the pressure scale is the pressure that sweeps it while the body is still elastic.

    Raises SolveError when the path cannot be carried on.
    """
    stepping, newton = stepping or Stepping(), newton or Newton()
    pressure_scale = volume_scale / _growth(system, start)
    marks = [_Mark(start, None, (0.0, 1.0))]
    negative = [0]
    iterations = 0
    length = stepping.first
    past = 0
    ending = "steps"
    while len(marks) <= stepping.steps:
        last = marks[-1]
        control = Control(*last.slope, volume_scale, pressure_scale, length)
        try:
            step = take_step(system, last.state, control, newton, last.predictor)
            iterations += step.iterations
            _check(step, last, control, past, stepping)
        except SolveError as error:
            length *= 0.5
            if length < stepping.shortest:
                pressure = last.state.pressure
                raise SolveError(f"the path ends at {pressure:.6g} MPa: {error.reason}") from error
            continue
        marks.append(_Mark(step.state, step.factors, step.slope))
        negative.append(step.negative)
        past += past > 0 or step.slope[1] < 0.0
        if past > stepping.beyond:
            ending = "limit"
            break
        if step.state.pressure >= stepping.ceiling:
            ending = "ceiling"
            break
        if step.iterations <= 5:
            length = min(1.5 * length, stepping.longest)
        elif step.iterations > 8:
            length *= 0.7
    states = [mark.state for mark in marks]
    if ending == "limit":
        after = next(i for i, mark in enumerate(marks) if mark.slope[1] < 0.0)
        scales = (volume_scale, pressure_scale)
        peak, more = _refine(system, marks[after - 1], marks[after], scales, newton, stepping)
        iterations += more
        if peak is not None:
            states.insert(after, peak.state)
            negative.insert(after, peak.negative)
    top = int(np.argmax([state.pressure for state in states]))
    return Followed(ending, states, negative, top, iterations)


def _growth(system: System, start: Any) -> float:
    """DV/dp of the unloaded body."""
    found = system.evaluate(start.x.ravel(), start.pressure, start)
    if factor(found.band) != 0:
        raise SolveError("the unloaded body is not held: its stiffness is not positive definite")
    return float(found.gradient @ solve(found.band, found.gradient[:, None])[:, 0])


def _check(step: Step, last: _Mark, control: Control, past: int, stepping: Stepping) -> None:
    chord = (
        (step.state.volume - last.state.volume) / control.volume_scale,
        (step.state.pressure - last.state.pressure) / control.pressure_scale,
    )
    for way in (step.slope, chord):
        along = way[0] * control.cv + way[1] * control.cp
        across = way[0] * control.cp - way[1] * control.cv
        if last.predictor is not None and np.arctan2(abs(across), along) > stepping.turn:
            raise SolveError("the path turns too sharply for one step")
    expected = 1 if step.slope[1] < 0.0 else 0
    if past == 0 and step.negative != expected:
        raise SolveError(
            f"{step.negative} negative pivots where the path allows {expected}: another branch"
        )


def _refine(
    system: System,
    before: _Mark,
    after: _Mark,
    scales: tuple[float, float],
    newton: Newton,
    stepping: Stepping,
) -> tuple[Step | None, int]:
    """The peak: the step from before to after, retaken shorter until dp = 0 at its end.

    Returns the highest step found, None if no higher than before and after, and the iterations.
    """
    cv, cp = before.slope
    low, high = (
        0.0,
        (
            cv * (after.state.volume - before.state.volume) / scales[0]
            + cp * (after.state.pressure - before.state.pressure) / scales[1]
        ),
    )
    rise, fall = before.slope[1], after.slope[1]
    best: Step | None = None
    top = max(before.state.pressure, after.state.pressure)
    iterations = 0
    for _ in range(10):
        # false position on dp, kept off the ends so that the bracket shrinks
        length = low + (high - low) * min(max(rise / (rise - fall), 0.05), 0.95)
        try:
            step = take_step(
                system, before.state, Control(cv, cp, *scales, length), newton, before.predictor
            )
        except SolveError:
            break
        iterations += step.iterations
        gain = step.state.pressure - top
        if gain > 0.0:
            best, top = step, step.state.pressure
        if abs(gain) <= stepping.accuracy * top:
            break
        if step.slope[1] > 0.0:
            low, rise = length, step.slope[1]
        else:
            high, fall = length, step.slope[1]
    return best, iterations
