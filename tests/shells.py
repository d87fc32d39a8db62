"""Shells of textbook shape for the tests: cap, plate, cylinder, sphere."""

from __future__ import annotations

import numpy as np

from domemargin.fea.core.banded import factor, solve
from domemargin.fea.shell.shell import Shell, build_shell
from domemargin.profiles.arrays import Floats
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

CLAMPED = "r z phi"


def revolve(
    chain: Meridian | Segment,
    material: Material,
    gauge: float,
    elements: int | Floats,
    end: str = CLAMPED,
    start: str = "r phi",
    layers: int = 4,
    face: str = "mid",
) -> Shell:
    """A shell of constant gauge; elements : how many, of equal length, or their ends (mm).

    Pressure acts on the mid-surface, as in the thin-shell theories the tests compare with.
    """
    meridian = chain if isinstance(chain, Meridian) else Meridian((chain,))
    ends = np.linspace(0.0, meridian.length, elements + 1) if np.isscalar(elements) else elements
    return build_shell(
        meridian, ends, material, lambda s: np.full(np.shape(s), gauge), layers, start, end, face
    )


def arc(radius: float, base: float) -> Segment:
    """A spherical cap, apex up at z = 0: pressure from above presses it down."""
    return Segment("dome", 0.0, 0.0, 0.0, radius * np.arcsin(base / radius), -1.0 / radius)


def disc(radius: float) -> Segment:
    """A flat plate."""
    return Segment("dome", 0.0, 0.0, 0.0, radius, 0.0)


def tube(radius: float, length: float) -> Segment:
    """A cylinder from z = 0 up; its inside is towards the axis."""
    return Segment("sidewall", radius, 0.0, 0.5 * np.pi, length, 0.0)


def bowl(radius: float, angle: float = 0.5 * np.pi) -> Segment:
    """The lower part of a sphere, from its pole on the axis up to an angle from the axis."""
    return Segment("dome", 0.0, -radius, 0.0, radius * angle, 1.0 / radius)


def linear(shell: Shell, load: Floats | None = None) -> tuple[Floats, Floats]:
    """Displacements (n_nodes, 3) of the unstressed shell under a load, and the load.

    load : (n,) forces per radian; default those of a pressure of 1 MPa.
    """
    found = shell.evaluate(shell.reference.ravel(), 0.0, shell.start())
    load = found.gradient if load is None else load
    band = found.band
    assert factor(band) == 0
    return solve(band, load).reshape(-1, 3), load


def compliance(shell: Shell) -> float:
    """Swept volume per pressure of the unstressed shell, mm^3 per radian and MPa."""
    u, load = linear(shell)
    return float(load @ u.ravel())
