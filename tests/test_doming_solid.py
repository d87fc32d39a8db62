"""The shell's doming judged by the axisymmetric solid with contact (code to code)."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import pytest
from doming_judge import Outcome, by_shell, by_solid, station
from evidence_rows import CODE, FORMING, About

from domemargin.fea.stroke.end import SHELL_FORCE

ABOUT = About(FORMING, "axisymmetric solid between the same tools", CODE)


@lru_cache(maxsize=2)
def shell() -> Outcome:
    return by_shell()


def check(evidence: Callable[..., None], solid: Outcome, mesh: str) -> None:
    # depth within 0.02 mm is asked for
    for name, ours, theirs in (
        ("depth at rest", shell().rest, solid.rest),
        ("springback", shell().loaded - shell().rest, solid.loaded - solid.rest),
    ):
        evidence(f"doming, {name}, solid {mesh}", computed=ours, expected=theirs, abs=0.02,
                 unit="mm")  # fmt: skip
    evidence(f"doming, peak force, solid {mesh}", computed=shell().peak, expected=solid.peak,
             rel=0.02, unit="N")  # fmt: skip
    evidence(f"doming, thinning at the pole, solid {mesh}", computed=shell().pole,
             expected=solid.pole, abs=0.003)  # fmt: skip


def test_depth_and_springback_against_the_solid(evidence) -> None:
    check(evidence, by_solid(), "2 through the gauge")


@pytest.mark.slow
def test_depth_springback_and_thinning_against_a_finer_solid(evidence) -> None:
    """Measured at the inner leg, over 1 mm: shell 6.1 %, solid 7.3 % (2 elements through the
    gauge), 6.5 % (4) and 6.6 % (6): the shell reads 0.4 to 0.5 points less."""
    finer = by_solid(4, 1.5)
    check(evidence, finer, "4 through the gauge")
    evidence("doming, thinning at the inner leg over 1 mm, solid 4 through the gauge",
             computed=shell().leg, expected=finer.leg, abs=0.005)  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("number", range(20))
def test_depth_of_other_toolings_against_the_solid(evidence, number: int) -> None:
    """At the same rise, as set or flange would end the stroke.  Force is compared, not asked to
    agree: measured 0.7 to 1.7 % more on the shell, which fea/stroke/end.py takes into account."""
    from scipy.stats import qmc

    u = [float(value) for value in qmc.Sobol(7, seed=11).random(32)[number]]
    tooling = station().replaced(
        friction=0.05 + 0.05 * u[0],
        die__flange_height=9.5 + 3.0 * u[1],
        blank__gauge=0.255 + 0.02 * u[2],
        die__edge_radius=1.3 + 0.6 * u[3],
        punch__nose_radius=1.3 + 0.15 * u[4],
        clamp__force=1500.0 + 4000.0 * u[5],
    )
    rise = tooling.die.flange_height - 0.1 - 2.5 * u[6] ** 2
    ours, theirs = by_shell(1.0, tooling, rise), by_solid(6, 2.0, tooling, rise)
    evidence(f"doming, tooling {number}, depth at rest, solid 6 through the gauge",
             computed=ours.rest, expected=theirs.rest, abs=0.01, unit="mm")  # fmt: skip
    assert 0.0 < ours.peak / theirs.peak - 1.0 < SHELL_FORCE + 0.003
