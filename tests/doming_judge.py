"""One doming stroke by the shell and by the axisymmetric solid, from the same unstressed blank.

The blank lies on the punch as drawn, without the history of its bend, and hardens isotropically,
since the solid carries neither; everything else is the ready tooling.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from domemargin.fea.bottom.readings import lowest
from domemargin.fea.solid.mesh import to_skfem
from domemargin.fea.solid.solid import solid
from domemargin.fea.stroke.advance import Goal, Pace, advance
from domemargin.fea.stroke.blank import blank_shell
from domemargin.fea.stroke.press import (
    CLAMP,
    DIE,
    FormingSettings,
    element_ends,
    hold_wall,
    press_of,
    pull,
)
from domemargin.fea.stroke.solid import SolidPress
from domemargin.fea.stroke.step import loosened, resting
from domemargin.profiles.arrays import Floats
from domemargin.profiles.files.section import section_mesh
from domemargin.profiles.shape.meridian import Meridian, Points
from domemargin.profiles.tooling.chain import blank_chain, blank_thickness
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.tooling import Tooling

RISE = 10.4  # mm of the die


class Outcome(NamedTuple):
    """Depths loaded and at rest, mm; largest force on the die, N; largest thinning over 1 mm at
    the inner leg and at the pole, shares."""

    loaded: float
    rest: float
    peak: float
    leg: float
    pole: float


def station() -> Tooling:
    """The ready tooling with isotropic hardening and a short wall."""
    tooling = load_tooling("north")
    plain = replace(tooling.material, kinematic_share=0.0)
    return tooling.replaced(material=plain, blank__wall_height=12.0)


def stroke(
    tooling: Tooling, press: Any, hold: Any, loose: Any, grip: Floats, rise: float
) -> tuple[Any, ...]:
    """Clamp, raise, let go.  hold(press, held) holds or frees the wall's top."""
    force, none = tooling.clamp_force, np.zeros(press.free.size)

    def with_tools(*tools: int, held: int = -1, wall: bool = False) -> Any:
        active = tuple(i in tools for i in range(3))
        return replace(hold(press, wall), active=active, held=held)

    state = resting_of(press)
    places = state.places.copy()
    places[CLAMP] = 1e-3
    state = replace(state, places=places)
    now = with_tools(0, CLAMP, held=CLAMP, wall=True)
    state = advance(now, state, Goal(places, force), Pace(0.02, 0.3))
    now = with_tools(0, CLAMP, held=CLAMP)
    state = advance(now, loose(now, state), Goal(state.places, force, grip), Pace(0.1, 0.5), force)
    places = state.places.copy()
    places[DIE] = -tooling.blank.gauge - 1e-4
    state = replace(state, places=places)
    places = places.copy()
    places[DIE] += rise
    peak = [0.0]

    def seen(at: Any) -> bool:
        peak[0] = max(peak[0], float(at.forces[DIE]))
        return False

    now = with_tools(0, DIE, CLAMP, held=CLAMP)
    pace = Pace(0.02 / rise, 0.1 / rise)
    loaded = advance(now, state, Goal(places, force), pace, force, seen)
    now = with_tools(0, CLAMP, held=CLAMP)
    state = advance(now, loose(now, loaded), Goal(places, force, grip), Pace(0.02, 0.25), force)
    for tools in ((0,), ()):
        now = with_tools(*tools, wall=True)
        goal = Goal(state.places, dead=none)
        state = advance(now, loose(now, state), goal, Pace(0.02, 0.25))
    return loaded, state, peak[0]


def resting_of(press: Any) -> Any:
    """Metal and tools before anything touches."""
    far = (0.0, -30.0, -5.0)
    if isinstance(press, SolidPress):
        return press.resting(far)
    return resting(press, press.shell.start(), far)


def means(s: Floats, share: Floats) -> tuple[float, float]:
    """Largest loss over 1 mm within 27 mm of the axis but off the pole, and at the pole."""
    total = np.concatenate(([0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * np.diff(s))))
    first = np.linspace(s[0], 26.0, 4000)
    mean = np.interp(first + 1.0, s, total) - np.interp(first, s, total)
    return float(1.0 - mean[first > 20.0].min()), float(1.0 - mean[0])


