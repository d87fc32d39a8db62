"""A formed bottom under pressure: effect of each part of the formed state on its reversal.

The formed shell keeps its mesh; only its supports change: the top of the sidewall is clamped
and pressure acts on the inside.  The whole formed state continues from the end of forming.  For
chosen parts a shell free of stress is built on the formed line, with the blank's gauge or the
formed one, virgin or with the hardening of each layer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from domemargin.fea.bottom.observe import ShellView
from domemargin.fea.core.limit import CEILING_STEP, find_limit
from domemargin.fea.core.ramp import Plan, Ramp, compliance, pressure_control
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.materials import B1, B3, EP
from domemargin.fea.shell.shell import Shell, ShellState, build_shell
from domemargin.fea.stroke.stages import Formed
from domemargin.fea.waves.waves import first_onset
from domemargin.profiles.shape.meridian import Points
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.profiles.units import PSI

Floats = NDArray[np.float64]

PARTS = ("shape", "thickness", "hardening", "stress")
# each with what comes before it
ROWS = {
    "shape only": PARTS[:1],
    "+ thickness": PARTS[:2],
    "+ hardening": PARTS[:3],
    "+ residual stress": PARTS,
}
CEILING = 4.0  # MPa


@dataclass(frozen=True)
class FormedReversal:
    """Reversal of a formed bottom with some parts of its formed state.

    kind : as in Record.  reversal_pressure_mpa : None where none was found.
    growth_mm, permanent_mm : lowering of the stand ring at `growth_at_mpa`, and after unloading;
        None where it reverses first.
    waves : number of circumferential waves of the first onset, 0 for none before the limit; None
        where waves were not checked.
    """

    parts: tuple[str, ...]
    kind: str
    reason: str
    reversal_pressure_mpa: float | None
    growth_at_mpa: float
    growth_mm: float | None
    permanent_mm: float | None
    waves: int | None


@dataclass(frozen=True)
class _Line:
    """Nodes of a formed shell in place of a meridian, at the arc lengths of its blank."""

    s: Floats
    nodes: Floats

    def at(self, s: ArrayLike) -> Points:
        """The nodes; s must be theirs."""
        assert np.array_equal(np.asarray(s), self.s)
        r, z, phi = self.nodes.T
        return Points(r, z, phi, np.gradient(phi, self.s))


def system_of(formed: Formed, parts: tuple[str, ...] = PARTS) -> tuple[Shell, ShellState]:
    """The shell under pressure and its unloaded state, with parts of the formed state."""
    state, shell = formed.at("punch off"), formed.press.shell
    if "stress" in parts:
        free = shell.free.reshape(-1, 3).copy()
        free[-1] = False
        held = replace(shell, free=free.ravel())
        start = replace(state.shell, pressure=0.0, face=state.inside)
        found = held.evaluate(start.x.ravel(), 0.0, start)
        return held, replace(start, volume=found.volume)
    points = shell.point_s
    gauge = state.inside + state.outside if "thickness" in parts else shell.gauge
    # the middle of the formed metal: the fibre that the unknowns follow has left it
    off = np.interp(shell.s, points, 0.5 * (state.inside - state.outside))
    nodes = state.shell.x.copy()
    nodes[:, 0] -= off * np.sin(nodes[:, 2])
    nodes[:, 1] += off * np.cos(nodes[:, 2])
    nodes[0, 0] = 0.0
    layers = np.diff(shell.first_layer).reshape(shell.weights.shape)[:, 0]
    fresh = build_shell(
        _Line(shell.s, nodes),  # type: ignore[arg-type]
        shell.s[::2],
        formed.material,
        lambda s: gauge,
        layers,
    )
    if "hardening" not in parts:
        return fresh, fresh.start()
    prior = state.shell.layers[EP]
    fresh = replace(fresh, layer_prior=prior, layer_factor=state.shell.factor)
    start = fresh.start()
    start.layers[B1 : B3 + 1] = state.shell.layers[B1 : B3 + 1]
    return fresh, start


def reverse(
    formed: Formed,
    tooling: Tooling,
    parts: tuple[str, ...] = PARTS,
    growth_at: float = 60 * PSI,
    waves: int = 0,
    resolution: float = 0.002,
) -> FormedReversal:
    """Raise the pressure in a formed bottom until it reverses.

    parts : of the formed state that are kept; with stress all parts are kept.  growth_at : MPa.
    waves : stability is checked against 1 to this many circumferential waves.
    resolution : error allowed for the steps, as a share of the pressure.  A failed solve has a kind
    of its own.
    """
    try:
        return _reverse(formed, tooling, parts, growth_at, waves, resolution)
    except SolveError as error:
        return _failed(parts, growth_at, error.reason)


def _failed(parts: tuple[str, ...], growth_at: float, reason: str) -> FormedReversal:
    return FormedReversal(parts, "not_converged", reason, None, growth_at, None, None, None)


def _reverse(
    formed: Formed,
    tooling: Tooling,
    parts: tuple[str, ...],
    growth_at: float,
    waves: int,
    resolution: float,
) -> FormedReversal:
    shell, start = system_of(formed, parts)
    radius = 0.5 * tooling.punch.nose_diameter
    nose = tooling.punch.nose_radius + 0.5 * tooling.blank.gauge
    scale = 0.5 * radius**2 * nose
    # the metal yields, so a path has no step but that of its ramps
    plan = Plan(CEILING_STEP, scale, scale / compliance(shell, start), CEILING)
    solved = find_limit(shell, start, plan, resolution)
    path, plan = solved.path, solved.plan
    if path.limit is None:
        kind = "none_below_ceiling" if path.ending == "ceiling" else "not_converged"
        return replace(_failed(parts, growth_at, path.reason), kind=kind)
    if solved.unresolved or solved.correction is None:
        reason = f"the resolution of {resolution:.2%} is not reached: {solved.unresolved}"
        return replace(_failed(parts, growth_at, reason), kind="not_resolved")
    pressure, kind = path.limit.pressure + solved.correction, path.limit.kind
    factor = pressure / path.limit.pressure
    reason, found = path.limit.describe(pressure), None
    if waves:
        found = 0
        view = ShellView(shell, formed.meridian)
        onset = first_onset(
            shell, path.states, plan, "flow", range(1, waves + 1), view.wave_tangent
        )
        if onset is not None and onset.before + 1 < path.limit.before + 1:
            found, kind, pressure = onset.n, "bifurcation", factor * onset.pressure
            reason = f"the bottom buckles in {onset.n} waves at {pressure:.4g} MPa"
    growth = _growth(formed, shell, path, plan, growth_at, pressure)
    return FormedReversal(parts, kind, reason, pressure, growth_at, *growth, found)


def _growth(
    formed: Formed, shell: Shell, path: Ramp, plan: Plan, wanted: float, limit: float
) -> tuple[float | None, float | None]:
    """Lowering of the stand ring at a pressure and after unloading, mm."""
    assert path.limit is not None
    below = [s for s in path.states[: path.limit.before + 1] if s.pressure <= wanted]
    if wanted >= limit or not below:
        return None, None
    try:
        loaded = pressure_control(shell, below[-1], wanted, plan)
        rest = pressure_control(shell, loaded, 0.0, plan, steps=3)
    except SolveError:
        return None, None
    view = ShellView(shell, formed.meridian)
    before, at, after = view.heights((path.states[0], loaded, rest))[:, 1].tolist()
    return before - at, before - after


def part_by_part(formed: Formed, tooling: Tooling, waves: int = 0) -> dict[str, FormedReversal]:
    """Reversal by parts of the formed state: rows of ROWS, each with one part more."""
    return {
        name: reverse(formed, tooling, parts, waves=waves if parts == PARTS else 0)
        for name, parts in ROWS.items()
    }
