"""The axisymmetric solid between rigid tools, to check the shell's doming.

The tools, the penalty and the friction are those of contact_kernel.py, here on the edges of the
solid's faces, so that no assumption is made on how strain varies through the gauge.  Steps are
step.step and advance.advance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.contact.contact import Penalty, Tool, at_trial
from domemargin.fea.contact.given import Rigid, SolidFace, Touched
from domemargin.fea.contact.kernel import HISTORY, SEGMENT, point_contact
from domemargin.fea.shell.given import Fields
from domemargin.fea.solid.solid import Solid, SolidState
from domemargin.fea.stroke.step import TWO_PI, Trial
from domemargin.profiles.arrays import Bools, Floats, Ints

# two points of each three-node edge, as on the shell
_PLACE = 0.5 + np.array([-0.5, 0.5]) / math.sqrt(3.0)
SHAPES = np.stack(
    (
        (1.0 - _PLACE) * (1.0 - 2.0 * _PLACE),
        4.0 * _PLACE * (1.0 - _PLACE),
        _PLACE * (2.0 * _PLACE - 1.0),
    ),
    axis=1,
)
SLOPES = np.stack((4.0 * _PLACE - 3.0, 4.0 - 8.0 * _PLACE, 4.0 * _PLACE - 1.0), axis=1)


@kernel
def add_edge_contact(metal: Fields, rigid: Fields, out: Fields) -> tuple[float, float]:
    """Add one tool's forces on edges to residual and band; see contact/kernel.add_contact.

    metal : of SolidFace.  rigid : of Rigid.  out : of Touched.
    Returns axial force and its derivative by place, N per radian.
    """
    x, before, edges, shapes, area, free = SolidFace(*metal)
    segments, place, moved, law = Rigid(*rigid)
    old, new, residual, band, coupling = Touched(*out)
    coupling[:] = 0.0
    force = slope = 0.0
    width = band.shape[1] - 1
    for e in range(edges.shape[0]):
        for q in range(area.shape[1]):
            point = e * area.shape[1] + q
            r = z = r0 = z0 = 0.0
            for i in range(3):
                node = edges[e, i]
                r += shapes[q, i] * x[node, 0]
                z += shapes[q, i] * x[node, 1]
                r0 += shapes[q, i] * before[node, 0]
                z0 += shapes[q, i] * before[node, 1]
            fr, fz, krr, krz, kzz, _, _ = point_contact(
                point, segments, law, r, z - place, r - r0, z - z0 - moved, 0.0, old, new
            )
            if new[point, SEGMENT] < 0.0:
                continue
            w = area[e, q]
            force += w * fz
            slope += w * kzz
            for i in range(3):
                Ni, a = shapes[q, i], 2 * edges[e, i]
                if free[a]:
                    residual[a] -= w * Ni * fr
                    coupling[a] -= w * Ni * krz
                if free[a + 1]:
                    residual[a + 1] -= w * Ni * fz
                    coupling[a + 1] -= w * Ni * kzz
                for j in range(3):
                    NN, b = w * Ni * shapes[q, j], 2 * edges[e, j]
                    if a > b or i == j:
                        if free[a] and free[b]:
                            band[a, b - a + width] += NN * krr
                        if free[a + 1] and free[b]:
                            band[a + 1, b - a - 1 + width] += NN * krz
                        if free[a + 1] and free[b + 1]:
                            band[a + 1, b - a + width] += NN * kzz
                    if a > b and free[a] and free[b + 1]:
                        band[a, b + 1 - a + width] += NN * krz
    return force, slope


@dataclass(frozen=True)
class SolidForming:
    """An equilibrium between tools; see step.FormingState.

    shell : the metal's state (the name it has there).  history : one array a tool.
    """

    shell: SolidState
    places: Floats
    forces: Floats
    history: tuple[Floats, ...]
    dead: Floats


@dataclass(frozen=True)
class SolidPress:
    """A solid with inside and outside lines and its tools; see step.Press."""

    body: Solid
    tools: tuple[Tool, ...]
    penalty: Penalty
    force_scale: float
    held: int = -1
    active: tuple[bool, ...] = ()
    tolerance: float = 1e-6
    update: float = 2e-3
    cap: float = 0.3
    near: float = 1.0
    iterations: int = 25
    searches: int = 4
    sharpness: float = 0.7
    follow: bool = True

    @property
    def free(self) -> Bools:
        """(n,) which unknowns move."""
        return self.body.free

    @cached_property
    def faces(self) -> tuple[tuple[Ints, Floats], ...]:
        """Edges (m, 3) and undeformed areas (m, 2) of the face that meets each tool."""
        out = []
        for tool in self.tools:
            nodes = self.body.lines[tool.touches]
            edges = np.stack((nodes[:-1:2], nodes[1::2], nodes[2::2]), axis=1)
            x = self.body.reference[edges]
            tangent = np.einsum("qi,eik->eqk", SLOPES, x)
            r = np.einsum("qi,ei->eq", SHAPES, x[:, :, 0])
            area = 0.5 * np.hypot(tangent[..., 0], tangent[..., 1]) * r
            out.append((np.ascontiguousarray(edges), np.ascontiguousarray(area)))
        return tuple(out)

    def resting(self, places: Sequence[float]) -> SolidForming:
        """The unstressed solid with tools that have not touched yet."""
        history = []
        for _, area in self.faces:
            kept = np.zeros((area.size, HISTORY))
            kept[:, SEGMENT] = -1.0
            history.append(kept)
        return SolidForming(
            self.body.start(),
            np.asarray(places, dtype=float),
            np.zeros(len(self.tools)),
            tuple(history),
            np.zeros(self.body.n),
        )

    def evaluate(
        self, u: Floats, places: Floats, start: SolidForming, load: Floats, force: float
    ) -> Trial:
        """Forces and tangent of metal and tools at displacements u (n,), coming from `start`."""
        body = self.body
        found = body.evaluate(u, 0.0, start.shell)
        x = body.reference + u.reshape(-1, 2)
        before = body.reference + start.shell.x
        forces, history = np.zeros(len(self.tools)), []
        coupling, own, slope = np.zeros(body.n), np.zeros(body.n), 0.0
        for i, tool in enumerate(self.tools):
            edges, area = self.faces[i]
            new = np.zeros_like(start.history[i])
            new[:, SEGMENT] = -1.0
            history.append(new)
            if self.active and not self.active[i]:
                continue
            face = SolidFace(x, before, edges, SHAPES, area, body.free)
            rigid = at_trial(tool, self.penalty, places[i], start.places[i], self.follow)
            touched = Touched(start.history[i], new, found.residual, found.band, own)
            forces[i], stiff = add_edge_contact(face[:], rigid[:], touched[:])
            if i == self.held:
                slope, coupling = stiff, own.copy()
        found.residual[:] -= load
        gap = force - forces[self.held] if self.held >= 0 else 0.0
        # a tuple of arrays where the shell has one array
        return Trial(found, places, forces, gap, slope, coupling, 0.0, 0.0, tuple(history))  # type: ignore[arg-type]

    def ahead(self, start: SolidForming, before: SolidForming, share: float) -> SolidForming:
        """The start of a step, unchanged: no quantity lags by a step."""
        return start

    def accepted(self, start: SolidForming, u: Floats, now: Trial, load: Floats) -> SolidForming:
        """The state after a converged step."""
        state = self.body.accept(u, 0.0, now.found, start.shell)  # type: ignore[arg-type]
        return SolidForming(state, now.places, TWO_PI * now.forces, now.history, load)  # type: ignore[arg-type]

    def loosened(self, state: SolidForming) -> SolidForming:
        """The state with dead loads in place of the forces of inactive tools and released holds."""
        none = np.zeros(self.body.n)
        trial = self.evaluate(state.shell.x.ravel(), state.places, state, none, 0.0)
        return replace(state, dead=trial.found.residual.copy())
