"""Finite-strain J2 metal for FElupe's `Material`, as its user would write it.

The library's own plastic law is for small strain.  This is the standard algorithm of
J. C. Simo, Comput. Methods Appl. Mech. Eng. 99, 1992, 61 (logarithmic elastic strains, return map
in principal axes, spectral tangent), vectorised over all points of an axisymmetric body.
State of a point: inverse plastic Cauchy-Green tensor (11, 22, 12, hoop) less the identity, and
equivalent plastic strain.
"""

from __future__ import annotations

from typing import Any

import felupe as fem
import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.material import Material, Voce

EYE = np.array([1.0, 1.0, 0.0, 1.0])


def voce(
    modulus: float, poisson: float, first: float, saturation: float, rate: float
) -> fem.Material:
    """Material of an elastic-plastic sheet: modulus, yield stress and saturation in MPa."""
    shear = 0.5 * modulus / (1.0 + poisson)
    lame = modulus * poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    elastic = lame + 2.0 * shear * np.eye(3)

    def update(F: Floats, state: Floats) -> tuple[Any, ...]:
        a, b, c, d, hoop = F[0, 0], F[0, 1], F[1, 0], F[1, 1], F[2, 2]
        p, q, s, w = state[:4] + EYE.reshape(4, *[1] * (state.ndim - 1))
        # trial elastic left Cauchy-Green tensor and its principal values and axes
        b11 = a * a * p + 2.0 * a * b * s + b * b * q
        b22 = c * c * p + 2.0 * c * d * s + d * d * q
        b12 = a * c * p + (a * d + b * c) * s + b * d * q
        mean, half = 0.5 * (b11 + b22), 0.5 * (b11 - b22)
        radius = np.hypot(half, b12)
        angle = 0.5 * np.arctan2(b12, half)
        square = np.stack((mean + radius, mean - radius, hoop * hoop * w))
        strain = 0.5 * np.log(square)
        tau = np.einsum("ab,b...->a...", elastic, strain)
        deviator = tau - tau.mean(axis=0)
        size = np.sqrt(1.5 * np.sum(deviator**2, axis=0))

        start = state[4]
        gain = np.zeros_like(size)
        yields = size > first + saturation * (1.0 - np.exp(-rate * start))
        trial, old, d_ep = size[yields], start[yields], np.zeros(int(yields.sum()))
        for _ in range(25):
            rest = saturation * np.exp(-rate * (old + d_ep))
            change = (trial - 3.0 * shear * d_ep - (first + saturation - rest)) / (
                3.0 * shear + rate * rest
            )
            d_ep += change
            if not change.size or np.max(np.abs(change)) < 1e-14:
                break
        gain[yields] = d_ep
        direction = 1.5 * deviator / np.where(size > 0.0, size, 1.0)
        tau = tau - 2.0 * shear * gain * direction
        return square, strain, tau, angle, gain, direction, size

    def axes(angle: Floats) -> Floats:
        """(3, 2, ...) in-plane principal directions."""
        cos, sin = np.cos(angle), np.sin(angle)
        return np.stack((np.stack((cos, sin)), np.stack((-sin, cos))))

    def stress(x: list[Floats], **_: Any) -> list[Floats]:
        F, state = x[0], x[-1]
        _, strain, tau, angle, gain, direction, _ = update(F, state)
        n = axes(angle)
        inverse = fem.math.inv(F)
        P = np.zeros_like(F)
        P[:2, :2] = np.einsum(
            "a...,ai...,aj...,Jj...->iJ...", tau[:2], n, n, inverse[:2, :2], optimize=True
        )
        P[2, 2] = tau[2] * inverse[2, 2]
        new = np.empty_like(state)
        left = np.exp(2.0 * (strain - gain * direction))
        plastic = np.einsum("a...,ai...,aj...->ij...", left[:2], n, n, optimize=True)
        plastic = np.einsum(
            "Ii...,ij...,Jj...->IJ...", inverse[:2, :2], plastic, inverse[:2, :2], optimize=True
        )
        new[0], new[1], new[2] = plastic[0, 0] - 1.0, plastic[1, 1] - 1.0, plastic[0, 1]
        new[3] = left[2] * inverse[2, 2] ** 2 - 1.0
        new[4] = state[4] + gain
        return [P, new]

    def elasticity(x: list[Floats], **_: Any) -> list[Floats]:
        F, state = x[0], x[-1]
        square, _, tau, angle, gain, direction, size = update(F, state)
        plastic = gain > 0.0
        hardening = rate * saturation * np.exp(-rate * (state[4] + gain))
        share = np.where(plastic, 3.0 * shear * gain / np.where(size > 0.0, size, 1.0), 0.0)
        along = np.where(plastic, 3.0 * shear / (3.0 * shear + hardening), 0.0) - share
        moduli = (
            elastic.reshape(3, 3, *[1] * gain.ndim)
            - 2.0 * shear * share * (np.eye(3) - 1.0 / 3.0).reshape(3, 3, *[1] * gain.ndim)
            - 4.0 / 3.0 * shear * along * direction[:, None] * direction[None]
        )
        for k in range(3):
            moduli[k, k] -= 2.0 * tau[k]
        gap = square[0] - square[1]
        apart = np.abs(gap) > 1e-7 * square[0]
        twist = np.where(
            apart,
            (tau[0] * square[1] - tau[1] * square[0]) / np.where(apart, gap, 1.0),
            0.5 * (moduli[0, 0] + 2.0 * tau[0] - moduli[0, 1]) - tau[0],
        )
        n3 = np.zeros((3, 3, *gain.shape))
        n3[:2, :2], n3[2, 2] = axes(angle), 1.0
        m = np.einsum("ai...,aj...->aij...", n3, n3)
        mixed = np.einsum("i...,j...->ij...", n3[0], n3[1])
        mixed = mixed + np.swapaxes(mixed, 0, 1)
        c = np.einsum("ab...,aij...,bkl...->ijkl...", moduli, m, m, optimize=True)
        c += twist * np.einsum("ij...,kl...->ijkl...", mixed, mixed)
        kirchhoff = np.einsum("a...,aij...->ij...", tau, m)
        for k in range(3):
            c[k, :, k, :] += kirchhoff
        inverse = fem.math.inv(F)
        return [np.einsum("ijkl...,Jj...,Ll...->iJkL...", c, inverse, inverse, optimize=True)]

    return fem.Material(stress, elasticity, nstatevars=5)


def neo_hooke(metal: Material) -> fem.NeoHookeCompressible:
    """The library's own elastic law, alike in small strain."""
    modulus, poisson = metal.elastic_modulus, metal.poisson_ratio
    shear = 0.5 * modulus / (1.0 + poisson)
    return fem.NeoHookeCompressible(shear, 2.0 * shear * poisson / (1.0 - 2.0 * poisson))


def sheet(metal: Material) -> fem.Material:
    """The metal of a profile: Voce's law, or elastic (it then never yields)."""
    modulus, poisson, law = metal.elastic_modulus, metal.poisson_ratio, metal.hardening
    if not isinstance(law, Voce):
        return voce(modulus, poisson, 1e12, 0.0, 1.0)
    assert metal.yield_strength is not None
    return voce(modulus, poisson, metal.yield_strength, law.saturation, law.rate)
