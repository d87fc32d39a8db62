"""A bottom that is its own mirror image, looked at as a whole: does it stay so?

Half a bottom knows only motions that are mirror images of themselves.  The tangent of the whole
at the same state has those and the others; negative pivots beyond those of the half are motions
out of the plane of symmetry.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from domemargin.fea.core.banded import factor
from domemargin.fea.uneven.given import B12, B23, P12, P23, STATE
from domemargin.fea.uneven.shell import UnevenShell, UnevenState
from domemargin.profiles.arrays import Floats

# under a mirror in the plane of angle 0: a director's hoop part turns round, and so do the others
# of its derivative round the can
_DIRECTOR = np.array([1.0, -1.0, 1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
_LAYERS = np.ones((STATE, 1))
_LAYERS[[P12, P23, B12, B23]] = -1.0


def whole_state(state: UnevenState, count: int) -> UnevenState:
    """The state of half a bottom as one of the whole, with `count` harmonics to an unknown."""

    def both(values: Floats, mirror: Floats | float = 1.0) -> Floats:
        return np.concatenate((values, values[::-1] * mirror))

    x = np.zeros((*state.x.shape[:2], count))
    x[:, :, : state.x.shape[2]] = state.x
    stress = np.array([1.0, 1.0, 1.0, -1.0, -1.0])[:, None]
    return replace(
        state,
        x=x,
        layers=both(state.layers, _LAYERS),
        stress=both(state.stress, stress),
        y=both(state.y),
        face=both(state.face),
        factor=both(state.factor),
        director=both(state.director, _DIRECTOR),
    )


def leaves_symmetry(
    half: UnevenShell, whole: UnevenShell, before: UnevenState, state: UnevenState
) -> bool:
    """Whether a motion out of the plane of symmetry is unstable at `state`, a step from `before`.

    whole : the shell of the same shape with the same harmonics and stations all round.
    """
    count = whole.round.count
    at = whole_state(state, count)
    found = whole.evaluate(at.x.ravel(), state.pressure, whole_state(before, count))
    own = half.evaluate(state.x.ravel(), state.pressure, before)
    return factor(found.band) > factor(own.band)
