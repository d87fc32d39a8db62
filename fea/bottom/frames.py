"""The reversal as frames: the meridian at states along the path, through the drop to its end.

The path goes on through the drop until the pressure is gone; the last frame is the bottom at rest
there, let off.  Parts of the bottom that would touch each other are not held apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from domemargin.fea.bottom.observe import ShellView
from domemargin.fea.bottom.reversal import solve_path
from domemargin.fea.core.ramp import Ramp, pressure_control
from domemargin.fea.core.settings import Settings
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.materials import EP
from domemargin.fea.shell.shell import ShellState
from domemargin.profiles.arrays import Floats
from domemargin.profiles.profile import Profile

GONE = 0.02  # share of the reversal pressure at which the pressure is gone
MOST_STATES = 300  # of a path that is followed so far


@dataclass(frozen=True)
class Frames:
    """Meridians along a path of m states at n nodes.

    pressure_mpa, centre_travel_mm : (m,).  r_mm, z_mm, angle_rad : (m, n) mid-surface.
    plastic_strain : (m, n) equivalent, largest through the gauge, of forming and loading.
    limit : number of the last frame before the limit, None where there is none.
    rest : whether the last frame is the bottom let off after the drop.
    depth_mm : (m,) dome centre over the stand ring, outside; negative where the dome hangs below.
    """

    pressure_mpa: Floats
    centre_travel_mm: Floats
    r_mm: Floats
    z_mm: Floats
    angle_rad: Floats
    plastic_strain: Floats
    depth_mm: Floats
    limit: int | None
    rest: bool


def frames(profile: Profile, settings: Settings | None = None, most: int = 48) -> Frames:
    """The reversal of a bottom as at most `most` frames, all before the limit kept if they fit.

    settings : of the solve; the shell only.  Raises InputError.
    """
    settings = settings or Settings()

    def go_on(so_far: Ramp) -> bool:
        assert so_far.limit is not None
        now = so_far.states[-1].pressure
        return now > GONE * so_far.limit.pressure and len(so_far.states) < MOST_STATES

    solved = solve_path(profile, Settings(settings.resolution, settings.ceiling), on=go_on)
    view, path = solved.view, solved.found.path
    assert isinstance(view, ShellView)
    states: list[ShellState] = list(path.states)
    limit = None if path.limit is None else path.limit.before
    rest = False
    if limit is not None and states[-1].pressure < 0.5 * path.states[limit].pressure:
        try:
            plan = solved.found.plan
            states.append(pressure_control(view.system, states[-1], 0.0, plan, steps=3))
            rest = True
        except SolveError:
            pass  # the path is shown as far as it goes
    kept = _chosen(len(states), limit, most)
    chosen = [states[i] for i in kept]
    heights = view.heights(chosen)
    shape = np.stack([state.x for state in chosen])  # (m, n, 3)
    return Frames(
        np.array([state.pressure for state in chosen]),
        heights[0, 0] - heights[:, 0],
        shape[:, :, 0],
        shape[:, :, 1],
        shape[:, :, 2],
        np.stack([_strain(view, state) for state in chosen]),
        heights[:, 0] - heights[:, 1] - 0.5 * float(profile.thickness(0.0)),
        None if limit is None else kept.index(limit),
        rest,
    )


def _strain(view: ShellView, state: ShellState) -> Floats:
    """Largest plastic strain through the gauge at the nodes."""
    shell = view.system
    most = np.maximum.reduceat(state.layers[EP], shell.first_layer[:-1])
    return np.interp(shell.s, shell.point_s, most)


def _chosen(count: int, limit: int | None, most: int) -> list[int]:
    """Numbers of the states that become frames: evenly spread, ends and limit among them."""
    even = np.linspace(0, count - 1, min(count, most)).round().astype(int)
    fixed = {0, count - 1} | ({limit} if limit is not None else set())
    return sorted(set(even.tolist()) | fixed)
