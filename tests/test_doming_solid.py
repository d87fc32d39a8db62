"""The shell's doming judged by the axisymmetric solid with contact (code to code)."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import pytest
from doming_judge import Outcome, by_shell, by_solid
from evidence_rows import CODE, FORMING, About

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
