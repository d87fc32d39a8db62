"""Stability against circumferential waves along a path: which n, at what pressure, what shape.

The tangent for n waves (wave_kernel.py) is a polynomial in n, so one assembly serves all n.  Its
negative pivots count the unstable modes of a state (Sylvester); the first state with one is found
by halving along the path, then by shorter steps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, NamedTuple, Protocol

import numpy as np

from domemargin.fea.core.banded import factor, solve
from domemargin.fea.core.path import Control, System, take_step
from domemargin.fea.core.ramp import Plan
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.waves.kernel import (
    WAVE_WIDTH,
    band_at,
    count_unstable,
    in_powers,
    wave_band,
)
from domemargin.fea.waves.moments import DEFORMATION, FLOW, SUMS, moments
from domemargin.profiles.arrays import Floats, Ints

THEORIES = {"flow": FLOW, "deformation": DEFORMATION}
WAVES = tuple(range(21))
# relative distance in pressure to which an onset is found, and to which close n are told apart
LOCATED, TOLD_APART = 1e-3, 2e-4
LOOKS = 8
BRIEF = 0.05  # of a step
# short waves by secant moduli sit within a few elements of the hinge, where their onset depends on
# the mesh: not a mode of the bottom
DEFORMATION_WAVES = range(7)


class Tangent(Protocol):
    """The tangent of a state for any number of waves, of a shell or of a solid."""

    def unstable(self, numbers: Sequence[int]) -> tuple[int, ...]:
        """Those numbers of waves with an unstable mode, or an exactly singular tangent."""

    def mode(self, n: int) -> tuple[float, Floats]:
        """Eigenvalue next to zero, and its mode with a largest displacement of 1."""


# of (state before, state, theory)
TangentOf = Callable[[Any, Any, str], Tangent]


@dataclass(frozen=True)
class WaveTangent:
    """The tangent of a state of a shell for any number of waves.

    coefficients : (5, n_unknowns, WAVE_WIDTH + 1) of the powers of n.
    shell : for what is held.
    """

    coefficients: Floats
    shell: Shell

    def band(self, n: int) -> Floats:
        """Band for n waves, with the unknowns that are held taken out (1 on the diagonal)."""
        return band_at(float(n), self.coefficients, held(self.shell, n))

    def negative(self, n: int) -> int:
        """Number of unstable modes with n waves; -1 if the tangent is exactly singular."""
        return factor(self.band(n))

    def unstable(self, numbers: Sequence[int]) -> tuple[int, ...]:
        """Those numbers of waves with an unstable mode, or an exactly singular tangent."""
        found = [n for n in numbers if n < 2 and self.negative(n) != 0]
        rest = [n for n in numbers if n >= 2]  # held alike
        if rest:
            count = np.empty(len(rest), dtype=np.int64)
            there = held(self.shell, rest[0])
            count_unstable(np.array(rest, dtype=float), self.coefficients, there, count)
            found += [n for n, negative in zip(rest, count.tolist(), strict=True) if negative]
        return tuple(n for n in numbers if n in found)

    def mode(self, n: int) -> tuple[float, Floats]:
        """Eigenvalue next to zero and its mode (n_nodes, 5); see WaveOnset."""
        value, vector = lowest_mode(self.band(n), held(self.shell, n))
        mode = vector.reshape(-1, 5)
        largest = mode[:, [0, 1, 3]].ravel()
        return value, mode / largest[np.argmax(np.abs(largest))]


@lru_cache(maxsize=256)
def _held(free: bytes, on_axis: tuple[bool, bool], n: int) -> Ints:
    r, z, phi = np.frombuffer(free, dtype=bool).reshape(-1, 3).T
    # an edge that holds r all round holds the hoop displacement, a clamped one the tilt as well
    out = ~np.stack((r, z, phi, r, r | phi), axis=1)
    for node, axis in zip((0, -1), on_axis, strict=True):
        if axis:
            # what is single-valued at the axis: all but tilting and sliding sideways at n = 1
            out[node] = (False, True, False, False, False) if n == 1 else True
            if n == 0:
                out[node] = (True, ~z[node], True, True, True)
    if n == 0:
        out[:, 3:] = True
    return np.flatnonzero(out)


def held(shell: Shell, n: int) -> Ints:
    """Numbers of the wave unknowns that stay put, for n waves."""
    return _held(*shell.ends, n)


def bands(
    shell: Shell,
    before: ShellState,
    state: ShellState,
    numbers: Sequence[int],
    pressure: float,
    part: int,
) -> Floats:
    """(k, n_unknowns, WAVE_WIDTH + 1) tangents for k numbers of waves; nothing held.

    before : the state one step before.  pressure : MPa, of its follower part.
    part : of wave_moments: FLOW, DEFORMATION or GEOMETRY.
    """
    n_points = shell.gauge.size
    geometry, sums = np.empty((n_points, 6)), np.empty((n_points, SUMS))
    moments(state.x, shell.body[:], before.history[:], part, geometry, sums)
    values = np.empty((len(numbers), 5 * len(shell.s), WAVE_WIDTH + 1))
    for n, out in zip(numbers, values, strict=True):
        wave_band(float(n), pressure, shell.body[:], state.x, before.face, geometry, sums, out)
    return values


def wave_tangent(
    shell: Shell, before: ShellState, state: ShellState, theory: str = "flow"
) -> WaveTangent:
    """The tangent at `state`, reached in one step from `before`.

    theory : flow (the tangent of the step itself) or deformation (secant moduli where it yields).
    """
    zero, one, two = bands(shell, before, state, (0, 1, 2), state.pressure, THEORIES[theory])
    return WaveTangent(in_powers(zero, one, two), shell)


class WaveOnset(NamedTuple):
    """First instability along a path.

    n : waves.  pressure : MPa, at the middle of what was halved.  before : number of the last
    stable state of the path.  mode : of the tangent there; for a shell (n_nodes, 5) U, W, B, V, T
    of wave_kernel.py, largest displacement 1.
    """

    n: int
    pressure: float
    before: int
    mode: Floats


def first_onset(
    system: Any,
    states: Sequence[Any],
    plan: Plan,
    theory: str = "flow",
    numbers: Sequence[int] = WAVES,
    tangent_of: TangentOf | None = None,
) -> WaveOnset | None:
    """The first state of a path at which a mode with one of these n is unstable.

    states : accepted, each one step from the one before.  tangent_of : by default a shell's.
    Waves may come and go, as in the knuckle of a head under internal pressure: the path is looked
    at in LOOKS states on the way to its highest pressure, evenly spaced in pressure, and at its
    end; waves that come and go between two looks are missed.  None if all are stable.
    """
    tangents = tangent_of or partial(wave_tangent, system)

    def unstable(index: int, among: Sequence[int]) -> tuple[int, ...]:
        if index == 0:
            return ()
        return tangents(states[index - 1], states[index], theory).unstable(among)

    low, high = 0, 0
    at_high: tuple[int, ...] = ()
    pressures = [state.pressure for state in states]
    top = int(np.argmax(pressures))
    # secant moduli fall as long as metal yields, and what they let go stays so
    for look in looks(pressures) if theory == "flow" else looks(pressures, 1):
        low, high = high, look
        at_high = unstable(high, numbers if look >= top else few(numbers))
        if at_high and look < top:
            at_high = _by_short_step(system, states, look, plan, unstable(high, numbers), tangents)
        if at_high:
            at_high = unstable(high, numbers)
            break
    if not at_high:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if found := unstable(middle, at_high):
            high, at_high = middle, found
        else:
            low = middle
    return _closer(system, states[low], states[high], low, plan, theory, at_high, tangents)


def looks(pressures: Sequence[float], count: int = LOOKS) -> list[int]:
    """Numbers of the states at which a path is looked at: see `first_onset`."""
    pressure = np.asarray(pressures)
    top = int(np.argmax(pressure))
    wanted = pressure[top] * np.arange(1, count + 1) / count
    risen = np.maximum.accumulate(pressure[: top + 1])
    at = np.searchsorted(risen, wanted[wanted <= risen[-1]])
    return sorted({*at.tolist(), top, len(pressure) - 1} - {0})


def _by_short_step(
    system: System,
    states: Sequence[Any],
    look: int,
    plan: Plan,
    among: tuple[int, ...],
    tangents: TangentOf,
) -> tuple[int, ...]:
    """Which of these modes a state is unstable in by the tangent of a short step on from it.

    Flow theory's tangent is that of a step, and a long one makes it as soft as secant moduli do.
    """
    rise = states[look].pressure - states[look - 1].pressure
    control = Control(
        0.0, 1.0, plan.volume_scale, plan.pressure_scale, BRIEF * rise / plan.pressure_scale
    )
    try:
        after = take_step(system, states[look], control, plan.newton).state
    except SolveError:
        return among
    return tangents(states[look], after, "flow").unstable(among)


def few(numbers: Sequence[int]) -> tuple[int, ...]:
    """Of the numbers of waves, those that are looked at on the way: neighbours that go together
    differ by up to three of twenty."""
    chosen: list[int] = []
    for n in sorted(numbers):
        if not chosen or n > 1.15 * chosen[-1] + 0.5:
            chosen.append(n)
    return tuple(chosen)


def _closer(
    system: System,
    base: Any,
    end: Any,
    index: int,
    plan: Plan,
    theory: str,
    unstable: tuple[int, ...],
    tangents: TangentOf,
) -> WaveOnset:
    """Halve the step from a stable state, number `index` of its path, to an unstable one."""
    dv = (end.volume - base.volume) / plan.volume_scale
    dp = (end.pressure - base.pressure) / plan.pressure_scale
    length = float(np.hypot(dv, dp))
    low, high = 0.0, 1.0
    p_low, p_high = base.pressure, end.pressure
    reached = end
    for _ in range(20):
        width = abs(p_high - p_low) / max(abs(p_high), 1e-300)
        if width <= (LOCATED if len(unstable) == 1 else TOLD_APART):
            break
        share = 0.5 * (low + high)
        control = Control(
            dv / length, dp / length, plan.volume_scale, plan.pressure_scale, share * length
        )
        try:
            state = take_step(system, base, control, plan.newton).state
        except SolveError:
            break
        tangent = tangents(base, state, theory)
        found = tangent.unstable(unstable)
        if found:
            high, p_high, unstable, reached = share, state.pressure, found, state
        else:
            low, p_low = share, state.pressure
    tangent = tangents(base, reached, theory)
    modes = [(tangent.mode(n), n) for n in unstable]
    (_, mode), n = min(modes, key=lambda entry: entry[0][0])
    return WaveOnset(n, 0.5 * (p_low + p_high), index, mode)


def lowest_mode(band: Floats, fixed: Ints) -> tuple[float, Floats]:
    """Eigenvalue of a band next to zero and its vector, by inverse iteration.

    fixed : unknowns that stay put.  The band is factored in place.
    """
    if factor(band) < 0:
        raise SolveError("the tangent is singular")
    vector = np.sin(1.0 + np.arange(band.shape[0]))  # any start with a part of every mode
    vector[fixed] = 0.0
    value = value_new = 0.0
    for _ in range(30):
        new = solve(band, vector)
        size = float(np.linalg.norm(new))
        value_new = float(vector @ vector / (vector @ new))
        vector = new / size
        if abs(value_new - value) <= 1e-8 * abs(value_new):
            break
        value = value_new
    return value_new, vector


def onset_by_number(
    shell: Shell,
    states: Sequence[ShellState],
    plan: Plan,
    theory: str = "flow",
    numbers: Sequence[int] = WAVES,
) -> dict[int, float | None]:
    """Pressure of the first instability for each n, MPa; None if that n stays stable.

    By secant moduli only n of DEFORMATION_WAVES are in it.
    """
    out: dict[int, float | None] = {}
    for n in numbers if theory == "flow" else [n for n in numbers if n in DEFORMATION_WAVES]:
        found = first_onset(shell, states, plan, theory, (n,))
        out[n] = None if found is None else found.pressure
    return out
