"""The stages of a doming stroke, from the blank on the punch to the can at rest.

1 the blank, bent over the punch, is let go against it;  2 the clamp ring presses it;  3 the die
rises until punch nose and flange bottom or the stroke ends;  4 die, ring and punch leave, in this
order, and the metal springs back.

A tool leaves by turning its contact forces into dead loads that fade; the tools that stay keep
their contact.  The station's spring needs no unknown of its own: it yields by what its load says,
so the stroke ends where die place plus overtravel is what the set commands.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.contact.kernel import SEGMENT, axial_pressure
from domemargin.fea.doming.advance import Goal, Pace, advance
from domemargin.fea.doming.press import (
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
from domemargin.fea.doming.step import FormingState, Press, loosened, resting, step
from domemargin.fea.errors import SolveError
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

TWO_PI = 2.0 * math.pi
STAGES = ("blank", "clamp", "stroke", "die off", "clamp off", "punch off")
HELD = ("blank", "clamp off", "punch off")  # in which the height of the wall's top is held
NEAR = 0.004  # mm before the flange meets the sheet from which steps are short
RETRY = 0.6  # of the longest step, for a stroke that could not be carried on
SPRING_SHARE = 1e-3  # to which the station's balance is found


class Moment(NamedTuple):
    """A point of the stroke.

    die_mm : place of the die.  overtravel_mm : of the station.  punch_n, die_n, clamp_n : axial
    forces, up positive on the metal; die_n with the flange's share, flange_n.
    """

    die_mm: float
    overtravel_mm: float
    punch_n: float
    die_n: float
    flange_n: float
    clamp_n: float


@dataclass(frozen=True)
class Formed:
    """All that a doming solve went through.

    press : with the shell of the metal.  meridian, material : of the blank.  stages :
    (name, state) at the end of each stage that was reached.  moments : of the stroke.
    middle : a state half way up.  touch_mm, bottom_mm : places of the die where it first touches
    and where the flange would meet the sheet under the nose.  last : the last equilibrium of the
    stroke, also of one that failed.  failed : the stage that could not
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
    failed: str
    reason: str

    def at(self, stage: str) -> FormingState:
        """The state at the end of a stage.  Raises KeyError if it was not reached."""
        return dict(self.stages)[stage]


Watch = Callable[[str, FormingState, tuple[int, ...]], None]


