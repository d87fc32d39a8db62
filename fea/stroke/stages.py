"""The stages of a doming stroke, from the blank on the punch to the can at rest.

1 the blank, bent over the punch, is released against it;  2 the clamp ring presses it;  3 the die
rises until punch nose and flange bottom or the stroke ends;  4 die, ring and punch leave, in this
order, and the metal springs back.

A tool leaves by turning its contact forces into dead loads that fade; the tools that stay keep
their contact.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.errors import SolveError
from domemargin.fea.stroke.advance import Goal, Pace, advance
from domemargin.fea.stroke.press import (
    CLAMP,
    DIE,
    PUNCH,
    FormingSettings,
    hold_wall,
    press_of,
    pull,
    touching,
    wall_top,
)
from domemargin.fea.stroke.step import FormingState, Press, loosened, resting, step
from domemargin.fea.stroke.stroke import Moment, StrokePath
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

TWO_PI = 2.0 * math.pi
STAGES = ("blank", "clamp", "stroke", "die off", "clamp off", "punch off")
HELD = ("blank", "clamp off", "punch off")  # in which the height of the wall's top is held
RETRY = 0.6  # of the longest step, for a stroke that could not be carried on


@dataclass(frozen=True)
class Formed:
    """The states of a doming solve.

    press : with the shell of the metal.  meridian, material : of the blank.  stages :
    (name, state) at the end of each stage that was reached.  moments : of the stroke.
    middle : a state half way up.  touch_mm, bottom_mm : places of the die where it first touches
    and where the flange would meet the sheet under the nose.  last : the last equilibrium of the
    stroke, also of one that failed.  sensitivity : rise at the end by force of the station's
    spring, mm/N; 0 where the spring does not end the stroke.  failed : the stage that could not
    be carried on, or "".  reason : why.
    """

    press: Press
    meridian: Meridian
    material: Material
    stages: tuple[tuple[str, FormingState], ...]
    moments: tuple[Moment, ...]
    middle: FormingState | None
    touch_mm: float
    bottom_mm: float
    last: FormingState | None
    sensitivity: float
    failed: str
    reason: str

    def at(self, stage: str) -> FormingState:
        """The state at the end of a stage.  Raises KeyError if it was not reached."""
        return dict(self.stages)[stage]


Watch = Callable[[str, FormingState, tuple[int, ...]], None]


def form(
    tooling: Tooling, settings: FormingSettings | None = None, watch: Watch | None = None
) -> Formed:
    """Carry a blank through the doming stroke and release it.

    watch : called after every step with stage, state and the numbers of the tools that act.
    A stage that cannot be carried on is named in the result, not raised.
    """
    settings = settings or FormingSettings()
    press, bent, meridian = press_of(tooling, settings)
    run = _Run(tooling, settings, press, watch)
    failed = reason = ""
    stage = STAGES[0]
    try:
        state = run.lay(bent)
        for stage, act in zip(STAGES, run.acts()):
            run.stage = stage
            state = act(state)
            run.stages.append((stage, state))
    except SolveError as error:
        failed, reason = stage, f"stage {stage!r}: {error.reason}"
    return Formed(
        replace(press, shell=hold_wall(press.shell, True)),
        meridian,
        tooling.material,
        tuple(run.stages),
        tuple(run.path.moments),
        run.path.middle,
        run.path.touch,
        run.path.bottom,
        run.path.last,
        run.path.sensitivity,
        failed,
        reason,
    )


class _Run:
    """The stages of one solve; collects what they pass through."""

    def __init__(
        self, tooling: Tooling, settings: FormingSettings, press: Press, watch: Watch | None
    ) -> None:
        self.tooling, self.settings, self.press, self.watch = tooling, settings, press, watch
        self.stage = STAGES[0]
        self.acting: tuple[int, ...] = ()
        self.stages: list[tuple[str, FormingState]] = []
        self.path = StrokePath(tooling, press, self._seen)

    def acts(self) -> tuple[Callable[[FormingState], FormingState], ...]:
        """The action of each of STAGES."""
        return (
            self.let_go,
            self.clamp,
            self.stroke,
            self.die_off,
            self.clamp_off,
            self.punch_off,
        )

    def _with(self, *tools: int, held: int = -1, wall: bool = False) -> Press:
        if self.tooling.clamp_force == 0.0:
            # a ring without force is moved out of the way
            tools, held = tuple(i for i in tools if i != CLAMP), -1
        self.acting = tools
        active = tuple(i in tools for i in range(len(self.press.tools)))
        shell = hold_wall(self.press.shell, wall)
        return replace(self.press, shell=shell, active=active, held=held)

    def _seen(self, state: FormingState) -> bool:
        if self.watch is not None:
            self.watch(self.stage, state, self.acting)
        return False

    def lay(self, bent: object) -> FormingState:
        """The bent blank on the punch, its forces out of balance held by dead loads."""
        press = self._with(PUNCH, wall=True)
        far = -self.tooling.die.flange_height - 5.0
        state = resting(press, bent, (0.0, far, -5.0))  # type: ignore[arg-type]
        return loosened(press, state)

    def let_go(self, state: FormingState) -> FormingState:
        press = self._with(PUNCH, wall=True)
        goal = Goal(state.places, dead=np.zeros(press.shell.n))
        return advance(press, state, goal, Pace(0.02, 0.25), seen=self._seen)

    def clamp(self, state: FormingState) -> FormingState:
        force = self.tooling.clamp_force
        press = self._with(PUNCH, CLAMP, held=CLAMP, wall=True)
        if force > 0.0:
            places = state.places.copy()
            places[CLAMP] = touching(press, state, CLAMP, 0.003)
            state = replace(state, places=places)
            state = advance(press, state, Goal(places, force), Pace(0.02, 0.3), seen=self._seen)
        # the wall's top is released: its reaction becomes the pull of the wall on the punch
        free = self._with(PUNCH, CLAMP, held=CLAMP)
        state = loosened(free, state)
        grip = pull(free.shell, self.tooling.blank.wall_grip)
        goal = Goal(state.places, force, grip)
        return advance(free, state, goal, Pace(0.2, 0.5), force, self._seen)

    def stroke(self, state: FormingState) -> FormingState:
        press = self._with(PUNCH, DIE, CLAMP, held=CLAMP)
        longest = self.settings.step
        # contact that changes within a step may prevent equilibrium: with other steps it
        # did not in the cases seen
        for step_mm in (longest, RETRY * longest):
            self.path = StrokePath(self.tooling, press, self._seen)
            try:
                return self.path.raised(state, step_mm)
            except SolveError as error:
                failure = error
        raise failure

    def _without(self, press: Press, state: FormingState, goal: Goal, force: float) -> FormingState:
        """Reduce to zero the dead loads that keep the metal in place."""
        state = loosened(press, state)
        return advance(press, state, goal, Pace(0.02, 0.25), force, self._seen)

    def die_off(self, state: FormingState) -> FormingState:
        force = self.tooling.clamp_force
        press = self._with(PUNCH, CLAMP, held=CLAMP)
        grip = pull(press.shell, self.tooling.blank.wall_grip)
        return self._without(press, state, Goal(state.places, force, grip), force)

    def clamp_off(self, state: FormingState) -> FormingState:
        press = self._with(PUNCH, wall=True)
        return self._without(press, state, Goal(state.places, dead=np.zeros(press.shell.n)), 0.0)

    def punch_off(self, state: FormingState) -> FormingState:
        press = self._with(wall=True)
        goal = Goal(state.places, dead=np.zeros(press.shell.n))
        state = self._without(press, state, goal, 0.0)
        # layers follow their thickness one step late: let them settle
        for _ in range(2):
            state = step(press, state, state.places)
        return state


def wall_reaction(formed: Formed, state: FormingState) -> float:
    """Axial force that the hold at the wall's top takes, N: zero for metal at rest."""
    shell = hold_wall(formed.press.shell, False)
    found = shell.evaluate(state.shell.x.ravel(), 0.0, state.shell)
    return TWO_PI * float(found.residual[wall_top(shell)])
