"""A material point of the solid with a kinematic share.

A back stress has axes of its own, so the return map in principal axes does not hold. Strain here
is the logarithm of the stretch U of F = R U, less a plastic one that adds up; stress and back
stress live in the same unturned axes and are turned by R (Miehe, Apel & Lambrecht, Comput.
Methods Appl. Mech. Eng. 191, 2002, 5383-5425, for the strain; Green & Naghdi 1965 for the axes;
values from memory). Where strain and stress have the same axes throughout, as almost everywhere
in a bottom, this is the multiplicative split of the plain point. The tangent is by central
differences: the solid is there to judge the shell, and its time does not matter.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.materials import KINEMATIC, NU, YIELD, E, isotropic_stress, yield_curve
from domemargin.profiles.arrays import Floats

# plastic strain and back stress (rr, zz, rz, hoop, unturned), equivalent plastic strain between
KINEMATIC_STATE = 9
_P, _EP, _B = 0, 4, 5
_H = 1e-7  # step of the differences


@kernel
def _increment(material: Floats, factor: float, q: float, ep: float, shear: float) -> float:
    """Increment of equivalent plastic strain: q - 3 G d = isotropic stress + growth of the back
    stress; the residual falls with d, so a bracket holds."""
    m, first = material[KINEMATIC], material[YIELD]
    start, _ = yield_curve(material, ep)
    less = m * (start - first)
    d, low, high = 0.0, 0.0, q / (3.0 * shear)
    for _ in range(60):
        now, slope = yield_curve(material, ep + d)
        residual = q - 3.0 * shear * d - factor * (now - less)
        if abs(residual) <= 1e-13 * q:
            break
        if residual > 0.0:
            low = d
        else:
            high = d
        trial = d + residual / (3.0 * shear + factor * slope)
        if not (low <= trial <= high):
            trial = 0.5 * (low + high)
        if trial == d:
            break
        d = trial
    return d


@kernel
def _stress(
    material: Floats, factor: float, f: Floats, old: Floats, new: Floats, tau: Floats
) -> None:
    """Kirchhoff stress rr, zz, rz, hoop and state after a step to a gradient f (5,)."""
    shear = 0.5 * material[E] / (1.0 + material[NU])
    bulk = material[E] / (3.0 * (1.0 - 2.0 * material[NU]))
    frr, frz, fzr, fzz, fh = f[0], f[1], f[2], f[3], f[4]
    turn = math.atan2(fzr - frz, frr + fzz)
    c, s = math.cos(turn), math.sin(turn)
    # U = R^T F
    urr, uzz = c * frr + s * fzr, -s * frz + c * fzz
    urz = 0.5 * (c * frz + s * fzz - s * frr + c * fzr)
    half = 0.5 * (urr - uzz)
    spread = math.sqrt(half * half + urz * urz)
    l1 = 0.5 * (urr + uzz) + spread
    l2 = (frr * fzz - frz * fzr) / l1
    # a turned-over element must show as NaN
    h1 = math.log(l1) if l2 > 0.0 and fh > 0.0 else math.nan
    h2, e3 = math.log(l2), math.log(fh)
    angle = 0.5 * math.atan2(urz, half)
    ca, sa = math.cos(angle), math.sin(angle)
    err = ca * ca * h1 + sa * sa * h2 - old[_P]
    ezz = sa * sa * h1 + ca * ca * h2 - old[_P + 1]
    erz, e3 = ca * sa * (h1 - h2) - old[_P + 2], e3 - old[_P + 3]
    mean = (err + ezz + e3) / 3.0
    two = 2.0 * shear
    srr, szz, srz, s3 = two * (err - mean), two * (ezz - mean), two * erz, two * (e3 - mean)
    for i in range(KINEMATIC_STATE):
        new[i] = old[i]
    n1, n2, n4, n3 = srr - old[_B], szz - old[_B + 1], srz - old[_B + 2], s3 - old[_B + 3]
    q = math.sqrt(1.5 * (n1 * n1 + n2 * n2 + n3 * n3 + 2.0 * n4 * n4))
    if q > factor * isotropic_stress(material, old[_EP]):
        ep = old[_EP]
        d = _increment(material, factor, q, ep, shear)
        start, _ = yield_curve(material, ep)
        now, _ = yield_curve(material, ep + d)
        grown = factor * material[KINEMATIC] * (now - start) / q
        flow, less = 1.5 * d / q, 3.0 * shear * d / q
        new[_P], new[_P + 1] = old[_P] + flow * n1, old[_P + 1] + flow * n2
        new[_P + 2], new[_P + 3] = old[_P + 2] + flow * n4, old[_P + 3] + flow * n3
        new[_EP] = ep + d
        new[_B], new[_B + 1] = old[_B] + grown * n1, old[_B + 1] + grown * n2
        new[_B + 2], new[_B + 3] = old[_B + 2] + grown * n4, old[_B + 3] + grown * n3
        srr, szz, srz, s3 = srr - less * n1, szz - less * n2, srz - less * n4, s3 - less * n3
    p = 3.0 * bulk * mean
    cc, ss, cs = c * c, s * s, c * s
    tau[0] = p + cc * srr + ss * szz - 2.0 * cs * srz
    tau[1] = p + ss * srr + cc * szz + 2.0 * cs * srz
    tau[2] = cs * (srr - szz) + (cc - ss) * srz
    tau[3] = p + s3


@kernel
def kinematic_point(
    material: Floats, factor: float, f: Floats, old: Floats, new: Floats, tau: Floats, a: Floats
) -> None:
    """As kernel.point, with states of KINEMATIC_STATE entries."""
    moved, high, low = np.empty(5), np.empty(4), np.empty(4)
    for j in range(5):
        # a spatial gradient of one entry: rr, rz, zr, zz, hoop
        for way in range(2):
            h = _H if way == 0 else -_H
            moved[:] = f
            if j == 0:
                moved[0], moved[1] = f[0] + h * f[0], f[1] + h * f[1]
            elif j == 1:
                moved[0], moved[1] = f[0] + h * f[2], f[1] + h * f[3]
            elif j == 2:
                moved[2], moved[3] = f[2] + h * f[0], f[3] + h * f[1]
            elif j == 3:
                moved[2], moved[3] = f[2] + h * f[2], f[3] + h * f[3]
            else:
                moved[4] = f[4] + h * f[4]
            _stress(material, factor, moved, old, new, high if way == 0 else low)
        rr, zz = 0.5 * (high[0] - low[0]) / _H, 0.5 * (high[1] - low[1]) / _H
        rz, hh = 0.5 * (high[2] - low[2]) / _H, 0.5 * (high[3] - low[3]) / _H
        a[0, j], a[1, j], a[2, j], a[3, j], a[4, j] = rr, rz, rz, zz, hh
    _stress(material, factor, f, old, new, tau)
    # less stress times the transpose of the gradient
    a[0, 0] -= tau[0]
    a[2, 0] -= tau[2]
    a[0, 1] -= tau[2]
    a[2, 1] -= tau[1]
    a[1, 2] -= tau[0]
    a[3, 2] -= tau[2]
    a[1, 3] -= tau[2]
    a[3, 3] -= tau[1]
    a[4, 4] -= tau[3]
    for i in range(5):
        for j in range(i):
            a[i, j] = a[j, i] = 0.5 * (a[i, j] + a[j, i])


@kernel
def kinematic_ratio(material: Floats, factor: float, f: Floats, state: Floats) -> float:
    """Equivalent stress less back stress over the isotropic stress of an accepted state."""
    new, tau = np.empty(KINEMATIC_STATE), np.empty(4)
    _stress(material, factor, f, state, new, tau)
    turn = math.atan2(f[2] - f[1], f[0] + f[3])
    c, s = math.cos(turn), math.sin(turn)
    mean = (tau[0] + tau[1] + tau[3]) / 3.0
    trr, tzz = tau[0] - mean, tau[1] - mean
    n1 = c * c * trr + s * s * tzz + 2.0 * c * s * tau[2] - new[_B]
    n2 = s * s * trr + c * c * tzz - 2.0 * c * s * tau[2] - new[_B + 1]
    n4 = (c * c - s * s) * tau[2] - c * s * (trr - tzz) - new[_B + 2]
    n3 = tau[3] - mean - new[_B + 3]
    size = factor * isotropic_stress(material, new[_EP])
    ratio: float = math.sqrt(1.5 * (n1 * n1 + n2 * n2 + n3 * n3 + 2.0 * n4 * n4)) / size
    return ratio
