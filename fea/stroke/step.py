"""One converged step of a shell between rigid tools, and the state kept between steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.contact.contact import ContactRule, Penalty, Tool, at_trial, contact_rule
from domemargin.fea.contact.given import ShellFace, Touched
from domemargin.fea.contact.kernel import HISTORY, SEGMENT, add_contact
from domemargin.fea.core.banded import bordered, norm
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.materials import EP, NU, P1, P3, E
from domemargin.fea.shell.kernel import thicken
from domemargin.fea.shell.shell import Evaluation, Shell, ShellState

Floats = NDArray[np.float64]

TWO_PI = 2.0 * math.pi
LARGEST_STRAIN = 0.2  # in one step; a longer jump is a fold of an element, not a solution


class AnyState(Protocol):
    """The part of a start state that a step reads; of a shell or of a solid."""

    @property
    def shell(self) -> Any:
        """The metal's state, with its positions x, mm."""

    @property
    def places(self) -> Floats:
        """(n_tools,) heights, mm."""

    @property
    def dead(self) -> Floats:
        """(n,) loads that do not follow, N per radian."""


State = TypeVar("State", bound=AnyState)


@dataclass(frozen=True)
class Ledger:
    """Energies since the start, N mm.

    work : by tools and dead loads.  elastic, plastic : stored in and spent by the metal.
    rubbed : against friction.  penalty : in the contact springs.
    """

    work: float = 0.0
    elastic: float = 0.0
    plastic: float = 0.0
    rubbed: float = 0.0
    penalty: float = 0.0

    @property
    def gap(self) -> float:
        """Work less all energies stored and spent, as a share of the work."""
        spent = self.elastic + self.plastic + self.rubbed + self.penalty
        return (self.work - spent) / max(abs(self.work), 1e-12)


@dataclass(frozen=True)
class FormingState:
    """An equilibrium between tools; arrays are never written again.

    shell : of the metal.  inside, outside : (n_points,) distance of the faces, mm.
    places : (n_tools,) heights, mm.  forces : (n_tools,) axial force of each tool, N.
    history : (n_tools, n_contact, HISTORY) of contact, at the points of the press' rule.
    dead : (3 n_nodes,) loads that do not follow, N per radian.
    """

    shell: ShellState
    inside: Floats
    outside: Floats
    places: Floats
    forces: Floats
    history: Floats
    dead: Floats
    ledger: Ledger


@dataclass(frozen=True)
class Press:
    """A shell and its tools.

    force_scale : N per radian, to which residuals are compared.
    held : number of the tool whose place follows from its force; -1 if none does.
    near : largest correction of an iteration, as a share of the expected change: a dome that yields
        all over hardly resists a long correction, and does not need one.
    follow : whether the limit of friction follows the pressure within a step; else it is that of
        the step's start.  points : of contact on each element.
    """

    shell: Shell
    tools: tuple[Tool, ...]
    penalty: Penalty
    force_scale: float
    held: int = -1
    active: tuple[bool, ...] = ()
    tolerance: float = 1e-6
    update: float = 2e-3
    cap: float = 0.3
    near: float = 0.1
    iterations: int = 25
    searches: int = 4
    sharpness: float = 0.7
    follow: bool = True
    points: int = 16

    def on(self, index: int) -> bool:
        """Whether a tool is active."""
        return not self.active or self.active[index]

    @property
    def free(self) -> NDArray[np.bool_]:
        """(n,) which unknowns move."""
        return self.shell.free

    def evaluate(
        self, u: Floats, places: Floats, start: FormingState, load: Floats, force: float
    ) -> Trial:
        """Forces and tangent of metal and tools at unknowns u (n,), coming from `start`."""
        return _evaluate(self, u, places, start, load, force)

    def ahead(self, start: FormingState, before: FormingState, share: float) -> FormingState:
        """The start of a step with the lagging quantities extrapolated by a share of the last step.

        Places of the layers, faces and factors of the yield curve are those of a step's start;
        extrapolated they are accurate to second order in the step.
        """
        old, was = start.shell, before.shell
        shell = replace(
            old,
            y=old.y + share * (old.y - was.y),
            face=old.face + share * (old.face - was.face),
            factor=old.factor + share * (old.factor - was.factor),
        )
        return replace(
            start,
            shell=shell,
            inside=start.inside + share * (start.inside - before.inside),
            outside=start.outside + share * (start.outside - before.outside),
        )

    def accepted(self, start: FormingState, u: Floats, now: Trial, load: Floats) -> FormingState:
        """The state after a converged step."""
        return _accepted(self, start, u, now, load)

    @cached_property
    def rule(self) -> ContactRule:
        """The points of contact."""
        return contact_rule(self.shell.reference, self.shell.weights.sum(axis=1), self.points)

    @property
    def area(self) -> Floats:
        """(nel, nq) undeformed area of each point of contact, mm^2 per radian."""
        return self.rule.area


