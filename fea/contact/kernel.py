"""Compiled contact of a shell of revolution with rigid tools, at points along its elements.

A tool is a chain of lines and arcs that may move along the axis.  The gap of a point of the
mid-surface is its exact distance from the tool less the distance of the touching face, so both
surfaces are offset by their share of the current gauge and arcs stay arcs.

Normal: pressure per undeformed area p(depth), once differentiable: quadratic over the first
`soft` mm and straight after (Wriggers, Computational Contact Mechanics, 2006, ch. 5).
Friction: traction along the tool's tangent, elastic while it sticks, its largest value mu times the
pressure.  Pressure and tangent are those of the trial, or those of the step's start.  The tangent
matrix is symmetric in either case: it leaves out how the limit of friction changes within a step,
so with the trial's pressure it is exact but for terms of the size of mu.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.contact.given import Law, Rigid, ShellFace, Touched
from domemargin.fea.shell.given import Fields
from domemargin.fea.shell.kernel import WIDTH, hold
from domemargin.profiles.arrays import Floats

# history of a point's contact with a tool: pressure and traction (MPa per undeformed area),
# the normal away from the tool there, and which segment touches (-1: none)
PRESSURE, TRACTION, NORMAL_R, NORMAL_Z, SEGMENT = range(5)
HISTORY = 5
# columns of a segment row: a straight line (start, direction, length, normal) or an arc (centre,
# radius, direction of its middle, cosine of half its angle, +1 convex or -1 hollow)
SEGMENT_COLUMNS = 8
LINE, ARC = 0.0, 1.0
DEEPEST = 1.0  # mm; a point farther inside a tool belongs to another side of it


@kernel
def distance(segments: Floats, r: float, z: float) -> tuple[float, float, float, float, int]:
    """Signed distance from a tool, its gradient, its curvature, and the segment that is nearest.

    segments : (n, 8) rows.  Returns (distance, n_r, n_z, curvature, row); the second derivative
    is curvature times (1 - n n).  Distance 1e9 and row -1 where no segment faces the point.
    """
    best, nr, nz, bend, row = 1e9, 0.0, 0.0, 0.0, -1
    for i in range(segments.shape[0]):
        dr, dz = r - segments[i, 1], z - segments[i, 2]
        if segments[i, 0] == LINE:
            along = dr * segments[i, 3] + dz * segments[i, 4]
            if along < -1e-9 or along > segments[i, 5] + 1e-9:
                continue
            here = dr * segments[i, 6] + dz * segments[i, 7]
            if here > -DEEPEST and abs(here) < abs(best):
                best, nr, nz, bend, row = here, segments[i, 6], segments[i, 7], 0.0, i
        else:
            away = math.sqrt(dr * dr + dz * dz)
            if away < 1e-12:
                continue
            ur, uz = dr / away, dz / away
            if ur * segments[i, 4] + uz * segments[i, 5] < segments[i, 6] - 1e-12:
                continue
            side = segments[i, 7]
            here = side * (away - segments[i, 3])
            if here > -DEEPEST and abs(here) < abs(best):
                best, nr, nz, bend, row = here, side * ur, side * uz, side / away, i
    return best, nr, nz, bend, row


@kernel
def point_contact(
    point: int,
    segments: Floats,
    law: Law,
    r: float,
    z: float,
    slip_r: float,
    slip_z: float,
    half: float,
    old: Floats,
    new: Floats,
) -> tuple[float, float, float, float, float, float, float]:
    """The force of a tool at place 0 on the metal at a point (r, z), per area.

    slip_r, slip_z : the point's displacement in this step relative to the tool.  half : distance of
    the touching face.  old, new : as in given.Touched; row `point` of new is written.
    Returns the force (r, z), MPa, its stiffness (rr, rz, zz), MPa per mm, the energy in the
    penalty and the work against friction, N per mm; all 0 without contact.
    """
    stiffness, soft, stick, friction, follow = law
    for k in range(HISTORY):
        new[point, k] = 0.0
    new[point, SEGMENT] = -1.0
    far, nr, nz, bend, row = distance(segments, r, z)
    depth = half - far
    if row < 0 or depth <= 0.0:
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if depth < soft:
        p, rise = 0.5 * stiffness * depth * depth / soft, stiffness * depth / soft
        spring = stiffness * depth * depth * depth / (6.0 * soft)
    else:
        p, rise = stiffness * (depth - 0.5 * soft), stiffness
        spring = stiffness * (0.5 * depth * (depth - soft) + soft * soft / 6.0)
    new[point, PRESSURE], new[point, SEGMENT] = p, row
    new[point, NORMAL_R], new[point, NORMAL_Z] = nr, nz
    # force on the metal p n; second derivative of its potential
    fr, fz = p * nr, p * nz
    krr = rise * nr * nr - p * bend * (1.0 - nr * nr)
    krz = rise * nr * nz + p * bend * nr * nz
    kzz = rise * nz * nz - p * bend * (1.0 - nz * nz)
    rubbed = 0.0
    if friction > 0.0 and (follow or old[point, PRESSURE] > 0.0):
        if follow:
            tr, tz, most = nz, -nr, friction * p
        else:
            tr, tz = old[point, NORMAL_Z], -old[point, NORMAL_R]
            most = friction * old[point, PRESSURE]
        slid = slip_r * tr + slip_z * tz
        pull = old[point, TRACTION] + stick * slid
        if abs(pull) < most:
            krr += stick * tr * tr
            krz += stick * tr * tz
            kzz += stick * tz * tz
        else:
            pull = most if pull > 0.0 else -most
        fr -= pull * tr
        fz -= pull * tz
        new[point, TRACTION] = pull
        rubbed = 0.5 * (pull + old[point, TRACTION]) * slid
    return fr, fz, krr, krz, kzz, spring, rubbed


@kernel
def _far_off(x: Floats, e: int, half: float, segments: Floats, place: float) -> bool:
    """Whether no point of element e can touch a tool; see add_contact."""
    i = 2 * e
    r, z = x[i + 1, 0], x[i + 1, 1]
    before = math.sqrt((x[i, 0] - r) ** 2 + (x[i, 1] - z) ** 2)
    after = math.sqrt((x[i + 2, 0] - r) ** 2 + (x[i + 2, 1] - z) ** 2)
    far, _, _, _, row = distance(segments, r, z - place)
    # a tenth for the arc over its chord, half the gauge for what it changes along the element
    return row >= 0 and far > 1.1 * max(before, after) + 1.5 * half


@kernel
def add_contact(metal: Fields, rigid: Fields, out: Fields) -> tuple[float, float, float, float]:
    """Add one tool's forces to the residual and band of shell/kernel.assemble.

    metal : of ShellFace.  rigid : of Rigid.  out : of Touched.
    Returns the axial force that the tool exerts (N per radian, up positive), its derivative by
    place, the work done against friction in the step and the energy in the penalty (N mm / rad).
    """
    x, before, shapes, area, half, fixed = ShellFace(*metal)
    segments, place, moved, law = Rigid(*rigid)
    old, new, residual, band, coupling = Touched(*out)
    n_elements, n_points = area.shape
    coupling[:] = 0.0
    force = slope = rubbed = spring = 0.0
    for e in range(n_elements):
        if _far_off(x, e, half[e * n_points], segments, place):
            continue
        for q in range(n_points):
            point = e * n_points + q
            r = z = r0 = z0 = 0.0
            for i in range(3):
                node = 2 * e + i
                r += shapes[q, i] * x[node, 0]
                z += shapes[q, i] * x[node, 1]
                r0 += shapes[q, i] * before[node, 0]
                z0 += shapes[q, i] * before[node, 1]
            fr, fz, krr, krz, kzz, energy, work = point_contact(
                point, segments, law, r, z - place, r - r0, z - z0 - moved, half[point], old, new
            )
            if new[point, SEGMENT] >= 0.0:
                w = area[e, q]
                spring += w * energy
                rubbed += w * work
                force += w * fz
                slope += w * kzz
                for i in range(3):
                    Ni = shapes[q, i]
                    row_i = 6 * e + 3 * i
                    residual[row_i] -= w * Ni * fr
                    residual[row_i + 1] -= w * Ni * fz
                    coupling[row_i] -= w * Ni * krz
                    coupling[row_i + 1] -= w * Ni * kzz
                    for j in range(i + 1):
                        NN = w * Ni * shapes[q, j]
                        column = 3 * (j - i) + WIDTH
                        band[row_i, column] += NN * krr
                        band[row_i + 1, column - 1] += NN * krz
                        band[row_i + 1, column] += NN * kzz
                        if j < i:
                            band[row_i, column + 1] += NN * krz
    hold(fixed, residual, coupling, band)
    return force, slope, rubbed, spring


@kernel
def least_gap(x: Floats, shapes: Floats, half: Floats, segments: Floats, place: float) -> float:
    """Smallest gap between the metal and a tool at a place, mm; negative where they overlap.

    x, shapes, half : as in given.ShellFace.  segments, place : as in given.Rigid.
    """
    least = 1e9
    for point in range(half.size):
        e, q = point // shapes.shape[0], point % shapes.shape[0]
        r = z = 0.0
        for i in range(3):
            r += shapes[q, i] * x[2 * e + i, 0]
            z += shapes[q, i] * x[2 * e + i, 1]
        least = min(least, distance(segments, r, z - place)[0] - half[point])
    return least


@kernel
def axial_pressure(history: Floats, area: Floats, row: int) -> float:
    """Axial force of the contact pressure on one segment of a tool, N per radian, up positive."""
    force = 0.0
    for point in range(history.shape[0]):
        if history[point, SEGMENT] == row:
            w = area[point // area.shape[1], point % area.shape[1]]
            force += w * history[point, PRESSURE] * history[point, NORMAL_Z]
    return force


@kernel
def distances(segments: Floats, r: Floats, z: Floats) -> Floats:
    """(n,) signed distances of points (r, z) from a chain."""
    out = np.empty(r.size)
    for i in range(r.size):
        out[i] = distance(segments, r[i], z[i])[0]
    return out