def form(
    tooling: Tooling, settings: FormingSettings | None = None, watch: Watch | None = None
) -> Formed:
    """Carry a blank through the doming stroke and let it go.

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
    bottom = -tooling.blank.gauge + tooling.die.flange_height
    return Formed(
        replace(press, shell=hold_wall(press.shell, True)),
        meridian,
        tooling.material,
        tuple(run.stages),
        tuple(run.moments),
        run.middle,
        run.touch,
        bottom,
        run.last,
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
        self.moments: list[Moment] = []
        self.middle: FormingState | None = None
        self.last: FormingState | None = None
        self.touch = 0.0
        self.bottom = -tooling.blank.gauge + tooling.die.flange_height

    def acts(self) -> tuple[Callable[[FormingState], FormingState], ...]:
        """What happens in each of STAGES."""
        return (
            self.let_go,
            self.clamp,
            self.stroke,
            self.die_off,
            self.clamp_off,
            self.punch_off,
        )

    def _with(self, *tools: int, held: int = -1, wall: bool = False) -> Press:
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
        force = self.tooling.clamp.force
        press = self._with(PUNCH, CLAMP, held=CLAMP, wall=True)
        places = state.places.copy()
        places[CLAMP] = touching(press, state, CLAMP, 0.003)
        state = replace(state, places=places)
        state = advance(press, state, Goal(places, force), Pace(0.02, 0.3), seen=self._seen)
        # the wall's top is let go: what held it becomes the pull of the wall on the punch
        free = self._with(PUNCH, CLAMP, held=CLAMP)
        state = loosened(free, state)
        grip = pull(free.shell, self.tooling.blank.wall_grip)
        goal = Goal(state.places, force, grip)
        return advance(free, state, goal, Pace(0.2, 0.5), force, self._seen)

    def stroke(self, state: FormingState) -> FormingState:
        try:
            return self._stroke(state, self.settings.step)
        except SolveError:
            # contact that comes and goes within a step may end in no equilibrium: on other steps
            # it did in none of the cases seen
            self.moments, self.middle = [], None
            return self._stroke(state, RETRY * self.settings.step)

    def _stroke(self, state: FormingState, longest: float) -> FormingState:
        force = self.tooling.clamp.force
        press = self._with(PUNCH, DIE, CLAMP, held=CLAMP)
        places = state.places.copy()
        places[DIE] = self.touch = touching(press, state, DIE, 1e-4)
        state = replace(state, places=places)
        end = min(self.bottom + self.tooling.set, self.bottom - NEAR)
        state = self._rise(press, state, end, Pace(0.2 * longest, longest), force)
        if self._lack(state) > 1e-9:
            most = self.bottom + min(self.tooling.set, 0.3)
            state = self._rise(press, state, most, Pace(0.0005, 0.004), force)
        return state

    def _rise(
        self, press: Press, state: FormingState, end: float, pace: Pace, force: float
    ) -> FormingState:
        """Raise the die to a place, or to where the station takes up what is left of the set."""
        length = end - state.places[DIE]
        if length <= 0.0:
            return state
        last = [state, state]

        def seen(now: FormingState) -> bool:
            last[:] = last[1], now
            self.last = now
            self._seen(now)
            lack = self._lack(now)
            if lack >= 0.0:
                self._note(now)
            half = 0.5 * (self.touch + self.bottom)
            if self.middle is None and now.places[DIE] >= half:
                self.middle = now
            return lack <= 0.0

        goal = state.places.copy()
        goal[DIE] = end
        shares = Pace(pace.first / length, pace.most / length)
        state = advance(press, state, Goal(goal, force), shares, force, seen)
        if self._lack(state) >= 0.0:
            return state
        return self._balanced(press, last[0], state, force)

    def _balanced(
        self, press: Press, low: FormingState, high: FormingState, force: float
    ) -> FormingState:
        """The state between two at which the station's spring carries its load."""
        base, first, last = low, low.places[DIE], high.places[DIE]
        state = high
        for _ in range(14):
            places = base.places.copy()
            places[DIE] = 0.5 * (first + last)
            state = step(press, base, places, force)
            load = self._station(state)
            lack = self._lack(state)
            first, last = (places[DIE], last) if lack > 0.0 else (first, places[DIE])
            spring = abs(self._station(high) - self._station(low))
            if (last - first) / max(1e-12, high.places[DIE] - low.places[DIE]) * spring < (
                SPRING_SHARE * load
            ):
                break
        self._note(state)
        return state

    def _station(self, state: FormingState) -> float:
        return float(state.forces[DIE])

    def _lack(self, state: FormingState) -> float:
        """What is left of the stroke that the set commands, mm."""
        command = self.bottom + self.tooling.set
        return command - state.places[DIE] - self.tooling.spring.overtravel(self._station(state))

    def _note(self, state: FormingState) -> None:
        over = self.tooling.spring.overtravel(self._station(state))
        if math.isinf(over):
            over = self.bottom + self.tooling.set - state.places[DIE]
        flange = len(self.press.tools[DIE].rows) - 1
        pinch = axial_pressure(state.history[DIE], self.press.area, flange)
        punch, die, clamp = state.forces
        self.moments.append(
            Moment(float(state.places[DIE]), over, punch, die, TWO_PI * pinch, clamp)
        )

    def _without(self, press: Press, state: FormingState, goal: Goal, force: float) -> FormingState:
        """Let fade what keeps the metal in place that the press' tools do not hold."""
        state = loosened(press, state)
        return advance(press, state, goal, Pace(0.02, 0.25), force, self._seen)

    def die_off(self, state: FormingState) -> FormingState:
        force = self.tooling.clamp.force
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


def touched(state: FormingState, tool: int) -> NDArray[np.bool_]:
    """(n_points,) which points a tool touches."""
    return np.asarray(state.history[tool, :, SEGMENT] >= 0)
