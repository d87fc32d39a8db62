"""From own tests to a calibration: the model is asked for the bottom of each test."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.errors import SolveError
from domemargin.profiles.errors import brief
from domemargin.studies.verdict.calibration import Calibration, calibration_of
from domemargin.studies.verdict.own_tests import OwnTests


def calibrated(read: OwnTests, solve: Callable[..., Any] = reversal) -> Calibration:
    """The calibration of tests.  Raises SolveError where a tested bottom has no answer."""
    known: dict[int, float] = {}
    for test in read.tests:
        if id(test.profile) in known:
            continue
        record = solve(test.profile, growth_at=())
        if record.reversal_pressure_mpa is None:
            raise SolveError(
                f"line {test.line}: no reversal pressure was found for {brief(test.profile.name)}: "
                f"{record.reason or record.kind}"
            )
        known[id(test.profile)] = float(record.reversal_pressure_mpa)
    return calibration_of(read.tests, [known[id(test.profile)] for test in read.tests])
