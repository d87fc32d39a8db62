"""From depth readings to pressure: margin, share of cans below a requirement, remaining loss."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.fea.errors import SolveError
from domemargin.profiles import Profile
from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import brief
from domemargin.studies.diagnosis.diagnosis import Finding
from domemargin.studies.diagnosis.scatter import KnownScatter
from domemargin.studies.readings.calibration import NO_TESTS, Calibration
from domemargin.studies.tails import normal_above

_POINTS = 5


@dataclass(frozen=True)
class PressureCurve:
    """Reversal pressure (MPa) of a bottom against dome depth (mm), the die set back or forward.

    sheet : standard deviation, as a share, of the pressure of cans of one depth, by gauge and
    yield strength.
    """

    profile: str
    depth: Floats
    pressure: Floats
    sheet: float

    def at(self, depth: float | Floats) -> Floats:
        """Pressure at depths, MPa: a parabola through the solves, beyond them its tangent."""
        x = np.clip(depth, self.depth[0], self.depth[-1])
        fit = np.polynomial.Polynomial.fit(self.depth, self.pressure, 2)
        return np.asarray(fit(x) + fit.deriv()(x) * (np.asarray(depth) - x))

    def slope(self, depth: float) -> float:
        """MPa per mm at a depth."""
        return float(self.at(depth + 0.005) - self.at(depth - 0.005)) / 0.01

    def depth_for(self, pressure: float) -> float | None:
        """The depth that has a pressure; None if none within 2 mm of the solves has."""
        depths = np.linspace(self.depth[0] - 2.0, self.depth[-1] + 2.0, 4001)
        values = self.at(depths)
        if not values.min() <= pressure <= values.max():
            return None
        return float(depths[np.argmin(np.abs(values - pressure))])


def pressure_curve(
    profile: Profile, low: float, high: float, scatter: KnownScatter
) -> PressureCurve:
    """Solve a bottom at depths from low to high (mm).

    Raises InputError where a depth makes no bottom, SolveError where no reversal
    pressure is found.
    """
    from domemargin.fea.bottom.reversal import reversal
    from domemargin.fea.bottom.slopes import inputs_of, of_pressure, slopes
    from domemargin.fea.core.settings import Settings

    middle = 0.5 * (low + high)
    half = max(0.5 * (high - low), 0.15)
    depths = np.linspace(middle - half, middle + half, _POINTS)

    def solve(bottom: Profile) -> float:
        # 0.2 % of pressure would be 0.03 mm of depth
        record = reversal(bottom, growth_at=(), resolution=0.0005)
        if record.reversal_pressure_mpa is None:
            raise SolveError(
                f"no reversal pressure was found for profile {brief(bottom.name)} at a depth of "
                f"{bottom.shape.dome_depth:.3f} mm: {record.reason or record.kind}"
            )
        return record.reversal_pressure_mpa

    pressures = np.array([solve(profile.replaced(dome_depth=float(depth))) for depth in depths])
    base = profile.replaced(dome_depth=float(depths[_POINTS // 2]))
    spread = {"bottom_gauge": scatter.gauge, "yield_strength": scatter.yield_strength}
    known = [one for one in inputs_of(base) if one.name in spread]
    found = slopes(base, Settings(growth_at=(), resolution=0.0005), known)
    ground = pressures[_POINTS // 2]
    parts = [
        (one.slope or 0.0) * one.value / ground * spread[one.name]
        for one in of_pressure(found).values()
    ]
    return PressureCurve(profile.name, depths, pressures, math.hypot(*parts, 0.0))


@dataclass(frozen=True)
class Margin:
    """Pressure of one machine's cans now; MPa and mm.

    pressure, pressure_sd : mean and standard deviation over cans.  level_sd : uncertainty of the
    mean, the uncertainty of the model's level included.
    margin : mean / required - 1.  below, below_low, below_high : share of cans below the
    requirement, with 95 % limits for the number of readings, the level taken as it is.
    short : chance that the level itself lies below the requirement, by its uncertainty.
    loss : depth the machine may still lose until the mean meets the requirement with the margin
    wanted; negative: already lost; None: out of the range solved.
    """

    machine: str
    pressure: float
    pressure_sd: float
    level_sd: float
    margin: float
    below: float
    below_low: float
    below_high: float
    short: float
    loss: float | None


def margin_of(
    finding: Finding, curve: PressureCurve, required: float, reading: float = 0.0,
    wanted: float = 0.0, calibration: Calibration = NO_TESTS,
) -> Margin:  # fmt: skip
    """The margin of a machine at its present level and spread.

    required : MPa.  reading : standard deviation of a gauge that was measured, mm, subtracted from
    the spread; 0 subtracts nothing.  wanted : margin asked for, as a share.  calibration : by own
    tests, or the model's own uncertainty.
    """
    model = float(curve.at(finding.mean))
    pressure, level_sd = calibration.applied(model)
    slope = curve.slope(finding.mean) * calibration.scale
    true = math.sqrt(max(finding.spread**2 - reading**2, 0.0))
    spread = math.hypot(slope * true, curve.sheet * pressure)
    level_sd = math.hypot(level_sd, slope * finding.deviation_se)
    z = (pressure - required) / spread
    freedom = max(finding.readings - 1, 1)
    error = math.hypot(slope * finding.deviation_se / spread, z / math.sqrt(2.0 * freedom))
    short = float(normal_above((pressure - required) / level_sd))
    share, low, high = normal_above([z, z + 1.96 * error, z - 1.96 * error])
    needed = calibration.undone(required * (1.0 + wanted))
    depth = curve.depth_for(needed)
    return Margin(
        finding.machine, pressure, spread, level_sd, pressure / required - 1.0,
        float(share), float(low), float(high), short,
        None if depth is None else finding.mean - depth,
    )  # fmt: skip
