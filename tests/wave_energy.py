"""Energy of a shell bent in three dimensions, by numpy from exact kinematics: for the tests of
fea/waves/kernel.py, and written apart from it.

Vectors are in the frame (radial, hoop, axial) of their angle theta.  Derivatives along the
meridian and round the hoop are by a complex step, exact to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.profiles.arrays import Floats

TINY = 1e-30  # complex step
SHEAR_SHARE = 5.0 / 6.0


def cross(a: NDArray, b: NDArray) -> NDArray:
    return np.stack(
        (
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        )
    )


def dot(a: NDArray, b: NDArray) -> NDArray:
    return (a * b).sum(0)


def turned(d: NDArray, w: NDArray) -> NDArray:
    """d turned by the rotation vector w (|w| < 1; Rodrigues, its two functions as series)."""
    square = dot(w, w)
    first = second = 0.0
    term_1, term_2 = np.ones_like(square), 0.5 * np.ones_like(square)
    for i in range(1, 9):
        first, second = first + term_1, second + term_2
        term_1 = -term_1 * square / (2 * i * (2 * i + 1))
        term_2 = -term_2 * square / ((2 * i + 1) * (2 * i + 2))
    return d + first * cross(w, d) + second * cross(w, cross(w, d))


@dataclass(frozen=True)
class Bent:
    """A shell state with a perturbation q (n_nodes, 5) of U, W, B, V, T in n waves added.

    before : the state it was reached from, whose layer distances and loaded face count.
    """

    shell: Shell
    before: ShellState
    state: ShellState
    q: Floats
    n: int

    def surface(self, shapes: NDArray, theta: NDArray) -> tuple[NDArray, NDArray]:
        """Position (3, e, q, theta) of the mid-surface, and the director there.

        shapes : (e, q, 3) of the points, complex for a derivative along the line.
        """
        nodes = 2 * np.arange(shapes.shape[0])[:, None] + np.arange(3)

        def along(values: Floats) -> NDArray:
            return np.einsum("eqi,ei->eq", shapes, values[nodes])[..., None]

        r, z, phi = (along(column) for column in self.state.x.T)
        U, W, B, V, _ = (along(column) for column in self.q.T)
        c, s = np.cos(self.n * theta), np.sin(self.n * theta)
        tilt, at_node = self.q[:, 4], self.state.x[:, 2]
        none = np.zeros_like(r * c)
        position = np.stack((r + U * c, V * s + none, z + W * c))
        vector = np.stack(
            (
                -self.n * B * s - along(tilt * np.cos(at_node)) * s,
                -B * c,
                -along(tilt * np.sin(at_node)) * s,
            )
        )
        normal = np.stack((-np.sin(phi) + none, none, np.cos(phi) + none))
        return position, turned(normal, vector)

    def frame(self, shapes: Floats, slopes: Floats, theta: Floats) -> tuple[NDArray, ...]:
        """Position and director, their derivatives along S, and those round theta."""
        shapes = np.broadcast_to(shapes, slopes.shape)
        at = [v.real for v in self.surface(shapes.astype(complex), theta)]
        line = [v.imag / TINY for v in self.surface(shapes + 1j * TINY * slopes, theta)]
        hoop = []
        for v, value in zip(self.surface(shapes.astype(complex), theta + 1j * TINY), at):
            change = v.imag / TINY
            # the frame turns with theta
            hoop.append(np.stack((change[0] - value[1], change[1] + value[0], change[2])))
        return *at, *line, *hoop

    def energy(self, samples: int = 16) -> float:
        """Elastic energy less pressure times volume, of the whole turn (N mm)."""
        shell = self.shell
        # all depends on n theta only
        theta = 2.0 * np.pi * np.arange(samples) / (samples * self.n)
        _, d, XS, dS, XT, dT = self.frame(shell.shapes, shell.slopes, theta)
        shape = XS.shape[1:3]
        counts = np.unique(np.diff(shell.first_layer))
        assert counts.size == 1
        layered = (*shape, 1, int(counts[0]))  # point, theta, layer
        y = self.before.y.reshape(layered)

        def layers(value: NDArray) -> NDArray:
            return value[..., None]

        lS, lT = layers(XS) + y * layers(dS), layers(XT) + y * layers(dT)
        director = layers(d)
        per1, per2 = (shell.per_length[i].reshape(layered) for i in (0, 1))
        gS, gT = dot(director, lS), dot(director, lT)
        # metric in the plane normal to the director
        c11, c22 = (dot(lS, lS) - gS**2) * per1**2, (dot(lT, lT) - gT**2) * per2**2
        c12 = (dot(lS, lT) - gS * gT) * per1 * per2
        stretch = np.linalg.eigvalsh(
            np.stack((np.stack((c11, c12), -1), np.stack((c12, c22), -1)), -1)
        )
        e1, e2 = np.moveaxis(0.5 * np.log(stretch), -1, 0)
        E, nu = shell.material[0], shell.material[1]
        stored = 0.5 * E / (1.0 - nu**2) * (e1**2 + e2**2 + 2.0 * nu * e1 * e2)
        G = 0.5 * E / (1.0 + nu)
        radius, undeformed = shell.radius.reshape(shape), shell.shear_strain.reshape(shape)
        shear1 = dot(d, XS) - undeformed[..., None]
        shear2 = dot(d, XT) / radius[..., None]
        stored = stored + layers(0.5 * G * SHEAR_SHARE * (shear1**2 + shear2**2))
        area = shell.layer_weight.reshape(layered)
        weight = shell.weights[..., None]
        total = float((weight * (area * stored).sum(-1)).sum())

        # volume under the mid-surface, less the slab between it and the loaded face
        slab = 0.0
        h = self.before.face.reshape(shape)[..., None]
        for point in 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0):
            at = point * h
            slab = slab + 0.5 * h * dot(cross(XS + at * dS, XT + at * dT), d)
        volume = -float((weight * slab).sum())
        X, _, XS, _, XT, _ = self.frame(shell.full_shapes, shell.full_slopes, theta)
        normal = cross(XT, XS)
        volume += float((shell.full_weights[..., None] * 0.5 * (X[:2] * normal[:2]).sum(0)).sum())
        return (total - self.state.pressure * volume) * 2.0 * np.pi / samples
