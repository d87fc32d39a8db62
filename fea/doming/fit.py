"""A formed line back in the dimensions of a profile: the chain that lies nearest to it."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.contact.contact import chain_rows
from domemargin.fea.contact.kernel import distances
from domemargin.profiles.errors import InputError
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

FITTED = (
    "stand_diameter",
    "dome_depth",
    "dome_radius",
    "shoulder_radius",
    "inner_leg_angle",
    "nose_radius",
    "outer_leg_angle",
    "heel_radius",
)
ABOVE_HEEL = 2.0  # mm of the wall that are fitted too


class Fit(NamedTuple):
    """A fitted chain.

    shape, sheet : its dimensions, radii on the middle surface.  misfit_mm : root mean square
    distance of the line from it.
    """

    shape: Shape
    sheet: Sheet
    misfit_mm: float


def fit_shape(tooling: Tooling, r: Floats, z: Floats, depth: float) -> Fit | None:
    """The dimensions of a formed middle line (r, z in mm; z from the stand plane).

    depth : as the gauge reads it, mm; kept.  None where no chain lies near the line.
    """
    from scipy.optimize import least_squares

    blank, punch, die = tooling.blank, tooling.punch, tooling.die
    half = 0.5 * blank.gauge
    sheet = Sheet(blank.gauge, blank.wall_gauge, blank.transition_length)
    first = Shape(
        radii_on="mid",
        stand_diameter=punch.nose_diameter,
        dome_depth=depth,
        dome_radius=1.05 * die.dome_radius[-1],
        shoulder_radius=die.edge_radius + half,
        inner_leg_angle=0.05,
        nose_radius=punch.nose_radius + half,
        outer_leg_angle=punch.leg_angle,
        heel_radius=punch.heel_radius + half,
        body_diameter=punch.body_diameter + blank.wall_gauge,
        wall_height=blank.wall_height,
    )
    # the dome's edge may be drawn a little flatter than a chain allows
    start = next(
        (
            shape
            for radius in (first.dome_radius, die.dome_radius[-1], 1.2 * die.dome_radius[-1])
            for angle in (0.05, 0.0, 0.1)
            if isinstance(
                solve(shape := replace(first, dome_radius=radius, inner_leg_angle=angle), sheet),
                Chain,
            )
        ),
        None,
    )
    if start is None:
        return None
    names = [name for name in FITTED if name != "dome_depth"]
    scale = np.array([float(getattr(start, name)) or 0.05 for name in names])
    scale = np.where([name.endswith("angle") for name in names], 0.1, scale)
    origin = np.array([float(getattr(start, name)) for name in names])
    length = np.hypot(np.gradient(r), np.gradient(z))

    def shape_of(x: Floats) -> Shape:
        return replace(start, **dict(zip(names, (origin + scale * x).tolist(), strict=True)))

    def misfit(x: Floats) -> Floats:
        try:
            chain = solve(shape_of(x), sheet)
        except InputError:
            return np.full(r.size, 10.0)
        if not isinstance(chain, Chain):
            return np.full(r.size, 10.0)
        off = distances(chain_rows(chain.segments, 1), r, z)
        near = z < chain.heel_height + ABOVE_HEEL
        return np.where(near, np.clip(off, -3.0, 3.0), 0.0) * np.sqrt(length)

    found = least_squares(misfit, np.zeros(len(names)), x_scale=0.02, max_nfev=80)
    shape = shape_of(found.x)
    chain = solve(shape, sheet)
    if not isinstance(chain, Chain):
        return None
    near = z < chain.heel_height + ABOVE_HEEL
    rms = float(np.sqrt(np.sum(misfit(found.x)[near] ** 2) / np.sum(length[near])))
    return Fit(shape, sheet, rms)
