"""Compiled Newton iteration of the shell: path.iterate in one call.

Between two evaluations of the shell, which take some 30 microseconds, an iteration written in
Python would spend half as much again.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.core.banded import bordered_8, bordered_again_8, norm, solve_with_8
from domemargin.fea.core.path import (
    CONVERGED,
    CUTS,
    NEAR,
    NO_EQUILIBRIUM,
    NOT_A_NUMBER,
    SINGULAR,
    UPDATE_NOT_A_NUMBER,
    distance,
)
from domemargin.fea.shell.given import Fields, Found
from domemargin.fea.shell.kernel import assemble
from domemargin.profiles.arrays import Floats


@kernel
def converge(
    u: Floats,
    pressure: float,
    moved: float,
    aim: tuple[float, float, float, float, float, float],
    limits: tuple[float, float, float, int],
    shape: Floats,
    body: Fields,
    start: Fields,
    out: Fields,
) -> tuple[int, float, float, float, int, int]:
    """path.iterate for a shell.

    u : (n,) trial, becomes the equilibrium.  moved : as there.  aim : the entries of path.Aim.
    limits : tolerance, update, cap and iterations of path.Newton.  shape : (n,) du/dp, out.
    body, start, out : as in assemble.
    Returns how it ended, pressure, volume, dV/dp, negative pivots and tangents factored.
    """
    per_volume, per_pressure, from_volume, from_pressure, step, scale = aim
    tolerance, update, cap, most = limits
    found = Found(*out)
    residual, gradient, band = found.residual, found.gradient, found.band
    iterations, negative, cuts = 0, 0, 0
    share, dp, last = 1.0, 0.0, math.inf
    change, before, tangent, full = np.zeros(u.size), u.copy(), np.empty_like(band), 0.0
    while True:
        volume = assemble(u.reshape((-1, 3)), pressure, body, start, out)
        force = norm(residual)
        size = max(abs(pressure), scale) * norm(gradient)
        gap = step - per_volume * (volume - from_volume)
        gap -= per_pressure * (pressure - from_pressure)
        if (
            iterations > 0
            and force <= tolerance * size
            and moved <= update
            and abs(gap) <= 1e-6 * abs(step) + 1e-12
        ):
            break
        away = distance(force, size, gap, step)
        if iterations > 0 and cuts < CUTS and not away <= max(last, NEAR):
            again = bordered_again_8(tangent, residual, gradient, gap, per_volume, per_pressure)
            if not again <= (1.0 - 0.25 * share) * full:
                cuts += 1
                share *= 0.5
                moved *= 0.5
                for i in range(u.size):
                    u[i] = before[i] + share * change[i]
                pressure -= share * dp
                continue
        if not math.isfinite(force):
            return NOT_A_NUMBER, pressure, volume, 0.0, negative, iterations
        if iterations == most:
            return NO_EQUILIBRIUM, pressure, volume, 0.0, negative, iterations
        negative, dp, moved, change = bordered_8(
            band, residual, gradient, gap, per_volume, per_pressure
        )
        iterations += 1
        if negative < 0:
            return SINGULAR, pressure, volume, 0.0, negative, iterations
        if not math.isfinite(moved):
            return UPDATE_NOT_A_NUMBER, pressure, volume, 0.0, negative, iterations
        full = moved
        tangent[:] = band
        share = min(1.0, cap / moved) if moved > 0.0 else 1.0
        cuts, last = 0, away
        for i in range(u.size):
            before[i] = u[i]
            u[i] += share * change[i]
        pressure += share * dp
    negative = solve_with_8(band, gradient, shape)
    if negative < 0:
        return SINGULAR, pressure, volume, 0.0, negative, iterations
    growth = 0.0
    for i in range(u.size):
        growth += gradient[i] * shape[i]
    return CONVERGED, pressure, volume, growth, negative, iterations + 1
