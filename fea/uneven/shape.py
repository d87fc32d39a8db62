"""From what is uneven in a profile to an uneven shell."""

from __future__ import annotations

import numpy as np

from domemargin.fea.shell.shell import Shell
from domemargin.fea.uneven.given import UNKNOWNS
from domemargin.fea.uneven.harmonics import Round
from domemargin.fea.uneven.shell import UnevenShell, uneven_shell
from domemargin.profiles.around import Around
from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.meridian import Meridian

_ANGLES = 128  # at which a shape is sampled for its harmonics
_STEP = 1e-5  # mm, of the derivative along the meridian


def is_mirrored(around: Around, meridian: Meridian) -> bool:
    """Whether the bottom is its own mirror image in the plane of angle 0."""
    angle = np.linspace(0.1, 3.0, 7)
    s = np.linspace(0.0, 1.0, 41) * meridian.length
    one, other = (around.displacement(s, side * angle, meridian) for side in (1.0, -1.0))
    even = np.abs(one - other * (1.0, -1.0, 1.0)).max() < 1e-9
    factors = (around.gauge_factor, around.yield_factor)
    return bool(even and all(np.abs(f(angle) - f(-angle)).max() < 1e-9 for f in factors))


def harmonics_of(around: Round, values: Floats, odd: bool) -> Floats:
    """(k, H) harmonics of values (k, _ANGLES) at even angles; odd : of what lies along the hoop."""
    spectrum = np.fft.rfft(values, axis=1)[:, : around.harmonics + 1] * (2.0 / _ANGLES)
    cos, sin = spectrum.real, -spectrum.imag
    cos[:, 0] *= 0.5
    first, second = (sin, -cos) if odd else (cos, sin)
    if odd and not around.half:
        first[:, 0] = cos[:, 0]
    return first if around.half else np.concatenate((first, second[:, 1:]), axis=1)


def moved_nodes(even: Shell, meridian: Meridian, around: Around, round_: Round) -> Floats:
    """(n_nodes, 5, H) displacement of the nodes and the turn that keeps their directors normal to
    the surface (to first order; the shear that is left is part of the undeformed shape)."""
    angle = 2.0 * np.pi * np.arange(_ANGLES) / _ANGLES
    s, phi, r = even.s, even.reference[:, 2], even.reference[:, 0]
    at = around.displacement(s, angle, meridian)
    low, high = np.maximum(s - _STEP, 0.0), np.minimum(s + _STEP, meridian.length)
    slope = (
        around.displacement(high, angle, meridian) - around.displacement(low, angle, meridian)
    ) / (high - low)[:, None, None]
    out = np.zeros((len(s), UNKNOWNS, round_.count))
    for field, part, odd in ((0, 0, False), (1, 2, False), (3, 1, True)):
        out[:, field] = harmonics_of(round_, at[:, :, part], odd)
    sin, cos = np.sin(phi)[:, None], np.cos(phi)[:, None]
    turn = -sin * slope[:, :, 0] + cos * slope[:, :, 2]
    out[:, 2] = harmonics_of(round_, turn, False)
    # hoop tilt T = cos phi dB/dt + (sin phi (du/dt - v) - cos phi dw/dt) / r
    waves = np.fft.rfftfreq(_ANGLES, 1.0 / _ANGLES)

    def round_the_can(values: Floats) -> Floats:
        return np.fft.irfft(1j * waves * np.fft.rfft(values, axis=1), _ANGLES, axis=1)

    lean = sin * (round_the_can(at[:, :, 0]) - at[:, :, 1]) - cos * round_the_can(at[:, :, 2])
    off_axis = r > 1e-9 * r.max()
    tilt = np.zeros_like(turn)
    tilt[off_axis] = (cos * round_the_can(turn))[off_axis] + lean[off_axis] / r[off_axis, None]
    out[:, 4] = harmonics_of(round_, tilt, True)
    return out


def shell_around(even: Shell, meridian: Meridian, around: Around, round_: Round) -> UnevenShell:
    """The uneven shell of an even one."""
    moved = moved_nodes(even, meridian, around, round_)
    gauge, strength = (
        np.repeat(factor(round_.angles)[:, None], even.gauge.size, axis=1)
        for factor in (around.gauge_factor, around.yield_factor)
    )
    return uneven_shell(even, round_, moved, gauge, strength)
