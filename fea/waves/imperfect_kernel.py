"""Compiled first-order strains of a wave in every layer, and the forces of layer stresses.

The same measures as in wave_kernel.py, kept layer by layer because a wave that grows along a path
leaves its own stress in the metal.  Order of a layer's five entries: meridian, hoop, in-plane
shear, transverse shear along the meridian, and against the hoop.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.lanes import C11, C12, C13, C22, C23, C33, LANES
from domemargin.fea.metal.materials import NU, E
from domemargin.fea.shell.blocks import PLACE, SHEAR, locate_points, stress_block
from domemargin.fea.shell.given import Body, Fields, Start
from domemargin.fea.waves.moments import half_log_difference
from domemargin.profiles.arrays import Floats

ENTRIES = 5


@kernel
def wave_strains(
    n: float, x: Floats, wave: Floats, shell: Fields, y: Floats, strains: Floats
) -> None:
    """Amplitudes of a wave's strains about a state.

    x : (n_nodes, 3) of the state.  wave : (n_nodes, 5) U, W, B, V, T.  y : (n_layers,).
    strains : (n_layers, 5), out.
    """
    body = Body(*shell)
    shapes, slopes = body.shapes, body.slopes
    first_layer, per_length, radius = body.first_layer, body.per_length, body.radius
    n_points = shapes.shape[0]
    for point in range(radius.size):
        e, gp = point // n_points, point % n_points
        r = rp = zp = phi = k = 0.0
        U = Up = W = Wp = B = Bp = V = Vp = 0.0
        for i in range(3):
            node = 2 * e + i
            N, S = shapes[gp, i], slopes[e, gp, i]
            r, rp, zp = r + N * x[node, 0], rp + S * x[node, 0], zp + S * x[node, 1]
            phi, k = phi + N * x[node, 2], k + S * x[node, 2]
            U, Up = U + N * wave[node, 0], Up + S * wave[node, 0]
            W, Wp = W + N * wave[node, 1], Wp + S * wave[node, 1]
            B, Bp = B + N * wave[node, 2], Bp + S * wave[node, 2]
            V, Vp = V + N * wave[node, 3], Vp + S * wave[node, 3]
        s, c = math.sin(phi), math.cos(phi)
        psi, psip = n * c * B, n * (c * Bp - s * k * B)
        for i in range(3):
            node = 2 * e + i
            N, S, T = shapes[gp, i], slopes[e, gp, i], wave[node, 4]
            cos, sin = math.cos(x[node, 2] - phi), math.sin(x[node, 2] - phi)
            psi += N * cos * T
            psip += (S * cos + N * k * sin) * T
        a, g = rp * c + zp * s, -rp * s + zp * c
        al, b, by = c * Up + s * Wp + g * B, U + n * V, n * psi - c * B
        p, py, q = -(n * U + V) * c - n * W * s, n * B - c * psi, Vp - g * psi
        along = SHEAR * (-s * Up + c * Wp - a * B)
        across = SHEAR * ((n * U + V) * s - n * W * c + r * psi) / radius[point]
        for m in range(first_layer[point], first_layer[point + 1]):
            i1, i2 = 1.0 / (a - y[m] * k), 1.0 / (r - y[m] * s)
            stretch1, stretch2 = per_length[0, m] / i1, per_length[1, m] / i2
            chi = half_log_difference(stretch1, stretch2)
            strains[m, 0] = (al - y[m] * Bp) * i1
            strains[m, 1] = (b + y[m] * by) * i2
            strains[m, 2] = chi * stretch1 * stretch2
            strains[m, 2] *= (p + y[m] * py) * i2 + (q + y[m] * psip) * i1
            strains[m, 3], strains[m, 4] = along, across


@kernel
def wave_forces(
    n: float, x: Floats, stress: Floats, shell: Fields, y: Floats, forces: Floats
) -> None:
    """Nodal forces that do the work of layer stresses in wave_strains: its transpose.

    stress : (n_layers, 5), MPa.  forces : (n_nodes, 5), out.
    """
    body = Body(*shell)
    shapes, slopes, weights = body.shapes, body.slopes, body.weights
    first_layer, per_length, radius = body.first_layer, body.per_length, body.radius
    layer_weight = body.layer_weight
    n_points = shapes.shape[0]
    forces[:] = 0.0
    for point in range(radius.size):
        e, gp = point // n_points, point % n_points
        r = rp = zp = phi = k = 0.0
        for i in range(3):
            node = 2 * e + i
            N, S = shapes[gp, i], slopes[e, gp, i]
            r, rp, zp = r + N * x[node, 0], rp + S * x[node, 0], zp + S * x[node, 1]
            phi, k = phi + N * x[node, 2], k + S * x[node, 2]
        s, c = math.sin(phi), math.cos(phi)
        a, g = rp * c + zp * s, -rp * s + zp * c
        al = ay = b = by = p = py = q = qy = along = across = 0.0
        for m in range(first_layer[point], first_layer[point + 1]):
            i1, i2 = 1.0 / (a - y[m] * k), 1.0 / (r - y[m] * s)
            stretch1, stretch2 = per_length[0, m] / i1, per_length[1, m] / i2
            chi = half_log_difference(stretch1, stretch2)
            w = weights[e, gp] * layer_weight[m]
            f1, f2 = w * stress[m, 0] * i1, w * stress[m, 1] * i2
            twist = w * stress[m, 2] * chi * stretch1 * stretch2
            al, ay = al + f1, ay + y[m] * f1
            b, by = b + f2, by + y[m] * f2
            p, py = p + twist * i2, py + y[m] * twist * i2
            q, qy = q + twist * i1, qy + y[m] * twist * i1
            along += w * SHEAR * stress[m, 3]
            across += w * SHEAR * stress[m, 4] / radius[point]
        psi = n * by - c * py - g * q + r * across
        f_U, f_Up = b - n * c * p + n * s * across, c * al - s * along
        f_W, f_Wp = -n * s * p - n * c * across, s * al + c * along
        f_B = g * al - c * by + n * py - a * along + n * c * psi - n * s * k * qy
        f_Bp = -ay + n * c * qy
        f_V, f_Vp = n * b - c * p + s * across, q
        for i in range(3):
            node = 2 * e + i
            N, S = shapes[gp, i], slopes[e, gp, i]
            cos, sin = math.cos(x[node, 2] - phi), math.sin(x[node, 2] - phi)
            forces[node, 0] += N * f_U + S * f_Up
            forces[node, 1] += N * f_W + S * f_Wp
            forces[node, 2] += N * f_B + S * f_Bp
            forces[node, 3] += N * f_V + S * f_Vp
            forces[node, 4] += N * cos * psi + (S * cos + N * k * sin) * qy


@kernel
def layer_moduli(x: Floats, shell: Fields, state: Fields, moduli: Floats) -> None:
    """The step's tangent of every layer: 11, 12, 22, 13, 23, 33 and the elastic shear modulus.

    x, shell, state : as in moments.  moduli : (n_layers, 7), MPa, out.
    """
    body, start = Body(*shell), Start(*state)
    first_layer, material = body.first_layer, body.material
    n_points = body.shear_strain.size
    place, lanes = np.empty((n_points, PLACE)), np.empty(LANES)
    locate_points(x, body, place)
    rows = (C11, C12, C22, C13, C23, C33)
    last = 0
    while last < n_points:
        point = last
        last = stress_block(point, place, body, start, lanes)
        for m in range(first_layer[point], first_layer[last]):
            for j in range(6):
                moduli[m, j] = lanes[rows[j] + m - first_layer[point]]
            moduli[m, 6] = 0.5 * material[E] / (1.0 + material[NU])
