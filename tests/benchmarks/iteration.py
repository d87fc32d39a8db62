"""One Newton iteration of the shell taken apart."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

import fea.path
import fea.ramp
from fea.compiled import kernel
from fea.materials import NU, P1, P2, P3, E, layer_stress
from fea.reversal import plan_of
from fea.shell import Shell


@kernel
def _metal(material: Any, factor: Any, strain: Any, old: Any, new: Any) -> float:
    """The constitutive update of all layers, and nothing else."""
    total = 0.0
    for i in range(factor.size):
        found = layer_stress(
            material, factor[i], strain[i, 0], strain[i, 1], strain[i, 2], old[i], new[i]
        )
        total += found[0] + found[3] + found[8]
    return total


def best(call: Callable[[], Any], repeat: int = 200) -> float:
    """Seconds of the quickest call: what it costs where nothing else interferes."""
    call()
    times = []
    for _ in range(repeat):
        started = time.perf_counter()
        call()
        times.append(time.perf_counter() - started)
    return min(times)


def halfway(shell: Shell, profile: Any, step: float) -> tuple[Any, Any]:
    """Two states in a row in the middle of the path, where as many layers yield as on average."""
    states = fea.ramp.ramp(shell, shell.start(), plan_of(profile, shell, step, 4.0)).states
    return states[len(states) // 2 - 1], states[len(states) // 2]


def iteration(shell: Shell, before: Any, state: Any) -> dict[str, float]:
    """Seconds of the parts of one Newton iteration at a step from `before` to `state`."""
    u = state.x.ravel()
    found = shell.evaluate(u, state.pressure, before)

    def linear() -> None:
        fea.path.bordered(found.band.copy(), found.residual, found.gradient, 1.0, 0.5, 0.5)

    modulus, nu = shell.material[E], shell.material[NU]
    layers, stress = state.layers, state.stress
    elastic = np.stack(
        (
            (stress[:, 0] - nu * stress[:, 1]) / modulus,
            (stress[:, 1] - nu * stress[:, 0]) / modulus,
            2.0 * (1.0 + nu) * stress[:, 2] / modulus,
        ),
        axis=1,
    )
    strain = elastic + layers[:, (P1, P2, P3)]
    new = np.empty_like(layers)

    def metal() -> None:
        _metal(shell.material, shell.layer_factor, strain, before.layers, new)

    return {
        "metal": best(metal),
        "evaluate": best(lambda: shell.evaluate(u, state.pressure, before)),
        "linear": best(linear),
        "yielding": float(np.mean(state.layers[:, 0] > before.layers[:, 0])),
    }
