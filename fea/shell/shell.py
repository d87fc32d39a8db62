"""Shell of revolution: tables of one discretised meridian, and its states.

Three-node elements on a one-dimensional mesh of arc length, nodes numbered along it; the loop over
them is in shell_kernel.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from domemargin.fea.core.path import CONVERGED, ENDINGS, Aim, Converged, Newton
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.materials import B1, B2, EP, NU, P1, P2, STATE, E, encode
from domemargin.fea.metal.spread import REACH, Means, raised, running_means
from domemargin.fea.shell.given import Body, Found, Start, Through
from domemargin.fea.shell.kernel import WIDTH, assemble, thicken
from domemargin.fea.shell.newton import converge
from domemargin.fea.shell.tables import tables
from domemargin.fea.shell.undeformed import (
    Along,
    Offset,
    geometry_of,
    in_layers,
    node_places,
    nodes_on,
    slices_of,
    stacked,
)
from domemargin.profiles.arrays import Bools, Floats, Ints
from domemargin.profiles.material import Material
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.shape.meridian import Meridian

FACES = {"inside": 1.0, "mid": 0.0, "outside": -1.0}


@dataclass(frozen=True)
class ShellState:
    """An equilibrium state; arrays are never written again.

    x : (n_nodes, 3) r, z (mm) and tangent angle (radians).  pressure : MPa.
    volume : mm^3 per radian under the loaded face.
    layers : (7, n_layers) material state, see layers.stresses.
    stress : (3, n_layers) Kirchhoff stress: meridian, hoop and shear, MPa.
    y : (n_layers,) and face : (n_points,) distances from the mid-surface, mm.
    factor : (n_layers,) on the yield curve, see spread.py.
    y, face and factor follow the state one step late.
    """

    x: Floats
    pressure: float
    volume: float
    layers: Floats
    stress: Floats
    y: Floats
    face: Floats
    factor: Floats

    @property
    def history(self) -> Start:
        """What a step from here depends on."""
        return Start(self.layers, self.factor, self.y, self.face)


class Evaluation(NamedTuple):
    """Residual and tangent of a system at a trial (u, pressure).

    residual : (n,) internal forces less pressure forces; 0 at fixed unknowns.
    volume : conjugate of the pressure.  gradient : (n,) of the volume; 0 at fixed unknowns.
    band : (n, w + 1) lower band of the tangent (banded.py); 1 on the diagonal of fixed unknowns.
    trial : (layers, stress) of the trial.
    """

    residual: Floats
    volume: float
    gradient: Floats
    band: Floats
    trial: tuple[Floats, Floats]


def evaluation(volume: float, found: Found) -> Evaluation:
    """What `assemble` has written."""
    trial = (found.new, found.stress)
    return Evaluation(found.residual, volume, found.gradient, found.band, trial)


@dataclass(frozen=True)
class Shell:
    """Tables of a discretised shell; see shell_kernel.assemble for the shapes.

    start_layers, start_stress : what forming left, as in ShellState; None where nothing did.
    """

    s: Floats
    reference: Floats
    shapes: Floats
    slopes: Floats
    weights: Floats
    full_shapes: Floats
    full_slopes: Floats
    full_weights: Floats
    point_s: Floats
    gauge: Floats
    radius: Floats
    shear_strain: Floats
    first_layer: Ints
    y0: Floats
    per_length: Floats
    layer_weight: Floats
    layer_factor: Floats
    layer_prior: Floats
    means: Means
    rule: Ints
    inner: Floats
    reach: Floats
    free: Bools
    side: float
    material: Floats
    start_layers: Floats | None = None
    start_stress: Floats | None = None

    @cached_property
    def fixed(self) -> Ints:
        """Numbers of the unknowns that stay put."""
        return np.flatnonzero(~self.free)

    @cached_property
    def ends(self) -> tuple[bytes, tuple[bool, bool]]:
        """Which unknowns are free, as bytes, and which of the two ends lies on the axis."""
        radius = self.reference[:, 0]
        small = 1e-9 * float(radius.max())
        return self.free.tobytes(), (bool(radius[0] < small), bool(radius[-1] < small))

    @property
    def n(self) -> int:
        """Number of unknowns."""
        return self.reference.size

    def start(self) -> ShellState:
        """The unloaded state of the given shape: no stress but that of forming, prior strain."""
        layers, stress = np.zeros((STATE, self.y0.size)), np.zeros((3, self.y0.size))
        layers[EP] = self.layer_prior
        if self.start_layers is not None and self.start_stress is not None:
            layers, stress = self.start_layers, self.start_stress
        state = ShellState(
            self.reference,
            0.0,
            0.0,
            layers,
            stress,
            self.y0,
            0.5 * self.side * self.gauge,
            self.layer_factor,
        )
        return replace(state, volume=self.evaluate(self.reference.ravel(), 0.0, state).volume)

    @cached_property
    def body(self) -> Body:
        """What the kernels take of it."""
        return Body(
            self.shapes,
            self.slopes,
            self.weights,
            self.full_shapes,
            self.full_slopes,
            self.full_weights,
            self.shear_strain,
            self.first_layer,
            self.per_length,
            self.layer_weight,
            self.material,
            self.radius,
            self.layer_prior,
            self.fixed,
        )

    @cached_property
    def through(self) -> Through:
        """Its layers, as the kernels take them."""
        return Through(self.first_layer, self.gauge, self.rule, self.inner, self.reach)

    def evaluate(self, u: Floats, pressure: float, state: ShellState) -> Evaluation:
        """Forces, volume and tangent at unknowns u (n,), coming from `state`."""
        found = self._empty(state)
        volume = assemble(u.reshape(-1, 3), pressure, self.body[:], state.history[:], found[:])
        return evaluation(volume, found)

    def converge(
        self, u: Floats, pressure: float, moved: float, state: ShellState, aim: Aim, newton: Newton
    ) -> Converged:
        """path.iterate, compiled."""
        u, shape, found = u.copy(), np.empty(self.n), self._empty(state)
        limits = (newton.tolerance, newton.update, newton.cap, newton.iterations)
        ending, pressure, volume, growth, negative, iterations = converge(
            u, pressure, moved, aim[:], limits, shape, self.body[:], state.history[:], found[:]
        )
        if ending != CONVERGED:
            raise SolveError(ENDINGS[ending].format(iterations))
        at = evaluation(volume, found)
        return Converged(u, pressure, at, shape, growth, negative, iterations)

    def _empty(self, state: ShellState) -> Found:
        """Room for what `assemble` writes."""
        return Found(
            np.empty(self.n),
            np.empty(self.n),
            np.empty((self.n, WIDTH + 1)),
            np.empty_like(state.layers),
            np.empty_like(state.stress),
        )

    def accept(
        self, u: Floats, pressure: float, found: Evaluation, state: ShellState
    ) -> ShellState:
        """The state after a converged step; layers move with their thickness strain."""
        layers, stress = found.trial
        y, face = thicken(self.material, self.through[:], layers, stress, self.side)
        factor = raised(
            self.material,
            self.layer_factor,
            self.layer_prior,
            layers,
            self.first_layer,
            self.means[:],
        )
        return ShellState(u.reshape(-1, 3), pressure, found.volume, layers, stress, y, face, factor)


def with_formed(shell: Shell, formed: FormedState) -> Shell:
    """A shell that starts with what forming left in its metal.

    The shape is that with the residual stress in it: plastic strains that undo its elastic strain
    stay behind.
    """
    point = np.repeat(np.arange(shell.gauge.size), np.diff(shell.first_layer))
    place = shell.y0 / (0.5 * shell.gauge[point])
    found = formed.at(shell.point_s[point], place)
    modulus, nu = shell.material[E], shell.material[NU]
    t1, t2 = found["stress_meridian"], found["stress_hoop"]
    layers = np.zeros((STATE, shell.y0.size))
    layers[EP] = found["plastic_strain"]
    layers[P1], layers[P2] = -(t1 - nu * t2) / modulus, -(t2 - nu * t1) / modulus
    layers[B1], layers[B2] = found["back_meridian"], found["back_hoop"]
    return replace(
        shell,
        layer_prior=found["plastic_strain"],
        layer_factor=found["yield_factor"],
        start_layers=layers,
        start_stress=np.stack((t1, t2, np.zeros_like(t1))),
    )


def without_length(shell: Shell) -> Shell:
    """The shell with metal that has no length: each point's mean takes in itself only."""
    count = shell.point_s.size
    return replace(shell, means=Means(np.arange(count), np.ones((count, 1))))


