"""From tooling to a press: shell of the blank, tools, and the mesh that follows the metal."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.bottom.readings import lowest
from domemargin.fea.contact.contact import Penalty, Tool, chain_rows
from domemargin.fea.contact.kernel import SEGMENT, least_gap
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.stroke.blank import bent_state, blank_shell
from domemargin.fea.stroke.step import FormingState, Press
from domemargin.profiles.errors import InputError
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.tooling.chain import (
    METAL_SIDE,
    blank_chain,
    blank_thickness,
    clamp_chain,
    die_chain,
    punch_chain,
)
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

PUNCH, DIE, CLAMP = range(3)
TOOLS = ("punch", "die", "clamp")

# elements at density 1: the middle of the flat, its rim that is bent over die edge and nose with
# the nose and the outer leg, the heel, the wall
MIDDLE, RIM_LENGTH, HEEL, WALL = 14, 0.21, 14, 24
RIM = 8.0  # mm of the flat that is meshed finely


@dataclass(frozen=True)
class FormingSettings:
    """How a doming stroke is solved.

    density : elements relative to the default mesh.  step : longest step of the die, mm.
    layers : through the gauge, even.
    """

    density: float = 1.0
    step: float = 0.1
    layers: int = 8

    def __post_init__(self) -> None:
        checks = (("density", 0.25, 8.0), ("step", 0.002, 0.5), ("layers", 4, 24))
        for name, low, high in checks:
            value = getattr(self, name)
            if not low <= value <= high:
                allowed = f"{low:g} to {high:g}"
                raise InputError(
                    f"{name} is {value:g}; it must lie in {allowed}", name, f"{value:g}", allowed
                )


def element_ends(meridian: Meridian, density: float) -> Floats:
    """(n + 1,) arc lengths at which elements end; every junction of the blank is one.

    The rim's elements are a little shorter than the gauge.
    """
    flat, heel = meridian.span("flat")[1], meridian.span("heel")
    rim = flat - min(RIM, 0.4 * flat)
    leg = meridian.span("outer_leg")[1]
    nose = meridian.span("nose")[1]

    def even(first: float, last: float, length: float) -> Floats:
        count = max(2, round(density * (last - first) / length))
        return np.linspace(first, last, count + 1)[1:]

    count, wall = max(4, round(density * MIDDLE)), max(3, round(density * WALL))
    middle = rim * np.linspace(0.0, 1.0, count + 1) ** 0.8
    top = heel[1] + (meridian.length - heel[1]) * np.linspace(0.0, 1.0, wall + 1)[1:] ** 1.4
    return np.concatenate(
        (
            middle,
            even(rim, flat, RIM_LENGTH),
            even(flat, nose, RIM_LENGTH),
            even(nose, leg, RIM_LENGTH),
            even(*heel, (heel[1] - heel[0]) / HEEL),
            top,
        )
    )


def tools_of(tooling: Tooling) -> tuple[Tool, ...]:
    """Punch, die and clamp as rigid chains; the punch and the clamp where they are drawn at
    place 0, the die with its centre there.  A station without a clamp has an empty chain."""
    height = tooling.die.flange_height + tooling.blank.wall_height + 5.0
    chains = {
        "punch": punch_chain(tooling.punch, height),
        "die": die_chain(tooling.die),
        "clamp": ()
        if tooling.clamp is None
        else clamp_chain(tooling.clamp, tooling.punch, tooling.blank.gauge),
    }
    return tuple(
        Tool(
            name,
            chain_rows(chain, METAL_SIDE[name]),
            "inside" if name == "punch" else "outside",
            getattr(tooling.friction, name),
        )
        for name, chain in chains.items()
    )


def press_of(
    tooling: Tooling, settings: FormingSettings, penalty: Penalty | None = None
) -> tuple[Press, ShellState, Meridian]:
    """The press, the blank bent over the punch but not yet released, and the blank's line."""
    meridian, blank = blank_chain(tooling.punch, tooling.blank), tooling.blank

    def thickness(s: Floats) -> Floats:
        return blank_thickness(tooling.punch, tooling.blank, s)[0]

    def offset(s: Floats) -> tuple[Floats, Floats]:
        # a thinner wall lies on the punch too
        gauge, slope = blank_thickness(tooling.punch, tooling.blank, s)
        return 0.5 * (blank.gauge - gauge), -0.5 * slope

    def prior(s: Floats) -> Floats:
        return np.where(s > meridian.span("nose")[0], blank.prior_strain, 0.0)

    bent, flat = blank_shell(
        meridian,
        element_ends(meridian, settings.density),
        tooling.material,
        thickness,
        offset,
        prior,
        settings.layers,
    )
    strength = tooling.material.yield_strength
    assert strength is not None  # Tooling rejects metal that does not yield
    scale = strength * blank.gauge * 0.5 * tooling.punch.nose_diameter
    press = Press(flat, tools_of(tooling), penalty or Penalty(), scale)
    return press, bent_state(bent, flat), meridian


def hold_wall(shell: Shell, held: bool) -> Shell:
    """The shell with the height of its wall's top held, or free."""
    free = shell.free.reshape(-1, 3).copy()
    free[-1, 1] = not held
    shell = replace(shell, free=free.ravel())
    return shell


def touching(press: Press, state: FormingState, index: int, overlap: float) -> float:
    """The place at which a tool coming from below overlaps the metal by a little, mm."""
    tool = press.tools[index]
    half = press.rule.of(state.inside if tool.touches == "inside" else state.outside)

    def gap(place: float) -> float:
        return float(least_gap(state.shell.x, press.rule.shapes, half, tool.rows, place))

    low, high = -20.0, 5.0
    low = next((p for p in np.arange(high, low, -0.25) if gap(float(p)) > 0.0), low)
    high = low + 0.25
    while high - low > 1e-7:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if gap(middle) > -overlap else (low, middle)
    return 0.5 * (low + high)


def wall_top(shell: Shell) -> int:
    """Number of the unknown that is the height of the wall's top."""
    return shell.n - 2


def pull(shell: Shell, force: float) -> Floats:
    """(n,) dead load that pulls the wall's top up with a force (N)."""
    load = np.zeros(shell.n)
    load[wall_top(shell)] = force / (2.0 * math.pi)
    return load


def outside_depth(press: Press, state: FormingState) -> tuple[float, float]:
    """Dome depth on the outside surface, as a gauge reads it, and height of the stand plane, mm."""
    shell = press.shell
    outside = np.interp(shell.s, shell.point_s, state.outside)
    z = state.shell.x[:, 1] - outside * np.cos(state.shell.x[:, 2])
    stand = float(lowest(shell.s, z))
    return float(z[0] - stand), stand


def carried_radius(press: Press, state: FormingState) -> float:
    """Radius, mm, up to which the die touches the metal from the centre outward."""
    off = np.flatnonzero(state.history[DIE, :, SEGMENT] < 0)
    if off.size == 0:
        return float(state.shell.x[-1, 0])
    element, point = divmod(int(off[0]), press.rule.shapes.shape[0])
    nodes = state.shell.x[2 * element : 2 * element + 3, 0]
    return max(float(press.rule.shapes[point] @ nodes), 0.0)