def by_shell(density: float = 1.0, tooling: Tooling | None = None, rise: float = RISE) -> Outcome:
    """The stroke by the shell."""
    tooling = tooling or station()
    press, _, line = press_of(tooling, FormingSettings(density))
    half = 0.5 * tooling.blank.gauge

    def offset(s: Floats) -> tuple[Floats, Floats]:
        gauge, slope = blank_thickness(tooling.punch, tooling.blank, s)
        return half - 0.5 * gauge, -0.5 * slope

    drawn, _ = blank_shell(
        line,
        element_ends(line, density),
        tooling.material,
        lambda s: blank_thickness(tooling.punch, tooling.blank, s)[0],
        offset,
        lambda s: np.zeros_like(s),
    )
    press = replace(press, shell=drawn)
    loaded, rest, peak = stroke(
        tooling,
        press,
        lambda p, held: replace(p, shell=hold_wall(p.shell, held)),
        loosened,
        pull(drawn, tooling.blank.wall_grip),
        rise,
    )

    def depth(state: Any) -> float:
        outside = np.interp(drawn.s, drawn.point_s, state.outside)
        z = state.shell.x[:, 1] - outside * np.cos(state.shell.x[:, 2])
        return float(z[0] - lowest(drawn.s, z))

    share = (rest.inside + rest.outside) / drawn.gauge
    return Outcome(depth(loaded), depth(rest), peak, *means(drawn.point_s, share))


@dataclass(frozen=True)
class _OnPunch:
    """The blank's middle line where thinner metal lies on the punch too."""

    tooling: Tooling
    plain: Meridian

    @property
    def segments(self) -> Any:
        return self.plain.segments

    @property
    def breaks(self) -> Floats:
        return self.plain.breaks

    def at(self, s: Any) -> Points:
        p = self.plain.at(s)
        away = 0.5 * (
            self.tooling.blank.gauge - blank_thickness(self.tooling.punch, self.tooling.blank, s)[0]
        )
        return p._replace(r=p.r - away * np.sin(p.phi), z=p.z + away * np.cos(p.phi))


class _Section:
    def __init__(self, tooling: Tooling) -> None:
        self.tooling = tooling
        self.meridian = _OnPunch(tooling, blank_chain(tooling.punch, tooling.blank))

    def thickness(self, s: Any) -> Floats:
        return blank_thickness(self.tooling.punch, self.tooling.blank, s)[0]


def by_solid(
    through: int = 2, along: float = 1.0, tooling: Tooling | None = None, rise: float = RISE
) -> Outcome:
    """The stroke by the solid: through elements across the gauge."""
    tooling = tooling or station()
    counts = {"flat": 70, "nose": 5, "outer_leg": 36, "heel": 14, "sidewall": 8}
    counts = {name: max(3, round(along * count)) for name, count in counts.items()}
    mesh = section_mesh(_Section(tooling), through, counts)  # type: ignore[arg-type]
    body = solid(to_skfem(mesh), tooling.material, {"axis": "r"}, order=mesh.quads)
    place = np.empty(len(mesh.points), dtype=np.int64)
    place[mesh.quads[:, :8]] = body.nodes
    lines = {
        name: place[np.append(edges[:, (0, 2)].ravel(), edges[-1, 1])]
        for name, edges in (("inside", mesh.inside), ("outside", mesh.outside))
    }
    body = replace(body, lines=lines)
    top = np.unique(place[mesh.top])
    shell_press, _, _ = press_of(tooling, FormingSettings())
    press = SolidPress(body, shell_press.tools, shell_press.penalty, shell_press.force_scale)

    def hold(p: SolidPress, held: bool) -> SolidPress:
        free = p.body.free.copy()
        free[2 * top + 1] = not held
        return replace(p, body=replace(p.body, free=free))

    grip = np.zeros(body.n)
    grip[2 * top + 1] = tooling.blank.wall_grip / (2.0 * np.pi) / top.size
    loaded, rest, peak = stroke(tooling, press, hold, lambda p, s: p.loosened(s), grip, rise)

    def depth(state: Any) -> float:
        line = body.lines["outside"]
        x = body.reference[line] + state.shell.x[line]
        s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(body.reference[line], axis=0).T))))
        return float(x[0, 1] - lowest(s, x[:, 1]))

    now = body.reference + rest.shell.x
    i, o = body.lines["inside"], body.lines["outside"]
    share = np.hypot(*(now[i] - now[o]).T) / np.hypot(*(body.reference[i] - body.reference[o]).T)
    middle = 0.5 * (body.reference[i] + body.reference[o])
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))))
    return Outcome(depth(loaded), depth(rest), peak, *means(s, share))
