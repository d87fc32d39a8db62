"""The uneven shell: tables of one discretised bottom, and its states.

It is an even shell whose nodes and directors were moved, without stress, to another shape; gauge
and yield strength may differ round the can.  Without any of that it is the even shell itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from domemargin.fea.core.path import Aim, Converged, Newton, iterate
from domemargin.fea.metal.materials import ELASTIC, LAW
from domemargin.fea.metal.materials import STATE as EVEN_STATE
from domemargin.fea.metal.spread import raised
from domemargin.fea.shell.kernel import thicken
from domemargin.fea.shell.shell import Evaluation, Shell
from domemargin.fea.uneven.given import DIRECTOR, STATE, STRESSES, UNKNOWNS, UnevenBody, UnevenStart
from domemargin.fea.uneven.given import UnevenFound as Room
from domemargin.fea.uneven.harmonics import Round
from domemargin.fea.uneven.kernel import assemble, reference
from domemargin.fea.uneven.layers import MEASURES
from domemargin.fea.waves.waves import held
from domemargin.profiles.arrays import Floats, Ints


@dataclass(frozen=True)
class UnevenState:
    """An equilibrium state; arrays are never written again.

    x : (n_nodes, 5, H) harmonics of radial and axial position, turn, hoop position and tilt; of
    turn and tilt the sum over the steps, the mean turn being the tangent angle.
    layers : (M, STATE, n_layers), stress : (M, STRESSES, n_layers), y, factor : (M, n_layers),
    face : (M, n_points), as in ShellState at each station.
    director : (M, n_points, DIRECTOR).
    pressure : MPa.  volume : mm^3 per radian.
    """

    x: Floats
    pressure: float
    volume: float
    layers: Floats
    stress: Floats
    y: Floats
    face: Floats
    factor: Floats
    director: Floats

    @property
    def history(self) -> UnevenStart:
        """What a step from here depends on."""
        return UnevenStart(
            self.x, turn_of(self.x), self.layers, self.factor, self.y, self.face, self.director
        )


def turn_of(x: Floats) -> Floats:
    """(n_nodes, 2) cosine and sine of the mean tangent angle."""
    return np.stack((np.cos(x[:, 2, 0]), np.sin(x[:, 2, 0])), axis=1)


@dataclass(frozen=True)
class UnevenShell:
    """Tables of a discretised uneven shell.

    even : the shell it was made from.  round : harmonics and stations.
    reference : (n_nodes, 5, H) of the undeformed shape.  body : of the kernels.
    director : (M, n_points, DIRECTOR) undeformed.  gauge : (M, n_points), mm.
    y0, own_factor, prior : (M, n_layers) undeformed distance, factor on the yield curve where
    strain is even, and strain before loading.
    """

    even: Shell
    round: Round
    reference: Floats
    body: UnevenBody
    director: Floats
    gauge: Floats
    y0: Floats
    own_factor: Floats

    @property
    def n(self) -> int:
        """Number of unknowns."""
        return self.reference.size

    @cached_property
    def elastic(self) -> bool:
        """Whether no metal can yield."""
        return bool(self.body.material[LAW] == ELASTIC)

    def start(self) -> UnevenState:
        """The unloaded state."""
        even = self.even.start()
        stations = len(self.gauge)
        layers = np.zeros((stations, STATE, self.y0.shape[1]))
        stress = np.zeros((stations, STRESSES, self.y0.shape[1]))
        layers[:, :EVEN_STATE], stress[:, :3] = even.layers, even.stress
        state = UnevenState(
            self.reference,
            0.0,
            0.0,
            layers,
            stress,
            self.y0,
            0.5 * self.even.side * self.gauge,
            self.own_factor,
            self.director,
        )
        return replace(state, volume=self.evaluate(self.reference.ravel(), 0.0, state).volume)

    def evaluate(self, u: Floats, pressure: float, state: UnevenState) -> Evaluation:
        """Forces, volume and tangent at unknowns u (n,), coming from `state`."""
        x = u.reshape(self.reference.shape)
        room = Room(
            np.empty(self.n),
            np.empty(self.n),
            np.empty((self.n, 3 * UNKNOWNS * self.round.count)),
            np.empty_like(state.layers),
            np.empty_like(state.stress),
            np.empty_like(state.director),
        )
        volume = assemble(x, pressure, self.body[:], state.history[:], room[:])
        trial = (room.new, room.stress, room.director)
        return Evaluation(room.residual, volume, room.gradient, room.band, trial)  # type: ignore[arg-type]

    def converge(
        self,
        u: Floats,
        pressure: float,
        moved: float,
        state: UnevenState,
        aim: Aim,
        newton: Newton,
    ) -> Converged:
        """path.iterate."""
        return iterate(self, u, pressure, moved, state, aim, newton)

    def accept(
        self, u: Floats, pressure: float, found: Evaluation, state: UnevenState
    ) -> UnevenState:
        """The state after a converged step; layers move with their thickness strain."""
        layers, stress, director = found.trial  # type: ignore[misc]
        even = self.even
        y, face = np.empty_like(self.y0), np.empty_like(self.gauge)
        factor = np.empty_like(self.y0)
        for j in range(len(self.gauge)):
            y[j], face[j] = thicken(
                even.material,
                even.through._replace(gauge=self.gauge[j])[:],
                layers[j],
                stress[j],
                even.side,
            )
            factor[j] = raised(
                even.material,
                self.own_factor[j],
                even.layer_prior,
                layers[j],
                even.first_layer,
                even.means[:],
            )
        x = u.reshape(self.reference.shape)
        return UnevenState(x, pressure, found.volume, layers, stress, y, face, factor, director)


def uneven_shell(
    even: Shell,
    around: Round,
    moved: Floats | None = None,
    gauge: Floats | None = None,
    strength: Floats | None = None,
) -> UnevenShell:
    """An uneven shell from an even one.

    moved : (n_nodes, 5, H) harmonics of the stress-free displacement and turn of its nodes, mm
    and radians; those of held unknowns are kept, they are part of the shape.
    gauge, strength : (M, n_points) factors on gauge and yield strength.
    """
    shape = (len(even.s), UNKNOWNS, around.count)
    moved = np.zeros(shape) if moved is None else moved
    base = np.zeros(shape)
    base[:, 0, 0], base[:, 1, 0], base[:, 2, 0] = even.reference.T
    x = base + moved
    values, odd = (np.ascontiguousarray(table) for table in around.basis(around.angles))
    stations, n_points = len(around.angles), even.gauge.size
    factor = np.ones((stations, n_points)) if gauge is None else gauge
    point = np.repeat(np.arange(n_points), np.diff(even.first_layer))
    director = np.empty((stations, n_points, DIRECTOR))
    measures = np.empty((stations, n_points, MEASURES))
    # the shape's turn is counted from the even shell's directors
    position = x.copy()
    position[:, 2], position[:, 4] = moved[:, 2], moved[:, 4]
    reference(
        position, turn_of(base), values, odd, even.shapes, even.slopes,
        _even_directors(even), director, measures,
    )  # fmt: skip
    y0 = even.y0 * factor[:, point]
    at = measures[:, point]
    metric = np.stack(
        [at[:, :, k] + y0 * (at[:, :, 3 + k] + y0 * at[:, :, 6 + k]) for k in range(3)]
    )
    along = np.sqrt(metric[0])
    skew = metric[2] / along
    across = np.sqrt(metric[1] - skew * skew)
    inverse = np.stack((1.0 / along, 1.0 / across, -skew / (along * across)), axis=1)
    old_lengths = 1.0 / (even.per_length[0] * even.per_length[1])
    weight = even.layer_weight / old_lengths * factor[:, point] * along * across
    m11, m22, m12 = (measures[:, :, k] for k in range(3))
    lean = m12 / m11
    per = 1.0 / np.sqrt(m22 - m12 * lean)
    g1, g2 = measures[:, :, 9], measures[:, :, 10]
    shear = np.stack((g1, (g2 - lean * g1) * per, lean, per), axis=2)
    own = np.broadcast_to(even.layer_factor, y0.shape).copy()
    if strength is not None:
        own *= strength[:, point]
    body = UnevenBody(
        even.shapes,
        even.slopes,
        even.weights,
        even.full_shapes,
        even.full_slopes,
        even.full_weights,
        even.first_layer,
        even.material,
        values,
        odd,
        1.0 / stations,
        np.ascontiguousarray(inverse),
        np.ascontiguousarray(weight),
        np.ascontiguousarray(shear),
        _fixed(even, around),
    )
    return UnevenShell(even, around, x, body, director, even.gauge * factor, y0, own)


def _even_directors(even: Shell) -> Floats:
    """(n_points, DIRECTOR) of an even shell: itself, and along meridian and hoop."""
    nodes = even.reference[2 * np.arange(len(even.slopes))[:, None] + np.arange(3), 2]
    phi = np.einsum("qi,ei->eq", even.shapes, nodes).ravel()
    bend = np.einsum("eqi,ei->eq", even.slopes, nodes).ravel()
    sin, cos, none = np.sin(phi), np.cos(phi), np.zeros_like(phi)
    return np.stack((-sin, none, cos, -bend * cos, none, -bend * sin, none, -sin, none), axis=1)


def _fixed(even: Shell, around: Round) -> Ints:
    """Numbers of the unknowns that stay put: those of the waves', harmonic by harmonic."""
    out = np.zeros((len(even.s), UNKNOWNS, around.count), dtype=bool)
    for h, n in enumerate(around.waves.astype(int).tolist()):
        flags = np.zeros(len(even.s) * UNKNOWNS, dtype=bool)
        flags[held(even, n)] = True
        out[:, :, h] = flags.reshape(-1, UNKNOWNS)
    if not around.half:
        # a twist that is the same all round is held where the edge is, and on the axis
        r, _, phi = even.free.reshape(-1, 3).T
        out[:, 3, 0], out[:, 4, 0] = ~r, ~(r & phi)
    return np.flatnonzero(out.ravel())
