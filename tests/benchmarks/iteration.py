"""One Newton iteration of the shell taken apart."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from domemargin.fea.bottom.reversal import plan_of
from domemargin.fea.core import path as paths
from domemargin.fea.core import ramp as ramping
from domemargin.fea.metal.layers import layer_stresses
from domemargin.fea.metal.materials import NU, P1, P3, E
from domemargin.fea.shell.shell import Shell


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
    states = ramping.ramp(shell, shell.start(), plan_of(profile, shell, step, 4.0)).states
    return states[len(states) // 2 - 1], states[len(states) // 2]


def iteration(shell: Shell, before: Any, state: Any) -> dict[str, float]:
    """Seconds of the parts of one Newton iteration at a step from `before` to `state`."""
    u = state.x.ravel()
    found = shell.evaluate(u, state.pressure, before)

    def linear() -> None:
        paths.bordered(found.band.copy(), found.residual, found.gradient, 1.0, 0.5, 0.5)

    modulus, nu = shell.material[E], shell.material[NU]
    layers, stress = state.layers, state.stress
    elastic = np.stack(
        (
            (stress[0] - nu * stress[1]) / modulus,
            (stress[1] - nu * stress[0]) / modulus,
            2.0 * (1.0 + nu) * stress[2] / modulus,
        )
    )
    strain = elastic + layers[P1 : P3 + 1]
    out = np.empty_like(layers), np.empty_like(stress), np.empty((6, stress.shape[1]))

    def metal() -> None:
        layer_stresses(shell.material, before.factor, strain, before.layers, *out)

    return {
        "metal": best(metal),
        "evaluate": best(lambda: shell.evaluate(u, state.pressure, before)),
        "linear": best(linear),
        "yielding": float(np.mean(state.layers[0] > before.layers[0])),
    }
