"""What is read off the states of a shell: travel, growth, first yield, plastic zones."""

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
from domemargin.fea.metal.materials import ELASTIC, EP, LAW, P1, P2, yield_ratio
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.waves.waves import WaveTangent, wave_tangent
from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.meridian import Meridian


@dataclass(frozen=True)
class ShellView:
    """A shell with the meridian it was made from."""

    system: Shell
    meridian: Meridian

    @property
    def elastic(self) -> bool:
        """Whether no metal can yield."""
        return bool(self.system.material[LAW] == ELASTIC)

    def start(self) -> ShellState:
        """The unloaded state."""
        return self.system.start()

    def outline(self, state: ShellState) -> Outline:
        """The meridian of a state."""
        r, z, angle = state.x.T
        return Outline(state.pressure, r.copy(), z.copy(), angle.copy())

    def heights(self, states: Sequence[ShellState]) -> Floats:
        """Of the dome centre on the mid-surface and of the stand ring on the outside, mm."""
        shell = self.system
        half = np.interp(shell.s, shell.point_s, 0.5 * shell.gauge)
        x = np.stack([state.x for state in states])
        outside = x[:, :, 1] - half * np.cos(x[:, :, 2])
        return np.stack((x[:, 0, 1], lowest(shell.s, outside)), axis=1)

    def first_yield(self, states: Sequence[ShellState], plan: Plan) -> FirstYield | None:
        """The pressure at which a face first reaches its yield stress; None if none does."""
        shell = self.system
        first, last = shell.first_layer[:-1], shell.first_layer[1:] - 1
        outermost = np.stack((first, first + 1, last - 1, last), axis=1)
        xi = shell.y0[outermost] / (0.5 * shell.gauge[:, None])

        def faces(state: ShellState) -> Floats:
            return carried_to_faces(self._ratios(state)[outermost], xi)

        found = carried_to_yield(shell, plan, states, lambda state: state.layers[EP], faces)
        if found is None:
            return None
        point, side = divmod(found[1], 2)
        return FirstYield(found[0], self._place(int(last[point] if side else first[point])))

    def onset(self, state: ShellState) -> Onset:
        """Plastic strain, thinning and fully plastic stretches of a state."""
        shell = self.system
        layers_of, first, weight = np.add.reduceat, shell.first_layer[:-1], shell.layer_weight
        plastic = weight * (self._ratios(state) >= AT_YIELD)
        share = layers_of(plastic, first) / layers_of(weight, first)
        peak = int(np.argmax(state.layers[EP]))
        # plastic flow keeps the volume; the gauge is the mean over layers
        thickness_strain = -(state.layers[P1] + state.layers[P2])
        mean = layers_of(weight * thickness_strain, first) / layers_of(weight, first)
        return Onset(
            state.pressure,
            float(state.layers[EP, peak]),
            self._place(peak),
            float(max(0.0, 1.0 - np.exp(mean.min()))),
            zones(self.meridian, shell.point_s, share >= FULLY_PLASTIC),
        )

    def mesh(self, step: float) -> MeshFigures:
        """What is solved, and the step of its path."""
        shell = self.system
        layers = int(np.diff(shell.first_layer).max())
        return MeshFigures("shell", len(shell.s) // 2, shell.n, layers, step)

    def wave_tangent(self, before: ShellState, state: ShellState, theory: str) -> WaveTangent:
        """The tangent for any number of waves at a state one step from `before`."""
        return wave_tangent(self.system, before, state, theory)

    def wave_shape(self, mode: Floats) -> tuple[Floats, Floats, Floats]:
        """Radial, axial and hoop displacement of a mode of that tangent at the outline's nodes."""
        radial, axial, _, hoop, _ = mode.T
        return radial, axial, hoop

    def _ratios(self, state: ShellState) -> Floats:
        shell = self.system
        return yield_ratio(shell.material, state.factor, state.layers, state.stress)

    def _place(self, layer: int) -> Place:
        shell = self.system
        point = int(np.searchsorted(shell.first_layer, layer, side="right")) - 1
        s = float(shell.point_s[point])
        at = self.meridian.at(s)
        face = "inside" if shell.y0[layer] > 0.0 else "outside"
        return Place(part_at(self.meridian, s), s, float(at.r), float(at.z), face)
