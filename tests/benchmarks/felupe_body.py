"""A bottom or a cap pressed through its limit with FElupe, as a user of it would script that.

The library gives mesh containers, eight-node axisymmetric elements, materials, follower pressure
and assembly.  Its load stepping cannot pass a limit point, so the path control is the user's own:
arc length with a normal plane and two right-hand sides (E. Riks 1979; M. A. Crisfield, Non-linear
Finite Element Analysis, vol. 1, 1991, ch. 9).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import felupe as fem
import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from profiles.section import SectionMesh

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Body:
    """A meshed body: its items, what holds it, and the unknowns that are free."""

    solid: fem.SolidBody
    pressure: fem.SolidBodyPressure
    field: fem.FieldContainer
    held: fem.BoundaryDict
    free: NDArray[np.int64]


@dataclass(frozen=True)
class Found:
    """limit : MPa, None if the path ended before one.  iterations : tangents factored."""

    limit: float | None
    iterations: int
    unknowns: int


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


def load_steps(one: Body, step: float, most: float = 4.0) -> Found:
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
    return Found(limit, counter.iterations, one.field[0].values.size)


class Counter(fem.plugins.Plugin):
    """Counts the iterations of the library's Newton method."""

    iterations = 0

    def after_linear_solve(self, *_: object, **__: object) -> None:
        self.iterations += 1


def press(
    one: Body, first: float, aim: float = 4.0, tolerance: float = 1e-5, most: int = 400
) -> Found:
    """Raise the pressure to its first limit.

    first : first step, MPa.  aim : iterations that a step should take.
    tolerance : of the residual, as a share of the pressure forces.
    """
    n, free = one.field[0].values.size, one.free
    u, p = np.zeros(n), 0.0
    iterations = 0

    def system(u: Floats, p: float) -> tuple[Floats, Floats, object]:
        one.field[0].values[:] = u.reshape(-1, 2)
        one.pressure.field[0].values[:] = one.field[0].values
        inner = one.solid.assemble.vector(one.field).toarray()[:, 0]
        load = one.pressure.assemble.vector(one.pressure.field, pressure=1.0).toarray()[:, 0]
        stiffness = one.solid.assemble.matrix()
        stiffness = stiffness - one.pressure.assemble.matrix(pressure=p)
        return (inner - p * load)[free], load[free], splu(stiffness[free][:, free].tocsc())

    residual, load, solver = system(u, p)
    way = solver.solve(load)
    scale = np.linalg.norm(way) * first  # of displacements; pressure over `first`
    length, normal, sign = 1.0, (way * first, 1.0), 1.0
    pressures, places = [0.0], [0.0]
    while len(pressures) <= most:
        tangent = np.append(normal[0] / scale, normal[1])
        tangent *= sign / np.linalg.norm(tangent)
        du, dp = length * tangent[:-1] * scale, length * tangent[-1] * first
        used = 0
        try:
            while True:
                trial = u.copy()
                trial[free] += du
                residual, load, solver = system(trial, p + dp)
                iterations += 1
                used += 1
                way = solver.solve(load)
                size = max(abs(p + dp), first) * np.linalg.norm(load)
                if used > 1 and np.linalg.norm(residual) <= tolerance * size:
                    break
                if used == 12 or not np.isfinite(residual).all():
                    raise ArithmeticError
                back = solver.solve(-residual)
                gap = length - tangent[:-1] @ du / scale - tangent[-1] * dp / first
                change = (gap - tangent[:-1] @ back / scale) / (
                    tangent[:-1] @ way / scale + tangent[-1] / first
                )
                du, dp = du + back + change * way, dp + change
        except (ArithmeticError, RuntimeError):  # the factorisation's: exactly singular
            length *= 0.5
            if length < 1e-3:
                break
            continue
        one.solid.results.update_statevars()
        u, p = trial, p + dp
        # go on the way the path came
        normal = (way * first, 1.0)
        turned = tangent[:-1] @ normal[0] / scale + tangent[-1]
        sign = 1.0 if turned > 0.0 else -1.0
        pressures.append(p)
        places.append(places[-1] + length)
        length *= float(np.clip(np.sqrt(aim / used), 0.5, 2.0))
        if p < 0.99 * max(pressures):
            top = int(np.argmax(pressures))
            near = slice(max(top - 1, 0), top + 2)
            c2, c1, c0 = np.polyfit(places[near], pressures[near], 2)
            return Found(float(c0 - 0.25 * c1**2 / c2), iterations, n)
    return Found(None, iterations, n)
