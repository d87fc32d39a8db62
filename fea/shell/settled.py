"""An elastic shell whose layers follow their thickness strain at once.

A shell's layers move one step late, which makes an elastic path depend on its steps by 1e-4: no
metal's history excuses that.  Here each evaluation moves them until they are where the strain of
that very state puts them, so that a state is an equilibrium by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from domemargin.fea.core.path import Aim, Converged, Newton, iterate
from domemargin.fea.shell.shell import Evaluation, Shell, ShellState
from domemargin.profiles.arrays import Floats

PASSES = 2  # each brings them nearer by the elastic strain, a few thousandths


@dataclass(frozen=True)
class Settled:
    """A `path.System` of an elastic shell."""

    shell: Shell

    def evaluate(self, u: Floats, pressure: float, state: ShellState) -> Evaluation:
        """As in Shell; the tangent leaves out that the layers follow."""
        found = self.shell.evaluate(u, pressure, state)
        for _ in range(PASSES):
            moved = self.shell.accept(u, pressure, found, state)
            state = replace(state, y=moved.y, face=moved.face)
            found = self.shell.evaluate(u, pressure, state)
        return found

    def converge(
        self, u: Floats, pressure: float, moved: float, state: ShellState, aim: Aim, newton: Newton
    ) -> Converged:
        """As in path.iterate."""
        return iterate(self, u, pressure, moved, state, aim, newton)

    def accept(
        self, u: Floats, pressure: float, found: Evaluation, state: ShellState
    ) -> ShellState:
        """The state after a converged step."""
        return self.shell.accept(u, pressure, found, state)
