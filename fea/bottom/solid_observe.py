"""What is read off the states of an axisymmetric solid; the same figures as observe.py."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from domemargin.fea.bottom.readings import (
    AT_YIELD,
    FULLY_PLASTIC,
    carried_to_faces,
    carried_to_yield,
    lowest,
    part_at,
    zones,
)
from domemargin.fea.core.ramp import Plan
from domemargin.fea.core.record import FirstYield, MeshFigures, Onset, Outline, Place
from domemargin.fea.metal.materials import ELASTIC, LAW
from domemargin.fea.solid.solid import Solid, SolidState
from domemargin.fea.solid.waves import SolidWaveTangent, solid_wave_tangent
from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.meridian import Meridian

POINTS_THROUGH = 3  # of an element


@dataclass(frozen=True)
class SolidView:
    """A solid of a bottom (Solid.lines, Solid.arc) with the meridian it was swept from.

    layers : points through the gauge.
    """

    system: Solid
    meridian: Meridian
    layers: int

    @property
    def elastic(self) -> bool:
        """Whether no metal can yield."""
        return bool(self.system.material[LAW] == ELASTIC)

    def start(self) -> SolidState:
        """The unloaded state."""
        return self.system.start()

    def faces(self, state: SolidState) -> tuple[Floats, Floats]:
        """(n, 2) r and z of the nodes of the inside and the outside, from the axis, mm."""
        x = self.system.reference + state.x
        return x[self.system.lines["inside"]], x[self.system.lines["outside"]]

    def outline(self, state: SolidState) -> Outline:
        """The middle of the section, and the angle at which the gauge stands to the axis."""
        inside, outside = self.faces(state)
        r, z = 0.5 * (inside + outside).T
        dr, dz = (inside - outside).T
        return Outline(state.pressure, r, z, np.unwrap(np.arctan2(-dr, dz)))

    def heights(self, states: Sequence[SolidState]) -> Floats:
        """Of the dome centre and of the stand ring (the lowest circle), on the outside, mm."""
        outside = np.stack([self.faces(state)[1] for state in states])
        steps = np.linalg.norm(np.diff(outside, axis=1), axis=2)
        along = np.pad(np.cumsum(steps, axis=1), ((0, 0), (1, 0)))
        return np.stack((outside[:, 0, 1], lowest(along, outside[:, :, 1])), axis=1)

    def first_yield(self, states: Sequence[SolidState], plan: Plan) -> FirstYield | None:
        """The pressure at which a face first reaches its yield stress (None: none does)."""
        solid = self.system
        place = np.round(solid.arc.ravel(), 9)
        # points by place along the meridian, from the outside to the inside
        order = np.lexsort((self._above().ravel(), place)).reshape(-1, self.layers)
        outermost = order[:, [0, 1, -2, -1]]
        rule = np.polynomial.legendre.leggauss(POINTS_THROUGH)[0]
        elements = self.layers // POINTS_THROUGH
        across = (np.arange(elements)[:, None] + 0.5 * (rule + 1.0)).ravel() / elements
        xi = np.broadcast_to(2.0 * across[[0, 1, -2, -1]] - 1.0, outermost.shape)

        def faces(state: SolidState) -> Floats:
            return carried_to_faces(solid.yield_ratio(state).ravel()[outermost], xi)

        found = carried_to_yield(solid, plan, states, lambda state: state.points[..., 4], faces)
        if found is None:
            return None
        column, side = divmod(found[1], 2)
        return FirstYield(found[0], self._place(int(order[column, -1 if side else 0])))

    def _above(self) -> Floats:
        """(n_elements, n_points) distance of the points from the meridian, positive inside, mm."""
        solid = self.system
        x = np.einsum("qi,eik->eqk", solid.shapes, solid.reference[solid.nodes])
        at = self.meridian.at(solid.arc)
        return np.asarray((x[..., 1] - at.z) * np.cos(at.phi) - (x[..., 0] - at.r) * np.sin(at.phi))

    def onset(self, state: SolidState) -> Onset:
        """Plastic strain, thinning and fully plastic stretches of a state."""
        solid = self.system
        # the points across the gauge at one place along the meridian
        s, column = np.unique(np.round(solid.arc.ravel(), 9), return_inverse=True)
        weight = solid.weights.ravel()
        plastic = weight * (solid.yield_ratio(state).ravel() >= AT_YIELD)
        share = np.bincount(column, plastic) / np.bincount(column, weight)
        gauge, start = (
            np.linalg.norm(np.subtract(*self.faces(one)), axis=1) for one in (state, solid.start())
        )
        strain = state.points[..., 4]
        peak = int(np.argmax(strain))
        return Onset(
            state.pressure,
            float(strain.flat[peak]),
            self._place(peak),
            float(max(0.0, 1.0 - np.min(gauge / start))),
            zones(self.meridian, s, share >= FULLY_PLASTIC),
        )

    def mesh(self, step: float) -> MeshFigures:
        """What is solved."""
        solid = self.system
        return MeshFigures("solid", len(solid.nodes), solid.n, self.layers, step)

    def wave_tangent(self, before: SolidState, state: SolidState, theory: str) -> SolidWaveTangent:
        """The tangent for any number of waves at a state one step from `before`."""
        return solid_wave_tangent(self.system, before, state, theory)

    def wave_shape(self, mode: Floats) -> tuple[Floats, Floats, Floats]:
        """Radial, axial and hoop displacement of a mode of that tangent at the outline's nodes."""
        lines = self.system.lines
        radial, axial, hoop = 0.5 * (mode[lines["inside"]] + mode[lines["outside"]]).T
        return radial, axial, hoop

    def _place(self, index: int) -> Place:
        solid = self.system
        element, point = np.unravel_index(index, solid.arc.shape)
        s = float(solid.arc[element, point])
        at = self.meridian.at(s)
        face = "inside" if self._above()[element, point] > 0.0 else "outside"
        return Place(part_at(self.meridian, s), s, float(at.r), float(at.z), face)
