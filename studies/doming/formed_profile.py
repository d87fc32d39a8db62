"""A formed bottom as a profile that every other command takes: traced line, gauge, hardening.

The chain nearest to the formed line carries the line as its shape error, so the line is kept
whether or not the dimensions alone describe it.  Gauge runs along the arc length; hardening, back
stress and residual stress are kept for every layer (profiles/shape/formed.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from domemargin.fea.doming.fit import Fit, fit_shape
from domemargin.fea.doming.readings import line
from domemargin.fea.metal.materials import B1, B2, EP
from domemargin.fea.stroke.press import outside_depth
from domemargin.fea.stroke.stages import Formed
from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.local import Along
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.chain import Chain
from domemargin.profiles.shape.chain import solve as solve_chain
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.tooling.tooling import Tooling

SPACING = 0.15  # mm between entries at least


def formed_profile(formed: Formed, tooling: Tooling) -> Profile | None:
    """The bottom at rest as a profile; None where no chain is near or it was not formed."""
    stages = dict(formed.stages)
    if "punch off" not in stages:
        return None
    state = stages["punch off"]
    reading, stand = outside_depth(formed.press, state)
    lie = line(formed, state)
    z = lie.z - stand
    fit = fit_shape(tooling, lie.r, z, lie.angle, reading)
    if fit is None:
        return None
    try:
        return _profile(formed, tooling, fit, lie.r, z)
    except InputError:
        return None


def _profile(formed: Formed, tooling: Tooling, fit: Fit, r: Floats, z: Floats) -> Profile:
    state, shell = formed.at("punch off"), formed.press.shell
    chain = solve_chain(fit.shape, fit.sheet)
    assert isinstance(chain, Chain)  # a fit closes
    # the wall ends where the formed metal does
    shape = replace(fit.shape, wall_height=max(float(z[-1]) - chain.heel_height, 1.0))
    chain = solve_chain(shape, fit.sheet)
    assert isinstance(chain, Chain)
    place, away = projected(chain.meridian, r, z)
    kept = [0]
    for i in range(1, place.size):
        if place[i] - place[kept[-1]] >= SPACING:
            kept.append(i)
    gauge = np.interp(shell.s, shell.point_s, state.inside + state.outside)
    along = Along(
        tuple(place[kept].tolist()),
        gauge=tuple(gauge[kept].tolist()),
        offset=tuple(away[kept].tolist()),
    )
    name = f"{tooling.name}, formed"
    found = formed_state(formed, place)
    return Profile(name, shape, fit.sheet, tooling.material, along=along, formed=found)


def formed_state(formed: Formed, place: Floats) -> FormedState:
    """Hardening and stress of the metal at rest.

    place : (n_nodes,) arc lengths on the profile's meridian of the shell's nodes.
    """
    state, shell = formed.at("punch off"), formed.press.shell
    count = int(shell.first_layer[1])
    s = np.interp(shell.point_s, shell.s, place)
    # points with the same foot cannot be separated
    kept = [0]
    for i in range(1, s.size):
        if s[i] - s[kept[-1]] >= 0.2 * SPACING:
            kept.append(i)

    def layered(values: Floats) -> tuple[tuple[float, ...], ...]:
        rows = values.reshape(-1, count)[kept]
        # stresses to 1 kPa, strains and factors to 1e-6
        digits = 3 if float(np.abs(values).max()) > 10.0 else 6
        return tuple(tuple(row) for row in np.round(rows, digits).tolist())

    layers = state.shell.layers
    places = (shell.y0[:count] / (0.5 * shell.gauge[0])).tolist()
    return FormedState(
        tuple(s[kept].tolist()),
        tuple(places),
        layered(layers[EP]),
        layered(state.shell.factor),
        layered(layers[B1]),
        layered(layers[B2]),
        layered(state.shell.stress[0]),
        layered(state.shell.stress[1]),
    )


def projected(meridian: Meridian, r: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Arc lengths (increasing) on a meridian of the feet of points, and distances from it along
    its normal, mm."""
    dense = np.linspace(0.0, meridian.length, 4000)
    at = meridian.at(dense)
    place = dense[np.argmin((at.r[None] - r[:, None]) ** 2 + (at.z[None] - z[:, None]) ** 2, 1)]
    for _ in range(20):
        on = meridian.at(place)
        c, s = np.cos(on.phi), np.sin(on.phi)
        away = -(r - on.r) * s + (z - on.z) * c
        step = ((r - on.r) * c + (z - on.z) * s) / (1.0 - on.curvature * away)
        place = np.clip(place + step, 0.0, meridian.length)
    on = meridian.at(place)
    away = -(r - on.r) * np.sin(on.phi) + (z - on.z) * np.cos(on.phi)
    return np.maximum.accumulate(place), away