def build_shell(
    meridian: Meridian,
    element_ends: Floats,
    material: Material,
    thickness: Along,
    layers: int | Ints = 8,
    fixed_start: str = "r phi",
    fixed_end: str = "r z phi",
    face: str = "inside",
    prior_strain: Along | None = None,
    yield_factor: Along | None = None,
    offset: Offset | None = None,
) -> Shell:
    """Discretise a meridian with three-node elements and two integration points each.

    element_ends : (nel + 1,) arc lengths, mm.  thickness, prior_strain, yield_factor : functions
    of arc length.  layers : through the gauge, one number or one per element.
    fixed_start, fixed_end : which of r, z, phi are held at the two ends ("" is a free edge).
    face : the face the pressure acts on: inside, mid or outside.
    offset : shape error, the distance from the meridian along its normal and its slope.
    """
    shapes, slopes, weights, places = tables(element_ends, 2)
    # r^2 z' times a shape function is of fifth degree
    full_shapes, full_slopes, full_weights, _ = tables(element_ends, 3)
    s, point_s = node_places(element_ends), places.ravel()
    reference = nodes_on(meridian, s, offset)
    geometry = geometry_of(reference, shapes, slopes)
    gauge = thickness(point_s)
    through = stacked(np.broadcast_to(np.asarray(layers), weights.shape[:1]), shapes.shape[0])
    slices = slices_of(geometry, through, gauge)
    shell = Shell(
        s=s,
        reference=reference,
        shapes=shapes,
        slopes=slopes,
        weights=weights,
        full_shapes=full_shapes,
        full_slopes=full_slopes,
        full_weights=full_weights,
        point_s=point_s,
        gauge=gauge,
        radius=geometry.radius,
        shear_strain=geometry.shear,
        first_layer=np.concatenate(([0], np.cumsum(through.per_point))),
        y0=slices.y0,
        per_length=slices.per_length,
        layer_weight=slices.weight,
        layer_factor=in_layers(yield_factor, 1.0, point_s, through),
        layer_prior=in_layers(prior_strain, 0.0, point_s, through),
        means=running_means(point_s, weights.ravel(), REACH * gauge, through.per_point),
        rule=through.rule,
        inner=through.inner,
        reach=through.reach,
        free=_free(s.size, fixed_start, fixed_end),
        side=FACES[face],
        material=encode(material),
    )
    formed = getattr(meridian, "formed", None)
    return shell if formed is None else with_formed(shell, formed)


def _free(n_nodes: int, fixed_start: str, fixed_end: str) -> Bools:
    """(3 n_nodes,) which unknowns move."""
    free = np.ones((n_nodes, 3), dtype=bool)
    for end, names in ((0, fixed_start), (-1, fixed_end)):
        for name in names.split():
            free[end, ("r", "z", "phi").index(name)] = False
    return free.ravel()
