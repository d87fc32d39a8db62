"""Closed form for a long elastic tube that is held, pressed or bent at one end.

The linear equations of a cylinder with shear and with the thickness taken exactly, derived apart
from the code for the tests.  Radius R and gauge t of the mid-surface, x from the end, u outward,
psi the turn of the section; after the axial strain is eliminated by 'no axial force' the energy
per radian and length is

    A psi'^2 / 2 - C u psi' + K u^2 / 2 + S (u' + psi)^2 / 2 - p R u
    E' = E / (1 - nu^2),  A = E' R t^3/12 (1 - t^2/12R^2),  C = E' nu t^3 / 12R,
    K = E' (ln[(R + t/2) / (R - t/2)] - nu^2 t/R),  S = 5/6 G t R

Solutions exp(-k x) have A S k^4 + ((S + C)^2 - S^2 - K A) k^2 + K S = 0.  For a thin tube, stiff
in shear, they are those of a beam on an elastic foundation with beta^4 = 3 (1 - nu^2) / (R t)^2
(S. Timoshenko & S. Woinowsky-Krieger, Theory of Plates and Shells, ch. 15: value from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shells import revolve, tube

from domemargin.fea.shell.shell import Shell
from domemargin.profiles.arrays import Floats
from domemargin.profiles.material import Material


@dataclass(frozen=True)
class Tube:
    """Radius and gauge, mm; modulus E, MPa; Poisson ratio nu."""

    radius: float
    gauge: float
    E: float = 70_000.0
    nu: float = 0.3

    @property
    def beta(self) -> float:
        """1/mm."""
        return float((3.0 * (1.0 - self.nu**2)) ** 0.25 / np.sqrt(self.radius * self.gauge))

    def shell(self, per_decay: float, start: str, decays: float = 20.0) -> Shell:
        """The tube as a shell, long enough for the end's effect to die out.

        per_decay : elements per sqrt(R t).  start : what is held at z = 0.
        """
        unit = np.sqrt(self.radius * self.gauge)
        elements = round(per_decay * decays)
        segment = tube(self.radius, decays * unit)
        return revolve(segment, Material(self.E, self.nu), self.gauge, elements, "", start)

    def pressure_load(self, shell: Shell) -> Floats:
        """Forces of unit pressure without the thrust that a closed end would add."""
        load = shell.evaluate(shell.reference.ravel(), 0.0, shell.start()).gradient
        load[-2] = 0.0
        return load

    def _stiffness(self) -> tuple[float, float, float, float]:
        R, t, nu = self.radius, self.gauge, self.nu
        plane = self.E / (1.0 - nu**2)
        A = plane * R * t**3 / 12.0 * (1.0 - t**2 / (12.0 * R**2))
        C = plane * nu * t**3 / (12.0 * R)
        K = plane * (np.log((R + 0.5 * t) / (R - 0.5 * t)) - nu**2 * t / R)
        S = 5.0 / 6.0 * self.E / (2.0 * (1.0 + nu)) * t * R
        return A, C, K, S

    def solve(self, x: Floats, p: float, Q: float = 0.0, M: float = 0.0, held: bool = False):
        """u, psi at x (mm), and moment and shear force at x = 0, per length of circumference.

        Under pressure p with the end held, or free with the end loads Q, M (N/mm, N).
        """
        A, C, K, S = self._stiffness()
        far = p * self.radius / K
        k2 = np.roots([A * S, (S + C) ** 2 - S**2 - K * A, K * S]).astype(complex)
        k = np.sqrt(k2)
        k = np.where(k.real > 0.0, k, -k)
        share = k * (S + C) / (S - A * k2)  # psi over u
        # moment and shear of each solution, times the radius
        moment, shear = -A * k * share - C, S * (share - k)
        if held:
            rows, right = np.stack((np.ones(2), share)), [-far, 0.0]
        else:
            rows, right = np.stack((-shear, -moment)), [Q * self.radius, M * self.radius - C * far]
        amount = np.linalg.solve(rows, np.array(right, dtype=complex))
        wave = amount * np.exp(-np.outer(x, k))
        at_end = (moment @ amount - C * far).real, (shear @ amount).real
        return far + wave.sum(1).real, (wave @ share).real, *(v / self.radius for v in at_end)
