"""A calibration of the model by own reversal tests: made, kept, applied, and where not."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from domemargin.profiles import InputError, Profile
from domemargin.profiles.errors import brief_path
from domemargin.profiles.limits import LIMITS, shown
from domemargin.profiles.units import PSI
from domemargin.studies.readings.calibration import LEVEL_KNOWN, SLOPE_KNOWN

if TYPE_CHECKING:
    from domemargin.studies.verdict.own_tests import Test

KIND = "domemargin calibration 1"
# a bottom belongs to the family of those tested if it lies within their range and so much beyond
ROOM, ROOM_ANGLE = 0.10, math.radians(4.0)
ODD = 0.5  # chance of being of another kind than the rest from which a test is reported
APART = 3.0  # standard deviations of the prior beyond which tests and model contradict
NOISY = 0.03  # noise that sheet and rig do not explain, share


@dataclass(frozen=True)
class Range:
    """What the tested bottoms span of one dimension or value, internal units."""

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Calibration:
    """Level and slope of the model; logarithms, so that shares.

    tests : number, censored ones among them; stopped : those.  centre : mean logarithm of the
    modelled pressure (MPa).  level, level_sd : measured over modelled there.  slope, slope_sd,
    covariance : of measured on modelled.  noise : of single cans.  family : of the tested bottoms.
    metal : its name.  said : outliers and contradictions, in sentences.
    """

    tests: int
    stopped: int
    lots: int
    centre: float
    level: float
    level_sd: float
    slope: float
    slope_sd: float
    covariance: float
    noise: float
    family: tuple[Range, ...]
    metal: str
    said: tuple[str, ...] = ()

    def applied(self, model: float) -> tuple[float, float]:
        """Pressure and its standard uncertainty for a modelled pressure, MPa."""
        x = math.log(model) - self.centre
        found = math.exp(self.centre + self.level + self.slope * x)
        variance = self.level_sd**2 + (x * self.slope_sd) ** 2 + 2.0 * x * self.covariance
        return found, found * math.sqrt(max(variance, 0.0))

    def undone(self, pressure: float) -> float:
        """The modelled pressure that stands for a real one, MPa."""
        x = (math.log(pressure) - self.centre - self.level) / self.slope
        return math.exp(self.centre + x)

    def outside(self, profile: Profile) -> str:
        """Why a bottom is not of the family that was tested; "" if it is."""
        from domemargin.fea.bottom.slopes import inputs_of

        if profile.material.name != self.metal:
            return f"its metal is {profile.material.name}, the tests are of {self.metal}"
        have = {one.name: one for one in inputs_of(profile)}
        for known in self.family:
            one = have.get(known.name)
            name = known.name.replace("_", " ")
            if one is None:
                return f"it has no {name}"
            room = ROOM_ANGLE if one.kind == "angle" else ROOM * max(abs(known.low), 1e-9)
            if not known.low - room <= one.value <= known.high + room:
                tested = shown(known.low, one.kind, 5)
                if known.high > known.low:
                    tested = f"{tested} to {shown(known.high, one.kind, 5)}"
                return f"{name} is {shown(one.value, one.kind, 5)}, the tests are of {tested}"
        return ""


_FAMILY = (
    "stand_diameter", "dome_depth", "dome_radius", "dome_radius_1", "inner_leg_angle",
    "nose_radius", "outer_leg_angle", "bottom_gauge", "yield_strength",
)  # fmt: skip


def calibration_of(tests: Sequence[Test], models: Sequence[float]) -> Calibration:
    """The calibration that tests give.

    models : modelled reversal pressure of each test's bottom, MPa.
    """
    from domemargin.fea.bottom.slopes import inputs_of
    from domemargin.studies.verdict.posterior import posterior

    logs = np.log(np.array(models, dtype=float))
    centre = float(logs.mean())
    x = logs - centre
    y = np.log(np.array([test.pressure for test in tests])) - centre
    stopped = np.array([test.stopped for test in tests])
    names = list(dict.fromkeys(test.lot for test in tests))
    lot = np.array([names.index(test.lot) for test in tests])
    rig = np.array([test.rig / test.pressure for test in tests])
    found = posterior(x, y, stopped, lot, rig)
    values: dict[str, list[float]] = {}
    for profile in {id(test.profile): test.profile for test in tests}.values():
        for one in inputs_of(profile):
            if one.name in _FAMILY:
                values.setdefault(one.name, []).append(one.value)
    family = tuple(Range(name, min(v), max(v)) for name, v in values.items())
    said = tuple(_said(tests, models, found, stopped))
    return Calibration(
        len(tests), int(stopped.sum()), len(names), centre, found.level, found.level_sd,
        found.slope, found.slope_sd, found.covariance, found.noise, family,
        tests[0].profile.material.name, said,
    )  # fmt: skip


def _said(
    tests: Sequence[Test], models: Sequence[float], found: object, stopped: object
) -> list[str]:
    """Outliers and contradictions."""
    from domemargin.studies.verdict.posterior import Posterior

    assert isinstance(found, Posterior)
    said = []
    for test, model, odd in zip(tests, models, found.wrong):
        if odd > ODD:
            at = f"{test.pressure / PSI:.1f} psi"
            measured = f"held {at}" if test.stopped else f"reversed at {at}"
            said.append(
                f"line {test.line}: this can {measured}, the model's {model / PSI:.1f} psi and the "
                "other tests do not allow for it; it is hardly counted"
            )
    if abs(found.level) > APART * LEVEL_KNOWN:
        side = "above" if found.level > 0.0 else "below"
        said.append(
            f"the tests lie {100.0 * math.expm1(abs(found.level)):.0f} % {side} the model: check "
            "profile, metal and tester before relying on either"
        )
    if abs(found.slope - 1.0) > 2.0 * SLOPE_KNOWN:
        said.append(
            f"the tests change {found.slope:.2f} times as fast as the model: something else "
            "differs between these bottoms"
        )
    if found.noise > NOISY:
        said.append(
            f"the cans scatter by {100.0 * found.noise:.1f} %, more than sheet and tester explain"
        )
    if all(test.stopped for test in tests):
        said.append("no can was tested to reversal: the level has a lower end only")
    return said


def dumped(calibration: Calibration) -> str:
    """The text of a calibration file."""
    return json.dumps({"kind": KIND, **asdict(calibration)}, indent=1) + "\n"


def load_calibration(path: Path | str) -> Calibration:
    """A calibration from its file.  Raises InputError if it is none."""
    option = "--calibration"
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"{option}: {brief_path(path)} cannot be read: {why}", option) from None
    except (UnicodeDecodeError, ValueError, RecursionError):
        data = None
    needed = "a file that `domemargin calibrate` wrote"
    try:
        if data.pop("kind") != KIND:
            raise ValueError
        family = tuple(Range(**entry) for entry in data.pop("family"))
        found = Calibration(**{**data, "family": family, "said": tuple(data.pop("said"))})
        numbers = [
            found.centre, found.level, found.level_sd, found.slope, found.slope_sd,
            found.covariance, found.noise,
        ]  # fmt: skip
        if (
            not np.isfinite(np.array(numbers, dtype=float)).all()
            or min(found.level_sd, found.slope_sd) < 0
        ):
            raise ValueError
        if any(r.name not in {k.rpartition(".")[2] for k in LIMITS} | set(_FAMILY) for r in family):
            raise ValueError
    except (AttributeError, KeyError, TypeError, ValueError):
        raise InputError(
            f"{option} is {brief_path(path)}; it must be {needed}", option, str(path), needed
        ) from None
    return found
