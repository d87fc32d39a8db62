"""The tangent of an axisymmetric solid for circumferential waves, as waves/waves.py searches it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from domemargin.fea.core.banded import factor
from domemargin.fea.solid.solid import Solid, SolidState
from domemargin.fea.solid.wave_kernel import (
    DEFORMATION,
    DEGREE,
    FLOW,
    add_wave_metal,
    add_wave_pressure,
)
from domemargin.fea.waves.kernel import band_at
from domemargin.fea.waves.waves import lowest_mode
from domemargin.profiles.arrays import Floats, Ints

THEORIES = {"flow": FLOW, "deformation": DEFORMATION}


@dataclass(frozen=True)
class SolidWaveTangent:
    """The tangent of a state of a solid for any number of waves.

    coefficients : (3, 3 n_nodes, w + 1) lower bands of the powers of n, for U, W, V of each node.
    solid : for what is held.
    """

    coefficients: Floats
    solid: Solid

    def band(self, n: int) -> Floats:
        """Band for n waves, with the unknowns that are held taken out (1 on the diagonal)."""
        return band_at(float(n), self.coefficients, held(self.solid, n))

    def negative(self, n: int) -> int:
        """Number of unstable modes with n waves; -1 if the tangent is exactly singular."""
        return factor(self.band(n))

    def unstable(self, numbers: Sequence[int]) -> tuple[int, ...]:
        """Those numbers of waves with an unstable mode, or an exactly singular tangent."""
        return tuple(n for n in numbers if self.negative(n) != 0)

    def mode(self, n: int) -> tuple[float, Floats]:
        """Eigenvalue next to zero and its mode (n_nodes, 3) U, W, V, largest displacement 1."""
        value, vector = lowest_mode(self.band(n), held(self.solid, n))
        return value, vector.reshape(-1, 3) / vector[np.argmax(np.abs(vector))]


def held(solid: Solid, n: int) -> Ints:
    """Numbers of the wave unknowns that stay put, for n waves.

    A boundary that holds r all round holds the hoop displacement too; on the axis only what is
    single-valued there is free: moving along it at n = 0 and across it at n = 1.
    """
    r, z = solid.free.reshape(-1, 2).T
    out = ~np.stack((r, z, r), axis=1)
    radius = solid.reference[:, 0]
    axis = radius < 1e-9 * radius.max()
    if n == 1:
        out[axis] = (False, True, False)
    elif n > 1:
        out[axis] = True
    else:
        out[axis, 0] = True
        out[:, 2] = True
    return np.flatnonzero(out)


def solid_wave_tangent(
    solid: Solid, before: SolidState, state: SolidState, theory: str = "flow"
) -> SolidWaveTangent:
    """The tangent at `state`, reached in one step from `before`.

    theory : flow or deformation; see solid_wave_kernel.wave_moduli.
    """
    width = 3 * int(np.max(np.ptp(solid.nodes, axis=1))) + 2
    bands = np.zeros((DEGREE + 1, 3 * len(solid.reference), width + 1))
    add_wave_metal(state.x, solid.body[:], before.points, THEORIES[theory], bands)
    add_wave_pressure(solid.reference + state.x, solid.edge[:], state.pressure, bands)
    return SolidWaveTangent(bands, solid)
