"""The metal before the stroke: a flat blank bent over the punch, layer by layer.

Modelled as a prescribed history.  The mid-surface lies where the cup lies on the punch: flat
across the nose, round the nose, up the outer leg, round the heel, up the wall.  Its layers start
free of stress as flat metal of the same mid-surface, and are bent to that shape in steps while
the mid-surface is held; then the metal is released against the punch.  So nose, heel and, by its
hoop curvature, outer leg carry bending strain, hardening and stress into the doming stroke.  The
earlier strain of cupping and ironing (the bottom outside the nose was drawn in, the wall ironed) is
not computed; it may be given as a prior strain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.shell.shell import Shell, ShellState, build_shell
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian

Floats = NDArray[np.float64]

BEND_STEPS = 6


def blank_shell(
    meridian: Meridian,
    ends: Floats,
    material: Material,
    thickness: Callable[[Floats], Floats],
    offset: Callable[[Floats], tuple[Floats, Floats]],
    prior_strain: Callable[[Floats], Floats],
    layers: int | NDArray[np.int64] = 8,
) -> tuple[Shell, Shell]:
    """The blank's shell as drawn (layers free of stress as bent) and as flat metal.

    Both share mesh and unknowns; they differ in the lengths at which layers carry no stress.
    """
    bent = build_shell(
        meridian,
        ends,
        material,
        thickness,
        layers,
        fixed_start="r phi",
        fixed_end="",
        prior_strain=prior_strain,
        offset=offset,
    )
    point = np.repeat(np.arange(bent.gauge.size), np.diff(bent.first_layer))
    # a0 = 1 but for a little where the offset changes; the mid-surface is what both share
    middle = np.ascontiguousarray(_middle_lengths(bent)[:, point])
    lengths = 1.0 / bent.per_length
    share = middle[0] * middle[1] / (lengths[0] * lengths[1])
    flat = replace(bent, per_length=1.0 / middle, layer_weight=bent.layer_weight * share)
    return bent, flat


def _middle_lengths(shell: Shell) -> Floats:
    """(2, n_points) stretch a0 and radius of the mid-surface as drawn."""
    nodes = shell.reference[2 * np.arange(shell.weights.shape[0])[:, None] + np.arange(3)]
    phi = np.einsum("qi,ei->eq", shell.shapes, nodes[:, :, 2])
    rp, zp = (np.einsum("eqi,ei->eq", shell.slopes, nodes[:, :, k]) for k in (0, 1))
    stretch = rp * np.cos(phi) + zp * np.sin(phi)
    return np.stack((stretch.ravel(), shell.radius))


def bent_state(bent: Shell, flat: Shell, steps: int = BEND_STEPS) -> ShellState:
    """The layers after bending from flat to drawn with the mid-surface held.

    The lengths at which layers carry no stress go from those of the drawn shape to those of flat
    metal in equal ratios; the state is one of `flat`, not yet in equilibrium.
    """
    state = bent.start()
    u = bent.reference.ravel()
    for i in range(1, steps + 1):
        share = i / steps
        lengths = bent.per_length ** (1.0 - share) * flat.per_length**share
        partly = replace(flat, per_length=lengths)
        state = partly.accept(u, 0.0, partly.evaluate(u, 0.0, state), state)
    return state
