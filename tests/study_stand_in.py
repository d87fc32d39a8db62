"""Quick stand-ins for the solver, where a test is not about the physics."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import dataclass
from typing import Any

from domemargin.fea.core.settings import Settings
from domemargin.profiles import Profile
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.studies.study.cases import Result, Solver

PSI = 0.006894757293168361


@dataclass(frozen=True)
class Answer:
    """The part of a record that studies need."""

    kind: str
    reason: str
    reversal_pressure_mpa: float | None
    growth: tuple[Any, ...] = ()


def psi_of(profile: Profile) -> float:
    """A made-up straight response, psi: 90 at the north bottom."""
    shape, sheet, metal = profile.shape, profile.sheet, profile.material
    return (
        90.0
        + 8.0 * (shape.dome_depth - 10.4)
        + 500.0 * (sheet.bottom_gauge - 0.265)
        + 0.2 * ((metal.yield_strength or 0.0) - 255.0)
        + 1.0 * (shape.dome_radii[0] - 47.0)
    )


def straight(profile: Profile, settings: Settings) -> Answer:
    return Answer("limit", "", psi_of(profile) * PSI)


def slow(profile: Profile, settings: Settings) -> Answer:
    time.sleep(0.02)
    return straight(profile, settings)


def moody(profile: Profile, settings: Settings) -> Answer:
    """Every ending a case can have, by the gauge in micrometres."""
    gauge = round(1000.0 * profile.sheet.bottom_gauge)
    if gauge == 261:
        return Answer("not_converged", "the step became too short", None)
    if gauge == 262:
        return Answer("none_below_ceiling", "", None)
    if gauge == 263:
        raise ZeroDivisionError("a slip in the program")
    if gauge == 264:
        raise MemoryError("no room")
    return straight(profile, settings)


def deadly(profile: Profile, settings: Settings) -> Answer:
    """One case kills its worker, every time."""
    if round(1000.0 * profile.sheet.bottom_gauge) == 263:
        time.sleep(0.5)
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.005)
    return straight(profile, settings)


def stuck(profile: Profile, settings: Settings) -> Answer:
    """One case never ends."""
    if round(1000.0 * profile.sheet.bottom_gauge) == 263:
        time.sleep(3600.0)
    return straight(profile, settings)


STRAIGHT = Solver(straight, "stand-in 1")
SLOW = Solver(slow, "stand-in 1")
MOODY = Solver(moody, "stand-in 1")
DEADLY = Solver(deadly, "stand-in 1")
STUCK = Solver(stuck, "stand-in 1")


def form(tooling: Tooling) -> dict[str, Any]:
    """A made-up depth; the first twentieth of the range of set, 0 to 1 mm, kills its worker."""
    if tooling.set < 0.05:
        os.kill(os.getpid(), signal.SIGKILL)
    return {"kind": "formed", "reason": "", "depth_mm": 10.0 + tooling.set}


def result(**values: Any) -> Result:
    """A result as a worker sends it."""
    return Result(**{"seconds": 0.1, **values})