def faces(shell: Shell, state: ShellState) -> tuple[Floats, Floats]:
    """(n_points,) distances of the inside and outside faces from the mid-surface, mm."""
    out = []
    for side in (1.0, -1.0):
        _, face = thicken(shell.material, shell.through[:], state.layers, state.stress, side)
        out.append(side * face)
    return out[0], out[1]


def resting(press: Press, state: ShellState, places: Sequence[float]) -> FormingState:
    """A state of the metal with tools at places, none of which has touched yet."""
    n_tools = len(press.tools)
    history = np.zeros((n_tools, press.area.size, HISTORY))
    history[:, :, SEGMENT] = -1.0
    elastic = elastic_energy(press.shell, state)
    return FormingState(
        state,
        *faces(press.shell, state),
        np.asarray(places, dtype=float),
        np.zeros(n_tools),
        history,
        np.zeros(press.shell.n),
        Ledger(elastic=elastic, work=elastic),
    )


class Trial(NamedTuple):
    """The press at a trial: forces in N per radian, energies in N mm per radian.

    gap : wanted force of the held tool less its force.  slope, coupling : derivative of that force
    and of the residual by its place.
    """

    found: Evaluation
    places: Floats
    forces: Floats
    gap: float
    slope: float
    coupling: Floats
    rubbed: float
    spring: float
    history: Floats


def _evaluate(
    press: Press, u: Floats, places: Floats, start: FormingState, load: Floats, force: float
) -> Trial:
    shell = press.shell
    found = shell.evaluate(u, 0.0, start.shell)
    x = u.reshape(-1, 3)
    forces = np.zeros(len(press.tools))
    history = np.zeros_like(start.history)
    history[:, :, SEGMENT] = -1.0
    own, coupling = np.empty(shell.n), np.zeros(shell.n)
    rubbed = spring = slope = 0.0
    half = {"inside": press.rule.of(start.inside), "outside": press.rule.of(start.outside)}
    for i, tool in enumerate(press.tools):
        if not press.on(i):
            continue
        face = ShellFace(
            x, start.shell.x, press.rule.shapes, press.rule.area, half[tool.touches], shell.fixed
        )
        rigid = at_trial(tool, press.penalty, places[i], start.places[i], press.follow)
        touched = Touched(start.history[i], history[i], found.residual, found.band, own)
        forces[i], stiff, rub, kept = add_contact(face[:], rigid[:], touched[:])
        rubbed += rub
        spring += kept
        if i == press.held:
            slope, coupling = stiff, own.copy()
    found.residual[:] -= load
    gap = force - forces[press.held] if press.held >= 0 else 0.0
    return Trial(found, places, forces, gap, slope, coupling, rubbed, spring, history)


