"""Rigid tools for a shell of revolution: their data, and their chains as rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from domemargin.fea.contact.given import Law, Rigid
from domemargin.fea.contact.kernel import ARC, LINE, SEGMENT_COLUMNS
from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.meridian import Segment

TOUCHES = ("inside", "outside")


@dataclass(frozen=True)
class Penalty:
    """How stiff contact is.

    stiffness : pressure per depth, MPa/mm; metal in contact penetrates by about pressure/stiffness.
    soft : depth over which the stiffness rises to its full value, mm.
    stick : traction per slip of metal that sticks, MPa/mm.
    """

    stiffness: float = 2e4
    soft: float = 1e-3
    stick: float = 500.0


@dataclass(frozen=True)
class ContactRule:
    """Points along each element at which contact is checked.

    With two points an element, as for the shell's stress, the force on a tool jumps when a point
    gains or loses contact.

    shapes : (nq, 3) of the element's nodes.  area : (nel, nq) undeformed, mm^2 per radian.
    share : (nq, 2) weights of the shell's two points, to interpolate from them.
    """

    shapes: Floats
    area: Floats
    share: Floats

    def of(self, values: Floats) -> Floats:
        """(nel * nq,) values at these points from values at the shell's points (nel * 2,)."""
        return np.ascontiguousarray((values.reshape(-1, 2) @ self.share.T).ravel())


def contact_rule(reference: Floats, lengths: Floats, count: int) -> ContactRule:
    """Gauss points on elements with nodes reference (n_nodes, 3) and lengths (nel,), mm."""
    place, weight = np.polynomial.legendre.leggauss(count)
    x = 0.5 * (place + 1.0)
    shapes = np.stack(((1.0 - x) * (1.0 - 2.0 * x), 4.0 * x * (1.0 - x), x * (2.0 * x - 1.0)), 1)
    r = reference[2 * np.arange(lengths.size)[:, None] + np.arange(3), 0]
    area = lengths[:, None] * (0.5 * weight) * (r @ shapes.T)
    # constant beyond the shell's points, so that a face is not extrapolated
    first = 0.5 - 0.5 / math.sqrt(3.0)
    t = np.clip((x - first) / (1.0 - 2.0 * first), 0.0, 1.0)
    return ContactRule(np.ascontiguousarray(shapes), area, np.stack((1.0 - t, t), axis=1))


@dataclass(frozen=True)
class Tool:
    """A rigid tool of revolution.

    rows : (n, 8) its chain in contact_kernel's layout, at place 0.
    touches : the face of the sheet that meets it, inside or outside.
    friction : coefficient of friction with the sheet.
    """

    name: str
    rows: Floats
    touches: str
    friction: float

    def __post_init__(self) -> None:
        if self.touches not in TOUCHES:
            raise ValueError(f"touches is {self.touches!r}; it must be inside or outside")


def at_trial(tool: Tool, penalty: Penalty, place: float, before: float, follow: bool) -> Rigid:
    """A tool for the kernels at a place, mm, reached from `before`."""
    law = Law(penalty.stiffness, penalty.soft, penalty.stick, tool.friction, follow)
    return Rigid(tool.rows, place, place - before, law)


def chain_rows(segments: Sequence[Segment], free_side: int) -> Floats:
    """(n, 8) rows of a chain for the contact kernel.

    free_side : +1 where the metal lies to the left of the chain as it runs, -1 to the right.
    """
    rows = np.zeros((len(segments), SEGMENT_COLUMNS))
    for row, segment in zip(rows, segments):
        if segment.curvature == 0.0:
            c, s = math.cos(segment.phi), math.sin(segment.phi)
            row[:] = LINE, segment.r, segment.z, c, s, segment.length, -free_side * s, free_side * c
            continue
        radius = 1.0 / segment.curvature  # signed: positive turns left
        centre_r = segment.r - radius * math.sin(segment.phi)
        centre_z = segment.z + radius * math.cos(segment.phi)
        half_turn = 0.5 * segment.curvature * segment.length
        middle = segment.at(0.5 * segment.length)
        out_r, out_z = float(middle.r) - centre_r, float(middle.z) - centre_z
        row[:] = (
            ARC,
            centre_r,
            centre_z,
            abs(radius),
            out_r / abs(radius),
            out_z / abs(radius),
            math.cos(half_turn),
            -free_side * math.copysign(1.0, segment.curvature),
        )
    return rows
