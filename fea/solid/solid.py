"""Axisymmetric solid of quadratic quads under pressure: tables of one mesh, and its states.

Mesh, boundary sets, numbering, shape functions and quadrature come from scikit-fem; the loop
over points is in solid_kernel.py.  Geometry and displacement share the shape functions, so that
rigid motion and uniform stretch are exact on curved elements.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np

from domemargin.fea.core.path import Aim, Converged, Newton, iterate
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.materials import KINEMATIC, encode
from domemargin.fea.solid.given import Body, Edge, Found
from domemargin.fea.solid.kernel import STATE, add_metal, add_pressure, yield_ratio
from domemargin.fea.solid.kinematic import KINEMATIC_STATE
from domemargin.fea.solid.mesh import loaded_edges, numbering, to_skfem
from domemargin.profiles.arrays import Bools, Floats, Ints
from domemargin.profiles.errors import InputError
from domemargin.profiles.files.section import SweptSection, section_mesh
from domemargin.profiles.material import Material


@dataclass(frozen=True)
class SolidState:
    """An equilibrium state; arrays are never written again.

    x : (n_nodes, 2) unknowns: displacements in r and z, mm.  pressure : MPa.
    volume : mm^3 per radian under the loaded edge (integral of r^2/2 dz).
    points : (n_elements, n_points, 5) inverse plastic Cauchy-Green tensor (rr, zz, rz, hoop) and
        equivalent plastic strain; with a kinematic share as in kinematic.py.
    """

    x: Floats
    pressure: float
    volume: float
    points: Floats


class SolidEvaluation(NamedTuple):
    """Residual and tangent at a trial (u, pressure).

    residual : (n,) internal forces less pressure forces, N per radian; 0 at fixed unknowns.
    volume : conjugate of the pressure, mm^3 per radian.
    gradient : (n,) of the volume; 0 at fixed unknowns.
    band : (n, w + 1) lower band of the tangent (banded.py); 1 on the diagonal of fixed unknowns.
    trial : (n_elements, n_points, 5) states of the points.
    """

    residual: Floats
    volume: float
    gradient: Floats
    band: Floats
    trial: Floats


@dataclass(frozen=True)
class Solid:
    """Tables of a discretised solid; see solid_kernel for the shapes.

    reference : (n_nodes, 2) positions of the unloaded shape, mm.  prior : equivalent plastic
    strain of every point before loading.  width : half-width of the band.
    lines : nodes of the inside and outside in sequence from the axis, in pairs across the gauge,
    and arc : (n_elements, n_points) arc length of the points, mm (both of bottoms only).
    """

    reference: Floats
    nodes: Ints
    shapes: Floats
    slopes: Floats
    weights: Floats
    radii: Floats
    edge: Edge
    free: Bools
    width: int
    material: Floats
    factors: Floats
    prior: Floats
    lines: Mapping[str, Ints] = field(default_factory=dict)
    arc: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def n(self) -> int:
        """Number of unknowns, the fixed ones included."""
        return self.reference.size

    @cached_property
    def body(self) -> Body:
        """What the kernels take of it."""
        return Body(
            self.nodes,
            self.shapes,
            self.slopes,
            self.weights,
            self.radii,
            self.material,
            self.factors,
            self.prior,
            self.free,
        )

    def start(self) -> SolidState:
        """The unloaded state: no stress, only the prior strain."""
        kinematic = self.material[KINEMATIC] > 0.0
        points = np.zeros((*self.weights.shape, KINEMATIC_STATE if kinematic else STATE))
        points[..., (0, 1, 3)] = 0.0 if kinematic else 1.0
        points[..., 4] = self.prior
        state = SolidState(np.zeros_like(self.reference), 0.0, 0.0, points)
        return replace(state, volume=self.evaluate(state.x.ravel(), 0.0, state).volume)

    def evaluate(self, u: Floats, pressure: float, state: SolidState) -> SolidEvaluation:
        """Residual and tangent at displacements u (n,) mm and a pressure, coming from state."""
        moved = np.ascontiguousarray(u).reshape(-1, 2)
        residual, gradient = np.zeros(self.n), np.zeros(self.n)
        band = np.zeros((self.n, self.width + 1))
        band[~self.free, -1] = 1.0
        found = Found(residual, gradient, band, np.empty_like(state.points))
        add_metal(moved, self.body[:], state.points, found[:])
        place = self.reference + moved
        volume = add_pressure(place, self.edge[:], pressure, self.free, found[:])
        residual -= pressure * gradient
        return SolidEvaluation(residual, volume, gradient, band, found.new)

    def yield_ratio(self, state: SolidState) -> Floats:
        """(n_elements, n_points) equivalent stress over yield stress; 1 is at yield."""
        return yield_ratio(state.x, self.body[:], state.points)

    def converge(
        self, u: Floats, pressure: float, moved: float, state: SolidState, aim: Aim, newton: Newton
    ) -> Converged:
        """path.iterate."""
        return iterate(self, u, pressure, moved, state, aim, newton)

    def accept(
        self, u: Floats, pressure: float, found: SolidEvaluation, state: SolidState
    ) -> SolidState:
        """The state after a converged step."""
        return SolidState(u.reshape(-1, 2).copy(), pressure, found.volume, found.trial)


def solid(
    mesh: Any,
    material: Material,
    fixed: Mapping[str, str],
    loaded: str = "inside",
    quadrature: tuple[int, int] = (2, 2),
    serendipity: bool = True,
    order: Ints | None = None,
) -> Solid:
    """Tables of a solid.

    mesh : skfem.MeshQuad2 of the (r, z) section, mm, with named boundaries.
    fixed : boundary -> unknowns that stay put on it, of "r", "z", "rz".
    loaded : boundary under pressure.  quadrature : Gauss points along the first and the second
        side of the elements.
    serendipity : eight-node elements (with two points along free of locking), else nine.
    order : (n_elements, 9) sequence of the nodes wanted; by default one is found.

    Raises InputError for an r-value or a back stress that fades, which the solid does not carry.
    """
    import skfem

    for name in ("r_value", "back_stress"):
        if getattr(material, name) is not None:
            raise InputError(
                f"{name} is given; the solid carries von Mises' surface and a kinematic share "
                "only, so it must be absent there (the shell takes it)",
                name,
                "given",
                "absent",
            )
    element = skfem.ElementQuadS2() if serendipity else skfem.ElementQuad2()
    basis = skfem.Basis(mesh, element, quadrature=gauss(quadrature))
    number = numbering(basis.element_dofs, order)
    reference = np.empty((basis.N, 2))
    reference[number] = basis.doflocs.T
    nodes = np.ascontiguousarray(number[basis.element_dofs.T])

    local = [element.lbasis(basis.X, i) for i in range(nodes.shape[1])]
    shapes = np.ascontiguousarray(np.stack([value for value, _ in local], axis=1))
    jacobian = np.einsum("eki,kjq->eqij", reference[nodes], np.stack([d for _, d in local]))
    det = jacobian[..., 0, 0] * jacobian[..., 1, 1] - jacobian[..., 0, 1] * jacobian[..., 1, 0]
    det = det * np.sign(det[:, :1])  # both senses of numbering are allowed
    if np.min(det) <= 0.0:
        raise SolveError("the section mesh has an element turned inside out")
    slopes = np.einsum("kjq,eqji->eqki", np.stack([d for _, d in local]), np.linalg.inv(jacobian))
    radii = reference[nodes, 0] @ shapes.T

    free = np.ones((basis.N, 2), dtype=bool)
    for boundary, unknowns in fixed.items():
        held = number[basis.get_dofs(boundary).all()]
        for k, name in enumerate("rz"):
            if name in unknowns:
                free[held, k] = False

    line = skfem.ElementLineP2()
    edge_x, edge_w = skfem.quadrature.get_quadrature(skfem.MeshLine1.elem.refdom, 5)
    edge = [line.lbasis(edge_x, i) for i in range(3)]
    return Solid(
        reference=reference,
        nodes=nodes,
        shapes=shapes,
        slopes=np.ascontiguousarray(slopes),
        weights=np.ascontiguousarray(basis.W * det * radii),
        radii=np.ascontiguousarray(radii),
        edge=Edge(
            loaded_edges(mesh, basis, number, loaded),
            np.ascontiguousarray(np.stack([value for value, _ in edge], axis=1)),
            np.ascontiguousarray(np.stack([d[0] for _, d in edge], axis=1)),
            edge_w,
        ),
        free=free.ravel(),
        width=int(2 * np.max(np.ptp(nodes, axis=1)) + 1),
        material=encode(material),
        factors=np.ones_like(radii),
        prior=np.zeros_like(radii),
    )


def gauss(points: tuple[int, int]) -> tuple[Floats, Floats]:
    """Gauss points (2, n) and weights (n,) on the unit square, by direction."""
    (x, wx), (y, wy) = (np.polynomial.legendre.leggauss(n) for n in points)
    place = np.stack(np.meshgrid(0.5 + 0.5 * x, 0.5 + 0.5 * y, indexing="ij")).reshape(2, -1)
    return place, 0.25 * np.outer(wx, wy).ravel()


class SolidBottom(SweptSection, Protocol):
    """The part of a profile that the solid needs."""

    @property
    def material(self) -> Material:
        """Of the sheet."""

    def prior_strain(self, s: Floats) -> Floats:
        """Equivalent plastic strain before loading, at arc lengths s."""

    def yield_factor(self, s: Floats) -> Floats:
        """Factor on the yield curve at arc lengths s."""


def bottom_solid(
    profile: SolidBottom,
    through: int = 4,
    along: Mapping[str, int] | float = 1.0,
    quadrature: tuple[int, int] = (2, 3),
    serendipity: bool = True,
) -> Solid:
    """The solid of a bottom: held radially on the axis, clamped at the top of the sidewall.

    through, along : as files.section.section_mesh.  quadrature, serendipity : as solid; three
        points through each element, because the front between elastic and plastic metal in a
        bent nose makes the rule through the gauge the largest error.
    """
    section = section_mesh(profile, through, along)
    model = solid(
        to_skfem(section),
        profile.material,
        {"axis": "r", "top": "rz"},
        quadrature=quadrature,
        serendipity=serendipity,
        order=section.quads,
    )
    # section and scikit-fem list the nodes of an element in the same order
    s = section.s[section.quads[:, : model.nodes.shape[1]]] @ model.shapes.T
    # mid-side nodes between corners: (start, middle, end) of every edge, joints counted once
    place = np.empty(len(section.points), dtype=np.int64)
    place[section.quads[:, : model.nodes.shape[1]]] = model.nodes
    lines = {
        name: place[np.append(edges[:, (0, 2)].ravel(), edges[-1, 1])]
        for name, edges in (("inside", section.inside), ("outside", section.outside))
    }
    prior, factors = profile.prior_strain(s), profile.yield_factor(s)
    return replace(model, prior=prior, factors=factors, lines=lines, arc=s)
