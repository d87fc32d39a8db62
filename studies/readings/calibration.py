"""Own reversal tests shift and scale the model's level; few tests move it little.

A normal prior says how well the model is known without tests; tests and prior are weighed by their
variances (any text on Bayesian regression).  A contradiction between tests and model is reported
as such.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.tails import chi2_above, normal_above, student_limit

# how well the level of the model, and its slope on depth, are known without tests: judgement,
# standard deviations as shares
LEVEL_KNOWN, SLOPE_KNOWN = 0.05, 0.25
_TEST_ERROR = 0.01  # of a test rig, share of the pressure; common practice, no source
_CONTRADICTS = 0.01  # chance below which tests contradict


@dataclass(frozen=True)
class Calibration:
    """pressure = level x model at `centre`, and changes from there scaled by `scale`.

    tests : their number.  centre : mean model pressure of the tested cans, MPa; 0 without tests.
    level, level_sd : of measured over modelled pressure, with standard deviation.
    scale, scale_sd : of the slope on depth.  scatter : of tests about the line, share.
    contradictions : sentences on where tests and model contradict each other.
    """

    tests: int
    centre: float
    level: float
    level_sd: float
    scale: float
    scale_sd: float
    scatter: float
    contradictions: tuple[str, ...] = ()

    def applied(self, model: float) -> tuple[float, float]:
        """Pressure and standard deviation of its level for a model pressure, MPa."""
        away = model - self.centre if self.tests else 0.0
        ground = self.centre if self.tests else model
        return (self.level * ground + self.scale * away,
                math.hypot(self.level_sd * ground, self.scale_sd * away))  # fmt: skip

    def undone(self, pressure: float) -> float:
        """The model pressure that corresponds to a real one, MPa."""
        if not self.tests:
            return pressure / self.level
        return self.centre + (pressure - self.level * self.centre) / self.scale


NO_TESTS = Calibration(0, 0.0, 1.0, LEVEL_KNOWN, 1.0, SLOPE_KNOWN, 0.0)


def calibrate(model: Floats, measured: Floats, sheet: float) -> Calibration:
    """Calibration by own reversal tests.

    model : (n,) pressures by the model at the depths of the cans tested, MPa.  measured : (n,).
    sheet : scatter of the pressure of cans of one depth by their sheet, share.
    """
    n = model.size
    if n == 0:
        return NO_TESTS
    centre = float(model.mean())
    y, x = measured / centre, model / centre - 1.0
    known = math.hypot(sheet, _TEST_ERROR)
    said: list[str] = []

    free = 2 if n >= 4 and np.ptp(x) > 1e-9 else 1
    slope = float(x @ (y - y.mean()) / (x @ x)) if free == 2 else 1.0
    left = y - y.mean() - slope * x
    scatter = known
    if n > free:
        found = math.sqrt(float(left @ left) / (n - free))
        chance = float(chi2_above((n - free) * found**2 / known**2, n - free))
        if chance < _CONTRADICTS:
            scatter = found
            said.append(
                f"The tests scatter by {100 * found:.1f} % about the model's line, where sheet and "
                f"rig explain {100 * known:.1f} %: something else differs between these cans."
            )
        else:
            # the more tests, the more their own scatter counts
            scatter = math.sqrt((n * found**2 + 4.0 * known**2) / (n + 4.0))

    level = float(y.mean())
    apart = (level - 1.0) / math.hypot(LEVEL_KNOWN, scatter / math.sqrt(n))
    if 2.0 * normal_above(abs(apart)) < _CONTRADICTS:
        side = "above" if level > 1.0 else "below"
        said.append(
            f"The tests lie {100 * abs(level - 1.0):.1f} % {side} the model, more than the model's "
            f"level is thought to be uncertain by ({100 * LEVEL_KNOWN:.0f} %): check the profile, "
            "the sheet's data and the test before relying on either."
        )
    if free == 2:
        error = scatter / math.sqrt(float(x @ x))
        z = (slope - 1.0) / math.hypot(error, SLOPE_KNOWN)
        if 2.0 * normal_above(abs(z)) < _CONTRADICTS:
            said.append(
                f"The tests change with depth {slope:.2f} times as fast as the model, beyond what "
                "its uncertainty allows: depth may not be what differs between these cans."
            )
    square = scatter**2
    new_level, level_sd = _weighed(level, square / n, LEVEL_KNOWN**2)
    new_scale, scale_sd = (
        _weighed(slope, square / float(x @ x), SLOPE_KNOWN**2) if free == 2 else (1.0, SLOPE_KNOWN)
    )
    # the scatter is itself uncertain: Student's t for few tests
    if n > free:
        level_sd *= min(float(student_limit(0.025, n - free + 4)) / 1.96, 2.0)
    return Calibration(n, centre, new_level, min(level_sd, LEVEL_KNOWN), new_scale,
                       min(scale_sd, SLOPE_KNOWN), scatter, tuple(said))  # fmt: skip


def _weighed(found: float, variance: float, prior: float) -> tuple[float, float]:
    """Mean and standard deviation of a value found and a prior about 1."""
    weight = prior / (prior + variance)
    return 1.0 + weight * (found - 1.0), math.sqrt(prior * (1.0 - weight))