def step(
    press: Any,
    start: State,
    places: Floats,
    force: float = 0.0,
    dead: Floats | None = None,
    guess: Floats | None = None,
) -> State:
    """The equilibrium with tools at `places` (and the held tool pressing with `force`, N, up).

    press, start : a Press and a FormingState, or a contact_solid.SolidPress and its state.
    dead : (n,) loads that do not follow, N per radian.  guess : (n,) change of the unknowns to
    start from.  Raises SolveError if the iteration does not end in equilibrium.
    """
    before = start.shell.x.ravel()
    u = before if guess is None else before + guess
    places = np.array(places, dtype=float)
    held = press.held
    if held >= 0:
        places[held] = start.places[held]
    load = np.where(press.free, start.dead if dead is None else dead, 0.0)

    def trial(u: Floats, place: float) -> Trial:
        if held >= 0:
            places[held] = place
        found: Trial = press.evaluate(u, places.copy(), start, load, force / TWO_PI)
        return found

    now = trial(u, start.places[held] if held >= 0 else 0.0)
    largest = math.inf
    cap = press.cap
    if guess is not None:
        cap = min(cap, press.near * float(np.max(np.abs(guess))))
    for iteration in range(press.iterations + 1):
        size = norm(now.found.residual)
        if not math.isfinite(size):
            raise SolveError("the residual is not a number")
        balanced = max(size, abs(now.gap)) <= press.tolerance * press.force_scale
        if iteration > 0 and balanced and largest <= press.update:
            state: State = press.accepted(start, u, now, load)
            return state
        if iteration == press.iterations:
            break
        residual = now.found.residual
        border = (-now.coupling, now.gap, -1.0, max(now.slope, 1e-3))
        if held < 0:
            border = (np.zeros(press.free.size), 0.0, 0.0, 1.0)
        pivots, moved, largest, change = bordered(now.found.band.copy(), residual, *border)
        if pivots < 0:
            raise SolveError("the tangent is singular")
        if not math.isfinite(largest):
            raise SolveError("the update is not a number")
        longest = max(largest, abs(moved), 1e-300)
        share = min(1.0, cap / longest)
        # all forces of a step have a potential; it falls along the update until its slope is zero
        gap = now.gap
        slope = float(change @ residual) - moved * gap
        place = now.places[held] if held >= 0 else 0.0
        for left in reversed(range(press.searches)):
            after = trial(u + share * change, place + share * moved)
            rise = float(change @ after.found.residual) - moved * after.gap
            if left == 0 or slope >= 0.0 or not rise > -press.sharpness * slope:
                break
            share *= max(0.1, slope / (slope - rise))
        u, now = u + share * change, after
        largest *= share
    raise SolveError(
        f"no equilibrium between the tools in {press.iterations} iterations "
        f"(forces out of balance by {size:.3g} N per radian)"
    )


def elastic_energy(shell: Shell, state: ShellState) -> float:
    """Energy stored in the layers, N mm."""
    t1, t2, t3 = state.stress
    modulus, nu = shell.material[E], shell.material[NU]
    density = (t1 * t1 + t2 * t2 - 2.0 * nu * t1 * t2) / (2.0 * modulus)
    density = density + t3 * t3 * (1.0 + nu) / modulus
    return TWO_PI * float(np.sum(_volumes(shell) * density))


def _volumes(shell: Shell) -> Floats:
    """(n_layers,) undeformed volume of each layer at each point, mm^3 per radian."""
    point = np.repeat(np.arange(shell.gauge.size), np.diff(shell.first_layer))
    return np.asarray(shell.weights.ravel()[point] * shell.layer_weight)


def _accepted(
    press: Press, start: FormingState, u: Floats, now: Trial, load: Floats
) -> FormingState:
    shell, old = press.shell, start.shell
    state = shell.accept(u, 0.0, now.found, old)
    jump = float(np.max(state.layers[EP] - old.layers[EP]))
    if jump > LARGEST_STRAIN:
        raise SolveError(f"metal strains by {jump:.2g} within one step")
    flow = state.layers[P1 : P3 + 1] - old.layers[P1 : P3 + 1]
    plastic = np.sum(0.5 * (state.stress + old.stress) * flow, axis=0)
    forces = TWO_PI * now.forces
    work = float(0.5 * (forces + start.forces) @ (now.places - start.places))
    work += TWO_PI * float(0.5 * (load + start.dead) @ (u - old.x.ravel()))
    ledger = Ledger(
        start.ledger.work + work,
        elastic_energy(shell, state),
        start.ledger.plastic + TWO_PI * float(np.sum(_volumes(shell) * plastic)),
        start.ledger.rubbed + TWO_PI * now.rubbed,
        TWO_PI * now.spring,
    )
    return FormingState(
        state,
        *faces(shell, state),
        now.places,
        forces,
        now.history,
        load,
        ledger,
    )


def loosened(press: Press, state: FormingState) -> FormingState:
    """The state with dead loads in place of the forces of inactive tools and released holds; the
    energy in the contact springs of inactive tools is removed."""
    none = np.zeros(press.shell.n)
    trial = _evaluate(press, state.shell.x.ravel(), state.places, state, none, 0.0)
    kept = TWO_PI * trial.spring
    ledger = replace(
        state.ledger, work=state.ledger.work - (state.ledger.penalty - kept), penalty=kept
    )
    return replace(state, dead=trial.found.residual.copy(), ledger=ledger)
