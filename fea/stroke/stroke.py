"""The stroke itself: the die rises until nose and flange bottom, the set or the spring ends it.

The station's spring needs no unknown of its own: its overtravel follows from its load, so the
stroke ends where die place plus overtravel equals the place that the set commands.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from domemargin.fea.contact.kernel import axial_pressure
from domemargin.fea.errors import SolveError
from domemargin.fea.stroke.advance import Goal, Pace, advance
from domemargin.fea.stroke.end import FINE, FORGOTTEN, GRID, WIDTH, Curve, Pass, spare, spring_end
from domemargin.fea.stroke.press import DIE, carried_radius, outside_depth, touching
from domemargin.fea.stroke.step import TWO_PI, FormingState, Press, step
from domemargin.profiles.tooling.tooling import Tooling

NEAR = 0.004  # mm before the flange meets the sheet from which steps are short
FINE_FROM = 100.0  # N of spring force beyond the die's force, below which the end is read finely
CARRIED = 0.02  # N to which the spring's balance is found where flange and nose meet


class Moment(NamedTuple):
    """A point of the stroke.

    die_mm : place of the die.  overtravel_mm : of the station.  punch_n, die_n, clamp_n : axial
    forces, up positive on the metal; die_n with the flange's share, flange_n.  depth_mm : of the
    dome under load.  carried_mm : radius up to which the die touches the metal.
    """

    die_mm: float
    overtravel_mm: float
    punch_n: float
    die_n: float
    flange_n: float
    clamp_n: float
    depth_mm: float
    carried_mm: float


class StrokePath:
    """One stroke; collects its states.

    seen : called with every state of the stroke.  touch, bottom : places of the die where it first
    touches and where the flange would meet the sheet under the nose, mm.  moments : of the stroke.
    middle : a state half way up.  last : the last equilibrium, also of a stroke that failed.
    sensitivity : rise at the end by force of the spring, mm/N.
    """

    def __init__(
        self, tooling: Tooling, press: Press, seen: Callable[[FormingState], bool]
    ) -> None:
        self.tooling, self.press, self.seen = tooling, press, seen
        self.moments: list[Moment] = []
        self.middle: FormingState | None = None
        self.last: FormingState | None = None
        self.touch = self.sensitivity = 0.0
        self.bottom = -tooling.blank.gauge + tooling.die.flange_height

    def raised(self, state: FormingState, longest: float) -> FormingState:
        """The state at the stroke's end.  longest : step, mm.  Raises SolveError."""
        force, command, press = self.tooling.clamp_force, self.command, self.press
        places = state.places.copy()
        places[DIE] = self.touch = touching(press, state, DIE, 1e-4)
        state = replace(state, places=places)
        end = min(command, self.bottom - NEAR)
        if end <= self.touch:
            raise SolveError(
                f"the stroke ends {self.touch - end:.3g} mm before the die touches the sheet"
            )
        states = [state]
        self._rise(press, states, end, Pace(0.2 * longest, longest), force, FINE_FROM)
        most = 0.0
        if self._spare(states[-1]) < FINE_FROM:
            curve, fine, place = self._read(press, states, end, force)
            self._seen_all(states, place)
            before = [s for s in fine if s.places[DIE] < place - 0.2 * FINE]
            state = self._to(press, before[-1], place, force)
            self.sensitivity = self._sensitivity(curve, place)
            if place < self.bottom - NEAR - 1e-9 or place >= command - 1e-9:
                self._keep(state, min(curve.read(place)[0], self._load(state)))
                return state
            most = curve.read(place)[0] - self._station(state)
        else:
            self._seen_all(states, end)
            state = states[-1]
        if end < command - 1e-9:
            state = self._pinch(press, state, most, force)
        return state

    def _rise(
        self,
        press: Press,
        states: list[FormingState],
        end: float,
        pace: Pace,
        force: float,
        margin: float,
    ) -> None:
        """Raise the die to a place, or to where its force exceeds the spring's by a margin (N);
        appends to states, of which the last is where it starts."""
        start = states[-1]
        length = end - start.places[DIE]

        def seen(now: FormingState) -> bool:
            states.append(now)
            self.last = now
            return self._spare(now) < -margin

        goal = start.places.copy()
        goal[DIE] = end
        shares = Pace(pace.first / length, pace.most / length)
        advance(press, start, Goal(goal, force), shares, force, seen)

    def _read(
        self, press: Press, states: list[FormingState], end: float, force: float
    ) -> tuple[Curve, list[FormingState], float]:
        """The force about the place where the spring ends the stroke, the states of the finer
        pass, and that place (`end` where the spring holds)."""
        spring, command, top = self.tooling.spring, self.command, self.bottom - NEAR
        over = [s for s in states if self._spare(s) < 0.0]
        place = float(over[0].places[DIE]) if over else end
        for _ in range(4):
            first = self.bottom + GRID * math.floor(
                (place - WIDTH - FORGOTTEN - self.bottom) / GRID
            )
            last = min(place + WIDTH, top)
            passes, kept = [], []
            for step_mm in (FINE, 2.0 * FINE):
                base = [s for s in states if s.places[DIE] <= max(first, self.touch)][-1]
                kept.append(self._pass(press, base, first, last, step_mm, force))
                found = [s for s in kept[-1] if s.places[DIE] >= first + FORGOTTEN - 1e-9]
                at = np.array([s.places[DIE] for s in found])
                passes.append(Pass(at, np.array([self._station(s) for s in found])))
            curve = Curve(*passes)
            low = min(place - 0.5 * WIDTH, end)
            high = min(place + 0.5 * WIDTH, end)
            new = spring_end(curve, spring, command, low, high)
            if low < new < high or new == end:
                return curve, kept[0], new
            place = new
        raise SolveError("the place where the spring carries the die was not found")

    def _pass(
        self,
        press: Press,
        base: FormingState,
        first: float,
        last: float,
        longest: float,
        force: float,
    ) -> list[FormingState]:
        """States from a place of the die to another in even steps."""
        if base.places[DIE] < first - 1e-9:
            base = self._to(press, base, first, force)
        out = [base]
        try:
            self._rise(press, out, last, Pace(longest, longest), force, math.inf)
        except SolveError:
            # places beyond the stroke's end are not needed
            if out[-1].places[DIE] < last - 0.5 * WIDTH:
                raise
        return out

    def _to(self, press: Press, state: FormingState, place: float, force: float) -> FormingState:
        goal = state.places.copy()
        goal[DIE] = place
        return advance(press, state, Goal(goal, force), Pace(0.5, 0.5), force)

    def _pinch(self, press: Press, state: FormingState, more: float, force: float) -> FormingState:
        """Raise the die onto the sheet under the nose until the spring carries it.

        more : what the force lacks for the steps before, N.
        """
        states = [state]
        spring, command = self.tooling.spring, self.command

        def left(now: FormingState) -> float:
            return spare(spring, command, now.places[DIE], self._station(now) + more)

        def seen(now: FormingState) -> bool:
            states.append(now)
            self.last = now
            if left(now) >= 0.0:
                self._watched(now)
                self._note(now, more)
            return left(now) < 0.0

        if left(state) > 0.0:
            length = command - state.places[DIE]
            goal = state.places.copy()
            goal[DIE] = command
            pace = Pace(0.0005 / length, 0.004 / length)
            state = advance(press, state, Goal(goal, force), pace, force, seen)
            if left(state) >= 0.0:
                return state
            state = self._carried(press, states[-2], state, left, force)
        self._keep(state, self._load(state))
        return state

    def _carried(
        self,
        press: Press,
        low: FormingState,
        high: FormingState,
        left: Callable[[FormingState], float],
        force: float,
    ) -> FormingState:
        """The state between two at which the station's spring carries its load."""
        a, b = float(low.places[DIE]), float(high.places[DIE])
        more, less = left(low), left(high)
        state, side = high, 0
        for _ in range(30):
            # regula falsi, the end that stays weighs half (Illinois)
            places = low.places.copy()
            places[DIE] = (a * less - b * more) / (less - more)
            state = step(press, low, places, force)
            now = left(state)
            if abs(now) < CARRIED or b - a < 1e-7:
                break
            if now > 0.0:
                a, more = float(places[DIE]), now
                less *= 0.5 if side > 0 else 1.0
                side = 1
            else:
                b, less = float(places[DIE]), now
                more *= 0.5 if side < 0 else 1.0
                side = -1
        return state

    @property
    def command(self) -> float:
        """Place to which the drive would bring the die on a rigid station, mm."""
        return self.bottom + self.tooling.set

    def _station(self, state: FormingState) -> float:
        return float(state.forces[DIE])

    def _load(self, state: FormingState) -> float:
        return self.tooling.spring.load(self.command - float(state.places[DIE]))

    def _spare(self, state: FormingState) -> float:
        place = float(state.places[DIE])
        return spare(self.tooling.spring, self.command, place, self._station(state))

    def _sensitivity(self, curve: Curve, place: float) -> float:
        """Rise at the end by spring force, mm/N: 0 where the set or the flange ends the stroke."""
        if place >= min(self.command, self.bottom - NEAR) - 1e-9:
            return 0.0
        spring, over = self.tooling.spring, self.command - place
        rate = (spring.load(over + 1e-4) - spring.load(over - 1e-4)) / 2e-4
        return 1.0 / max(curve.read(place)[1] + rate, 1.0)

    def _watched(self, state: FormingState) -> None:
        half = 0.5 * (self.touch + self.bottom)
        if self.middle is None and state.places[DIE] >= half:
            self.middle = state
        self.seen(state)

    def _seen_all(self, states: list[FormingState], end: float) -> None:
        """Note what the stroke passed through on its way to a place."""
        for state in states[1:]:
            if state.places[DIE] <= end + 1e-9:
                self._watched(state)
                self._note(state)

    def _keep(self, state: FormingState, load: float) -> None:
        """Note the end of the stroke, at which the station carries a load, N."""
        self.last = state
        self._watched(state)
        self._note(state, load - self._station(state))

    def _note(self, state: FormingState, more: float = 0.0) -> None:
        """more : what the force lacks for steps and mesh, N; see doming_end."""
        place = float(state.places[DIE])
        load = self._station(state) + more
        over = self.command - place if self._spare(state) - more <= CARRIED else 0.0
        flange = len(self.press.tools[DIE].rows) - 1
        pinch = axial_pressure(state.history[DIE], self.press.area, flange)
        punch, _, clamp = state.forces
        depth = outside_depth(self.press, state)[0]
        carried = carried_radius(self.press, state)
        self.moments.append(Moment(place, over, punch, load, TWO_PI * pinch, clamp, depth, carried))
