"""A bottom or a cap in FElupe, as a user of it would script that.

The library gives mesh containers, eight-node axisymmetric elements, materials, follower pressure,
assembly and load stepping.  That cannot pass a limit point: arc_length.py is the user's own.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import felupe as fem
import numpy as np
from arc_length import Answer
from scipy.sparse.linalg import splu

from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.files.section import SectionMesh


@dataclass(frozen=True)
class Body:
    """A meshed body: its items, what holds it, and the unknowns that are free."""

    solid: fem.SolidBody
    pressure: fem.SolidBodyPressure
    field: fem.FieldContainer
    held: fem.BoundaryDict
    free: Ints

    @property
    def unknowns(self) -> int:
        """How many are free."""
        return self.free.size

    def system(self, u: Floats, p: float) -> tuple[Floats, Floats, Callable[[Floats], Floats]]:
        """Residual, load of a unit pressure, and the factored tangent, at a trial."""
        self.field[0].values.ravel()[self.free] = u
        self.pressure.field[0].values[:] = self.field[0].values
        inner = self.solid.assemble.vector(self.field).toarray()[self.free, 0]
        load = self.pressure.assemble.vector(self.pressure.field, pressure=1.0)
        load = load.toarray()[self.free, 0]
        tangent = self.solid.assemble.matrix() - self.pressure.assemble.matrix(pressure=p)
        return inner - p * load, load, splu(tangent[self.free][:, self.free].tocsc()).solve

    def accept(self, u: Floats) -> None:
        """Make a converged trial the state that the next step starts from."""
        self.solid.results.update_statevars()


def body(section: SectionMesh, material: fem.constitution.ConstitutiveMaterial) -> Body:
    """Held radially on the axis, clamped at the end of the meridian, loaded inside."""
    # the library's axis of revolution is its first coordinate, and it needs counted-round quads
    cells = section.quads[:, [0, 3, 2, 1, 7, 6, 5, 4]]
    used, cells = np.unique(cells, return_inverse=True)
    points = section.points[used][:, ::-1]
    mesh = fem.Mesh(points, cells.reshape(-1, 8), "quad8")
    reduced = fem.GaussLegendre(order=1, dim=2)  # full integration locks in bending
    region = fem.RegionQuadraticQuad(mesh, quadrature=reduced)
    field = fem.FieldContainer([fem.FieldAxisymmetric(region, dim=2)])

    where = np.full(len(section.points), -1)
    where[used] = np.arange(len(used))
    inside = np.zeros(len(used), dtype=bool)
    inside[where[np.unique(section.inside)]] = True
    wet = fem.RegionQuadraticQuadBoundary(mesh, only_surface=True, mask=inside, ensure_3d=True)
    wet_field = fem.FieldContainer([fem.FieldAxisymmetric(wet, dim=2)])

    axis, top = (np.zeros(len(used), dtype=bool) for _ in range(2))
    axis[where[np.unique(section.axis)]] = True
    top[where[np.unique(section.top)]] = True
    held = fem.BoundaryDict(
        axis=fem.Boundary(field[0], mask=axis, skip=(True, False)),
        top=fem.Boundary(field[0], mask=top),
    )
    _, free = fem.dof.partition(field, held)
    solid, pressure = fem.SolidBody(material, field), fem.SolidBodyPressure(wet_field)
    return Body(solid, pressure, field, held, free)


def load_steps(one: Body, step: float, most: float = 4.0) -> Answer:
    """The library's own load stepping, with its cutback of steps that fail.

    It ends with an error at a limit point (or wherever else it fails); the last pressure that
    converged is then taken for the limit.  step : MPa.
    """
    counter = Counter()
    table = np.linspace(0.0, most, round(most / step) + 1)
    job = fem.Job(
        [fem.Step([one.solid, one.pressure], {one.pressure: table}, one.held)],
        plugins=[counter, fem.CutbackPlugin()],
    )
    limit = None
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            job.evaluate(verbose=0)
        except fem.NewtonConvergenceError:
            limit = float(one.pressure.results.pressure)
    return Answer(limit, counter.iterations)


class Counter(fem.plugins.Plugin):
    """Counts the iterations of the library's Newton method."""

    iterations = 0

    def after_linear_solve(self, *_: object, **__: object) -> None:
        self.iterations += 1
