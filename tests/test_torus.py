"""Torus under internal pressure: membrane stresses.

Source: the membrane theory of shells of revolution (W. Fluegge, Stresses in Shells, ch. 2; formula
from memory): at distance r0 from the axis, tube radius r about a circle of radius R0,
    meridian force = p r (r0 + R0) / (2 r0),  hoop force = p r / 2.
R0 = 100, r = 20: meridian 22.5, 20.0, 18.333 p at r0 = 80, 100, 120; hoop 10 p; computed
independently.  Near r0 = 100 the membrane state does not fit together and bends, so the checks
there and of the hoop stay away from it.
"""

from __future__ import annotations

import numpy as np
from evidence_rows import BENDING, MEMORY, About
from shells import linear, revolve

from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Segment

ABOUT = About(BENDING, "membrane theory of a torus (W. Fluegge, Stresses in Shells)", MEMORY)


def test_membrane_forces(evidence) -> None:
    gauge, modulus, nu = 0.02, 70_000.0, 0.3
    # upper half from the outer equator over the crown to the inner one; pressure inside the tube
    half = Segment("dome", 120.0, 0.0, 0.5 * np.pi, 20.0 * np.pi, 1.0 / 20.0)
    shell = revolve(half, Material(modulus, nu), gauge, 400, end="z phi", start="z phi")
    u, _ = linear(shell)
    nodes = 2 * np.arange(len(u) // 2)[:, None] + np.arange(3)
    turn = shell.reference[:, 2]
    along, hoop = [], []
    for q in range(2):
        slope, shape = shell.slopes[:, q], shell.shapes[q]
        phi = np.sum(shape * turn[nodes], axis=1)
        du = np.sum(slope * u[nodes, 0], axis=1), np.sum(slope * u[nodes, 1], axis=1)
        along.append(du[0] * np.cos(phi) + du[1] * np.sin(phi))
        hoop.append(np.sum(shape * u[nodes, 0], axis=1) / shell.radius.reshape(-1, 2)[:, q])
    strain, hoop_strain = (np.stack(pair, axis=1).ravel() for pair in (along, hoop))
    stiff = modulus * gauge / (1.0 - nu**2)
    meridian_force = stiff * (strain + nu * hoop_strain)
    hoop_force = stiff * (hoop_strain + nu * strain)
    for r0, expected in ((80.0, 22.5), (120.0, 55.0 / 3.0)):
        at = int(np.argmin(np.abs(shell.radius - r0)))
        evidence(
            f"torus, meridian force at r0 {r0:g}",
            expected=expected, computed=float(meridian_force[at]), rel=0.01, unit="N/mm",
        )  # fmt: skip
        evidence(
            f"torus, hoop force at r0 {r0:g}",
            expected=10.0, computed=float(hoop_force[at]), rel=0.02, unit="N/mm",
        )  # fmt: skip
