"""Advance a shell through one stage: tools move, forces grow, loads fade, in controlled steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.errors import SolveError
from domemargin.fea.stroke.step import State, step

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Goal:
    """Where a stage ends: places of the tools, force of the held tool (N, up), dead loads."""

    places: Floats
    force: float = 0.0
    dead: Floats | None = None


@dataclass(frozen=True)
class Pace:
    """Steps of a stage, as shares of it.

    first : first step.  most : longest step.  least : shortest step, after which the stage fails.
    """

    first: float
    most: float
    least: float = 1e-5


def advance(
    press: Any,
    start: State,
    goal: Goal,
    pace: Pace,
    force: float = 0.0,
    seen: Callable[[State], bool] | None = None,
) -> State:
    """The state at the goal; places, force and loads change in proportion.

    press, start : as of step.step.  force : of the held tool at the start, N.
    seen : called after every step; the stage ends early if it returns True.
    Steps are halved where the iteration fails.
    Raises SolveError if the shortest step does not converge.
    """
    state, share, length = start, 0.0, pace.first
    first_dead = start.dead
    last_dead = first_dead if goal.dead is None else goal.dead
    move: Floats | None = None
    moved, before = 1.0, None
    while share < 1.0 - 1e-12:
        length = min(length, 1.0 - share)
        now = share + length
        places = start.places + now * (goal.places - start.places)
        held = force + now * (goal.force - force)
        dead = first_dead + now * (last_dead - first_dead)
        guesses = [None] if move is None else [move * (length / moved), None]
        error: SolveError | None = None
        base = state if before is None else press.ahead(state, before, length / moved)
        for guess in guesses:
            try:
                new = step(press, base, places, held, dead, guess)
                break
            except SolveError as caught:
                error = caught
        else:
            length *= 0.5
            move = before = None
            if length < pace.least:
                assert error is not None
                raise error
            continue
        move, moved = new.shell.x.ravel() - state.shell.x.ravel(), length
        before, state, share = state, new, now
        length = min(pace.most, 1.5 * length)
        if seen is not None and seen(state):
            break
    return state
