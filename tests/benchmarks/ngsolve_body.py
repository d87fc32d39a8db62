"""A bottom or a cap in NGSolve, as a user of it would script that.

The library gives meshes curved by a deformation field, elements of any order, state at integration
points, and residual and tangent by differentiating an energy.  So metal is written as the energy
of a step, minimal in the increment of plastic strain (M. Ortiz & L. Stainier, Comput. Methods
Appl. Mech. Eng. 171, 1999, 419; logarithmic elastic strains as in felupe_metal.py), pressure as
minus itself times the enclosed volume.  The path control is the user's own (arc_length.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import netgen.meshing as netgen
import ngsolve as ng
import numpy as np
from ngsolve.comp import IntegrationRuleSpace

from domemargin.profiles.arrays import Bools, Floats
from domemargin.profiles.files.section import SETS, SectionMesh
from domemargin.profiles.material import Material, Voce

NEWTON = 4  # of the scalar equation; written out, since the library differentiates through it


@dataclass(frozen=True)
class Body:
    """Spaces and forms of a meshed body."""

    energy: Any
    volume: Any
    pressure: Any
    moved: Any
    free: Bools
    states: tuple[Any, ...]
    updates: tuple[Any, ...]

    @property
    def unknowns(self) -> int:
        """The held ones too, which stay zero."""
        return self.free.size

    def system(self, u: Floats, p: float) -> tuple[Floats, Floats, Callable[[Floats], Floats]]:
        """Residual, load of a unit pressure, and the factored tangent, at a trial."""
        x = self.moved.vec
        x.FV().NumPy()[:] = u
        self.pressure.Set(p)
        residual, load = x.CreateVector(), x.CreateVector()
        self.energy.Apply(x, residual)
        self.volume.Apply(x, load)
        self.energy.AssembleLinearization(x)
        inverse = self.energy.mat.Inverse(self.moved.space.FreeDofs(), "sparsecholesky")

        def solve(side: Floats) -> Floats:
            given, out = x.CreateVector(), x.CreateVector()
            given.FV().NumPy()[:] = side
            out.data = inverse * given
            return out.FV().NumPy().copy()

        return self.free * residual.FV().NumPy(), self.free * load.FV().NumPy(), solve

    def accept(self, u: Floats) -> None:
        """Make a converged trial the state that the next step starts from."""
        self.moved.vec.FV().NumPy()[:] = u
        new = [ng.GridFunction(state.space) for state in self.states]
        for field, update in zip(new, self.updates, strict=False):  # elastic: no updates
            field.Interpolate(update)
        for state, field in zip(self.states, new[: len(self.updates)], strict=False):
            state.vec.data = field.vec


def body(section: SectionMesh, metal: Material, order: int) -> Body:
    """Held radially on the axis, clamped at the end of the meridian, loaded inside."""
    mesh = _mesh(section)
    space = ng.VectorH1(mesh, order=order, dirichletx="axis|top", dirichlety="top")
    points = IntegrationRuleSpace(mesh, order=2 * order)
    states = tuple(ng.GridFunction(points) for _ in range(5))  # Cp^-1: rr, zz, rz, hoop; ep
    for k in (0, 1, 3):
        states[k].vec[:] = 1.0
    u, moved = space.TrialFunction(), ng.GridFunction(space)

    energy = ng.BilinearForm(space, symmetric=True)
    stored, _ = _metal(metal, u, states)
    energy += ng.Variation((ng.x * stored).Compile() * ng.dx(intrules=points.GetIntegrationRules()))
    pressure, volume = ng.Parameter(0.0), ng.BilinearForm(space, symmetric=True)
    tangent = ng.specialcf.tangential(2)
    outward = np.sign(ng.Integrate(tangent[0] * ng.ds("inside"), mesh))
    axial = tangent[1] + (ng.Grad(u).Trace() * tangent)[1]
    enclosed = outward * 0.5 * (ng.x + u[0]) ** 2 * axial
    energy += ng.Variation((-pressure * enclosed).Compile() * ng.ds("inside"))
    volume += ng.Variation(enclosed.Compile() * ng.ds("inside"))
    _, updates = _metal(metal, moved, states)
    free = np.array(space.FreeDofs(), dtype=bool)
    return Body(energy, volume, pressure, moved, free, states, updates)


def _metal(metal: Material, u: Any, old: tuple[Any, ...]) -> tuple[Any, tuple[Any, ...]]:
    """Energy of a step per volume, and the states after it (none for elastic metal)."""
    modulus, poisson = metal.elastic_modulus, metal.poisson_ratio
    shear, bulk = 0.5 * modulus / (1.0 + poisson), modulus / (3.0 - 6.0 * poisson)
    eye = ng.Id(2)
    F, hoop = eye + ng.Grad(u), 1.0 + u[0] / ng.x
    b = F * ng.CF((old[0], old[2], old[2], old[1]), dims=(2, 2)) * F.trans
    mean, half = 0.5 * (b[0, 0] + b[1, 1]), 0.5 * (b[0, 0] - b[1, 1])
    radius = ng.sqrt(half * half + b[0, 1] * b[0, 1] + 1e-16)
    strain = [0.5 * ng.log(v) for v in (mean + radius, mean - radius, hoop * hoop * old[3])]
    growth = strain[0] + strain[1] + strain[2]
    deviator = [value - growth / 3.0 for value in strain]
    size = sum(value * value for value in deviator)
    stress = 2.0 * shear * ng.sqrt(1.5 * size + 1e-20)
    if not isinstance(metal.hardening, Voce):
        return 0.5 * bulk * growth * growth + shear * size, ()

    assert metal.yield_strength is not None
    saturation, rate = metal.hardening.saturation, metal.hardening.rate
    top, ep = metal.yield_strength + saturation, old[4]
    gain = ng.CF(0.0)
    for _ in range(NEWTON):
        rest = saturation * ng.exp(-rate * (ep + gain))
        gain = gain + (stress - 3.0 * shear * gain - top + rest) / (3.0 * shear + rate * rest)
    starts = stress - top + saturation * ng.exp(-rate * ep)
    gain = ng.IfPos(starts, gain, 0.0)

    def hardened(strain: Any) -> Any:
        return top * strain + saturation / rate * ng.exp(-rate * strain)

    left = stress - 3.0 * shear * gain
    stored = 0.5 * bulk * growth * growth + left * left / (6.0 * shear)
    stored += hardened(ep + gain) - hardened(ep)
    share = left / stress
    square = [ng.exp(2.0 * (growth / 3.0 + share * value)) for value in deviator]
    turned = 0.5 * (square[0] - square[1]) / radius
    elastic = 0.5 * (square[0] + square[1]) * eye + turned * (b - mean * eye)
    plastic = ng.Inv(F) * elastic * ng.Inv(F).trans
    new = (plastic[0, 0], plastic[1, 1], plastic[0, 1], square[2] / (hoop * hoop), ep + gain)
    return stored, tuple(value.Compile() for value in new)


def _mesh(section: SectionMesh) -> ng.Mesh:
    """Quads with straight sides between the corners, moved by a quadratic field onto the curve."""
    at, grid = section.points, netgen.Mesh(dim=2)
    grid.Add(netgen.FaceDescriptor(surfnr=1, domin=1, bc=1))
    corners = np.unique(section.quads[:, :4])
    number = {k: grid.Add(netgen.MeshPoint(netgen.Pnt(*at[k], 0.0))) for k in corners}
    middles = {}
    for quad in section.quads:
        (r0, z0), (r1, z1) = at[quad[2]] - at[quad[0]], at[quad[3]] - at[quad[1]]
        round_ = quad[:4] if r0 * z1 > r1 * z0 else quad[[0, 3, 2, 1]]
        grid.Add(netgen.Element2D(1, [number[k] for k in round_]))
        for a, b, middle in ((0, 1, 4), (1, 2, 5), (2, 3, 6), (3, 0, 7)):
            middles[frozenset((quad[a], quad[b]))] = at[quad[middle]]
    for index, name in enumerate(SETS, 1):
        for edge in getattr(section, name):
            grid.Add(netgen.Element1D([number[k] for k in edge[:2]], index=index))
        grid.SetBCName(index - 1, name)
    mesh = ng.Mesh(grid)

    field = ng.GridFunction(ng.VectorH1(mesh, order=2))
    shape = ng.H1(mesh, order=2)
    probe = ng.GridFunction(shape)  # what an edge's own function is in its middle
    first = next(iter(mesh.edges))
    probe.vec[shape.GetDofNrs(first)[0]] = 1.0
    ends = np.array([mesh[vertex].point for vertex in first.vertices])
    unit = probe(mesh(*ends.mean(axis=0)))
    node = {point.nr - 1: k for k, point in number.items()}
    for edge in mesh.edges:
        a, b = (node[vertex.nr] for vertex in edge.vertices)
        away = middles[frozenset((a, b))] - 0.5 * (at[a] + at[b])
        for component, value in zip(field.components, away, strict=True):
            component.vec[shape.GetDofNrs(edge)[0]] = value / unit
    mesh.SetDeformation(field)
    return mesh
