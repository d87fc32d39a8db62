"""The elastic solid against a general-purpose open finite-element library.

Source: FElupe (A. Dutzler, felupe on the Python package index; GPL, so it is used here only and
never by the package): axisymmetric eight-node quads, 3 x 3 points, follower pressure, computed by
this test.  It has its own mesh regions, quadrature, assembly, boundary integrals and Newton's
method; Hencky's law is written for it below with principal stretches and a tangent by differences.

With the same mesh and rule both must find the same displacements but for rounding; so the band is
far below any error of discretisation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from evidence_rows import BENDING, COMPUTED, About

from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, compliance, pressure_control
from domemargin.fea.solid.mesh import to_skfem
from domemargin.fea.solid.solid import solid
from domemargin.profiles.files.section import section_mesh
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

ABOUT = About(
    BENDING, "FElupe, a general-purpose open finite-element library, with the same mesh", COMPUTED
)

felupe = pytest.importorskip("felupe")

E, NU = 70_000.0, 0.3
TURNED = [0, 3, 2, 1, 7, 6, 5, 4]  # nodes of a quad with its axes swapped, so that it stays upright


@dataclass(frozen=True)
class Body:
    meridian: Meridian
    gauge: float

    def thickness(self, s):
        return np.full(np.shape(s), self.gauge)


def hencky_stress(f):
    """First Piola stress (3, 3, ...) of F (3, 3, ...): tau = 2 G dev ln V + K tr ln V."""
    shear, bulk = E / (2.0 * (1.0 + NU)), E / (3.0 * (1.0 - 2.0 * NU))
    f = np.moveaxis(f, (0, 1), (-2, -1))
    squares, axes = np.linalg.eigh(f @ np.swapaxes(f, -1, -2))
    strain = 0.5 * np.log(squares)
    volume = strain.sum(axis=-1, keepdims=True)
    tau = 2.0 * shear * (strain - volume / 3.0) + bulk * volume
    tau = (axes * tau[..., None, :]) @ np.swapaxes(axes, -1, -2)
    return np.moveaxis(tau @ np.linalg.inv(np.swapaxes(f, -1, -2)), (-2, -1), (0, 1))


class Hencky:
    """Hencky's law as the library asks for a material."""

    x = (np.eye(3), np.zeros(0))

    def gradient(self, x):
        return [hencky_stress(x[0]), x[-1]]

    def hessian(self, x):
        f, step = x[0], 1e-6
        out = np.empty((3, 3, *f.shape))
        for i in range(3):
            for j in range(3):
                change = np.zeros_like(f)
                change[i, j] = step
                ends = hencky_stress(f + change), hencky_stress(f - change)
                out[:, :, i, j] = (ends[0] - ends[1]) / (2.0 * step)
        return [out]


def by_library(section, fixed, pressure: float, steps: int):
    """Displacements (n, 2) r, z of the section's eight-node mesh at a pressure on its inside."""
    used = np.unique(section.quads[:, :8])
    number = np.full(len(section.points), -1)
    number[used] = np.arange(len(used))
    points = section.points[used][:, ::-1]  # the library takes (z, r)
    cells = number[section.quads[:, :8]][:, TURNED]
    mesh = felupe.Mesh(points, cells, "quad8")
    region = felupe.RegionQuadraticQuad(mesh)
    field = felupe.FieldContainer([felupe.FieldAxisymmetric(region, dim=2)])
    inside = np.zeros(len(used), dtype=bool)
    inside[number[np.unique(section.inside)]] = True
    edge = felupe.RegionQuadraticQuadBoundary(mesh, mask=inside, ensure_3d=True)
    boundary = felupe.FieldContainer([felupe.FieldAxisymmetric(edge, dim=2)])
    body = felupe.SolidBody(Hencky(), field)
    load = felupe.SolidBodyPressure(boundary)
    held = {}
    for name, unknowns in fixed.items():
        mask = np.zeros(len(used), dtype=bool)
        mask[number[np.unique(getattr(section, name))]] = True
        held[name] = felupe.Boundary(
            field[0], mask=mask, skip=(int("z" not in unknowns), int("r" not in unknowns))
        )
    dof0, dof1 = felupe.dof.partition(field, held)
    for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
        load.update(share * pressure)
        found = felupe.newtonraphson(
            field, items=[body, load], dof0=dof0, dof1=dof1, tol=1e-10, verbose=0
        )
        assert found.success
    return used, field[0].values[:, ::-1]


def by_solid(section, fixed, pressure: float, steps: int):
    """The same by this package, at the section's nodes."""
    model = solid(to_skfem(section), Material(E, NU), fixed, quadrature=(3, 3), order=section.quads)
    start = model.start()
    scale = compliance(model, start) * pressure
    plan = Plan(1.0, scale, pressure, 2.0 * pressure, newton=Newton(1e-9, 1e-6))
    state = pressure_control(model, start, pressure, plan, steps)
    place = np.full(len(section.points), -1)
    place[section.quads[:, :8]] = model.nodes
    return place, state.x


# name: (arc, gauge, elements, what is held, pressure over E, least displacement over the gauge)
SPHERE = Segment("dome", 0.0, -150.0, 0.0, 150.0 * 0.5 * np.pi, 1.0 / 150.0)
CAP = Segment("dome", 0.0, 100.0, 0.0, 30.0, -1.0 / 100.0)
CASES = {
    # the lower half of a thick sphere, blown up until its bore is wider by a fifth
    "thick sphere": (SPHERE, 100.0, (4, 8), {"axis": "r", "top": "z"}, 0.2, 0.15),
    # a clamped cap pressed towards its limit, in bending
    "clamped cap": (CAP, 2.0, (2, 24), {"axis": "r", "top": "rz"}, 2.2e-4, 0.2),
}


@pytest.mark.parametrize("name", CASES)
def test_elastic_solid_agrees_with_the_library(evidence, name):
    arc, gauge, (through, along), fixed, pressure, least = CASES[name]
    section = section_mesh(Body(Meridian((arc,)), gauge), through, {"dome": along})
    used, theirs = by_library(section, fixed, pressure * E, 8)
    place, ours = by_solid(section, fixed, pressure * E, 8)
    largest = np.abs(theirs).max()
    assert largest > least * gauge  # large displacements, not a linear case
    evidence(
        f"elastic solid, {name} at large displacement: largest difference of displacements, share",
        computed=float(np.abs(ours[place[used]] - theirs).max() / largest), most=1e-9,
    )  # fmt: skip
