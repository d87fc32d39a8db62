"""Shell of revolution: tables of one discretised meridian, and its states.

Three-node elements on a one-dimensional mesh of arc length, nodes numbered along it; the loop over
them is in shell_kernel.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from domemargin.fea.core.path import CONVERGED, ENDINGS, Aim, Converged, Newton
from domemargin.fea.errors import SolveError
from domemargin.fea.metal.lanes import BLOCK
from domemargin.fea.metal.materials import B1, B2, EP, NU, P1, P2, STATE, E, encode
from domemargin.fea.metal.spread import REACH, Means, raised, running_means
from domemargin.fea.shell.given import Body, Found, Start
from domemargin.fea.shell.kernel import WIDTH, assemble, thicken
from domemargin.fea.shell.newton import converge
from domemargin.fea.shell.tables import layer_rule, tables
from domemargin.profiles.arrays import Bools, Floats, Ints
from domemargin.profiles.material import Material
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.shape.meridian import Meridian

Along = Callable[[Floats], Floats]
Offset = Callable[[Floats], tuple[Floats, Floats]]

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
        y, face = thicken(
            self.material,
            self.first_layer,
            self.gauge,
            self.inner,
            self.reach,
            self.rule,
            layers,
            stress,
            self.side,
        )
        factor = raised(
            self.material,
            self.layer_factor,
            self.layer_prior,
            layers,
            self.first_layer,
            *self.means,
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
    s = np.empty(2 * len(element_ends) - 1)
    s[::2], s[1::2] = element_ends, 0.5 * (element_ends[1:] + element_ends[:-1])
    shapes, slopes, weights, point_s = tables(element_ends, 2)
    # r^2 z' times a shape function is of fifth degree
    full_shapes, full_slopes, full_weights, _ = tables(element_ends, 3)
    reference = _nodes(meridian, s, offset)
    geometry = _undeformed(reference, shapes, slopes)
    gauge = thickness(point_s.ravel())
    through = _through(np.broadcast_to(np.asarray(layers), weights.shape[:1]), shapes.shape[0])
    point, half = through.point, 0.5 * gauge
    y0 = half[point] * through.xi
    lengths = np.stack(
        (
            geometry.stretch[point] - y0 * geometry.curvature[point],
            geometry.radius[point] - y0 * geometry.sine[point],
        )
    )

    def along(given: Along | None, default: float) -> Floats:
        values = np.full(point_s.size, default) if given is None else given(point_s.ravel())
        return np.ascontiguousarray(values[point])

    shell = Shell(
        s=s,
        reference=reference,
        shapes=shapes,
        slopes=slopes,
        weights=weights,
        full_shapes=full_shapes,
        full_slopes=full_slopes,
        full_weights=full_weights,
        point_s=point_s.ravel(),
        gauge=gauge,
        radius=geometry.radius,
        shear_strain=geometry.shear,
        first_layer=np.concatenate(([0], np.cumsum(through.per_point))),
        y0=y0,
        per_length=1.0 / lengths,
        layer_weight=half[point] * through.weight * lengths[0] * lengths[1],
        layer_factor=along(yield_factor, 1.0),
        layer_prior=along(prior_strain, 0.0),
        means=running_means(point_s.ravel(), weights.ravel(), REACH * gauge, through.per_point),
        rule=through.rule,
        inner=through.inner,
        reach=through.reach,
        free=_free(s.size, fixed_start, fixed_end),
        side=FACES[face],
        material=encode(material),
    )
    formed = getattr(meridian, "formed", None)
    return shell if formed is None else with_formed(shell, formed)


def _nodes(meridian: Meridian, s: Floats, offset: Offset | None) -> Floats:
    """(n_nodes, 3) r, z and phi of the unloaded shape, with its error, at arc lengths s."""
    at = meridian.at(s)
    reference = np.stack((at.r, at.z, at.phi), axis=1)
    if offset is not None:
        away, slope = offset(s)
        reference[:, 0] -= away * np.sin(at.phi)
        reference[:, 1] += away * np.cos(at.phi)
        # the derivative along s is (1 - away * curvature) along the tangent, slope along the normal
        reference[:, 2] += np.arctan2(slope, 1.0 - away * at.curvature)
    return reference


class _Geometry(NamedTuple):
    """The undeformed meridian at its points, (n_points,) each: r0, sin phi0, phi0', a0 and g0."""

    radius: Floats
    sine: Floats
    curvature: Floats
    stretch: Floats
    shear: Floats


def _undeformed(reference: Floats, shapes: Floats, slopes: Floats) -> _Geometry:
    nodes = reference[2 * np.arange(len(slopes))[:, None] + np.arange(3)]
    r0, phi0 = (np.einsum("qi,ei->eq", shapes, nodes[:, :, k]) for k in (0, 2))
    rp, zp, k0 = (np.einsum("eqi,ei->eq", slopes, nodes[:, :, k]) for k in (0, 1, 2))
    s0, c0 = np.sin(phi0), np.cos(phi0)
    a0, g0 = rp * c0 + zp * s0, -rp * s0 + zp * c0
    return _Geometry(
        np.ascontiguousarray(r0.ravel()), s0.ravel(), k0.ravel(), a0.ravel(), g0.ravel()
    )


class _Through(NamedTuple):
    """The layers of every point, and the rules they come from (one for each number of layers).

    point, xi, weight : (n_layers,) point of each layer, its place on (-1, 1) and its weight.
    per_point, rule : (n_points,) layers of each point, and which rule.
    inner, reach : of the rules, see tables.LayerRule, filled up with zeros to the longest.
    """

    point: Ints
    xi: Floats
    weight: Floats
    per_point: Ints
    rule: Ints
    inner: Floats
    reach: Floats


def _through(per_element: Ints, points: int) -> _Through:
    """The layers of elements with some points each."""
    if np.max(per_element) > BLOCK:
        raise ValueError(f"layers is {np.max(per_element)}; it must be at most {BLOCK}")
    per_point = np.repeat(per_element, points)
    kinds = sorted(set(per_element.tolist()))
    rules = {count: layer_rule(count) for count in kinds}
    most = max(kinds)
    inner, reach = np.zeros((len(kinds), most, most)), np.zeros((len(kinds), 2, most))
    for i, count in enumerate(kinds):
        inner[i, :count, :count], reach[i, :, :count] = rules[count].inner, rules[count].reach
    return _Through(
        np.repeat(np.arange(per_point.size), per_point),
        np.concatenate([rules[count].points for count in per_point.tolist()]),
        np.concatenate([rules[count].weights for count in per_point.tolist()]),
        per_point,
        np.searchsorted(kinds, per_point),
        inner,
        reach,
    )


def _free(n_nodes: int, fixed_start: str, fixed_end: str) -> Bools:
    """(3 n_nodes,) which unknowns move."""
    free = np.ones((n_nodes, 3), dtype=bool)
    for end, names in ((0, fixed_start), (-1, fixed_end)):
        for name in names.split():
            free[end, ("r", "z", "phi").index(name)] = False
    return free.ravel()
