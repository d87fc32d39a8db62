"""No locking of the shell's element in thinness, and its order of convergence.

Source: closed form of a long elastic tube under an end force, with shear and thickness taken
exactly (tube_theory.py, computed independently).  With a fixed number of elements per sqrt(R t)
the problem is the same for every gauge but for small terms, so the error may not depend on R/t.
An element that locks is too stiff by a factor that grows like (element length / t)^2.

Double curvature: a hemisphere clamped at its rim, against the shell's own answer with four times
as many elements.

Measured, largest error of displacement and of turn over the largest value: 4 elements per
sqrt(R t) 0.008 and 0.011 %, the same within 5 % of itself from R/t 10 to 2000; order 3.9
(superconvergent: nodes of a three-node element with two integration points).  Hemisphere 0.008 to
0.015 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, CONVERGENCE, About
from shells import bowl, linear, revolve
from tube_theory import Tube

from domemargin.profiles.material import Material

ABOUT = About(
    CONVERGENCE,
    "closed form of a long elastic tube under an end force, with shear and thickness taken exactly",
    COMPUTED,
)

THINNESS = [10.0, 30.0, 100.0, 300.0, 1000.0, 2000.0]
E, NU = 70_000.0, 0.3


def tube_errors(ratio: float, per_decay: float) -> np.ndarray:
    """Largest error of outward displacement and of turn, relative."""
    tube = Tube(ratio, 1.0)
    shell = tube.shell(per_decay, start="z")
    load = np.zeros(shell.n)
    load[0] = tube.radius
    found, _ = linear(shell, load)
    exact = tube.solve(shell.s, 0.0, Q=1.0)
    return np.array(
        [np.abs(found[:, i] - e).max() / np.abs(e).max() for i, e in ((0, exact[0]), (2, exact[1]))]
    )


def hemisphere(ratio: float, per_decay: float, split: int = 1) -> np.ndarray:
    """Displacements of a clamped hemisphere under 1 MPa, at the nodes of the mesh of split 1.

    The last 10 sqrt(R t), or 0.8 of the length, have per_decay elements per sqrt(R t); further in
    a sphere under pressure is a membrane, and elements are four times as long.
    split : each element is cut into so many.
    """
    length = 0.5 * np.pi * ratio
    edge = min(10.0 * np.sqrt(ratio), 0.8 * length)
    fine = round(per_decay * edge / np.sqrt(ratio))
    coarse = max(2, round(per_decay * (length - edge) / (4.0 * np.sqrt(ratio))))
    cuts = np.concatenate((np.linspace(0.0, 1.0, coarse + 1)[:-1], np.linspace(1.0, 2.0, fine + 1)))
    number = np.arange(cuts.size)
    cuts = np.interp(np.linspace(0, cuts.size - 1, split * (cuts.size - 1) + 1), number, cuts)
    ends = np.interp(cuts, [0.0, 1.0, 2.0], [0.0, length - edge, length])
    shell = revolve(bowl(ratio), Material(E, NU), 1.0, ends)
    return linear(shell)[0][::split]


def hemisphere_error(ratio: float, per_decay: float) -> float:
    coarse, fine = hemisphere(ratio, per_decay), hemisphere(ratio, per_decay, split=4)
    return float(np.abs(coarse - fine)[:, :2].max() / np.abs(fine[:, :2]).max())


def test_tube_error_does_not_depend_on_thinness(evidence) -> None:
    errors = np.array([tube_errors(ratio, 4.0) for ratio in THINNESS])
    evidence(
        "shell, tube of R/t 10 to 2000, 4 elements per sqrt(R t): largest error",
        computed=float(errors.max()), most=2e-4,
    )  # fmt: skip
    for name, spread in zip(("travel", "turn"), errors.max(axis=0) / errors.min(axis=0)):
        evidence(
            f"shell, tube of R/t 10 to 2000: largest over least error of {name}",
            expected=1.0, computed=float(spread), abs=0.1,
        )  # fmt: skip


def test_coarse_tube_is_not_stiff(evidence) -> None:
    """One element per sqrt(R t), a tenth of a wave: still within 2 % at any thinness."""
    evidence(
        "shell, tube of R/t 10 to 2000, 1 element per sqrt(R t): largest error",
        computed=float(max(tube_errors(ratio, 1.0).max() for ratio in THINNESS)), most=0.02,
    )  # fmt: skip


def test_hemisphere_error_does_not_grow_with_thinness() -> None:
    errors = np.array([hemisphere_error(ratio, 4.0) for ratio in THINNESS])
    assert errors.max() < 3e-4
    assert errors[-1] < 2.0 * errors[2]


@pytest.mark.parametrize("ratio", [20.0, 200.0])
def test_order_of_convergence(evidence, ratio: float) -> None:
    counts = np.array([2.0, 4.0, 8.0, 16.0])
    errors = np.array([tube_errors(ratio, count) for count in counts])
    for name, column in zip(("travel", "turn"), errors.T):
        evidence(
            f"shell, tube of R/t {ratio:g}: order of the error of {name}",
            computed=float(-np.polyfit(np.log(counts), np.log(column), 1)[0]), least=3.5,
        )  # fmt: skip
    assert errors[-1].max() < 1e-6
