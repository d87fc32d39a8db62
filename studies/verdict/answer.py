"""What an answer's uncertainty consists of: the parts of its budget."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from domemargin.profiles import InputError, parse_quantity
from domemargin.profiles.errors import brief
from domemargin.profiles.limits import shown
from domemargin.studies.readings.calibration import LEVEL_KNOWN
from domemargin.studies.readings.calibration import Calibration as PlantCalibration
from domemargin.studies.verdict.budget import (
    INPUT,
    MODEL,
    NUMERICAL,
    Answer,
    Part,
    Verdict,
    combined,
    verdict_of,
)

if TYPE_CHECKING:
    from domemargin.fea.core.record import Record, Slope
    from domemargin.profiles import Profile
    from domemargin.studies.verdict.calibration import Calibration

# standard deviation of what mesh, layers and steps leave, as shares of the correction for steps and
# of the resolution: measured on random bottoms (tests/test_verdict_numerical.py)
OF_CORRECTION, OF_RESOLUTION = 0.5, 0.2
MODEL_SOURCE = "estimate, no own tests"
TESTS_NARROW = "reversal tests of five cans or more"


def numerical_part(pressure: float, correction: float | None, resolution: float) -> Part:
    """What mesh, layers and steps leave of a pressure, MPa.

    correction : what two ramps said of the steps, MPa (a record's step_correction_mpa).
    """
    step = OF_CORRECTION * abs(correction or 0.0)
    grid = OF_RESOLUTION * resolution * pressure
    return Part(
        "mesh, layers and steps", NUMERICAL, math.hypot(step, grid), "per case, from two ramps",
        "a finer --resolution",
    )  # fmt: skip


def input_parts(slopes: Iterable[Slope], known: Mapping[str, float]) -> tuple[Part, ...]:
    """What the uncertainty of each input does to the pressure.

    slopes : of the reversal pressure (fea/bottom/slopes.py).  known : standard uncertainty by
    input, internal units.
    """
    parts = []
    for slope in slopes:
        if slope.quantity != "reversal_pressure_mpa" or slope.name not in known:
            continue
        if slope.slope is not None:
            name = slope.name.replace("_", " ")
            parts.append(
                Part(name, INPUT, abs(slope.slope) * known[slope.name], "as given",
                     f"a measurement of {name}")
            )  # fmt: skip
    return tuple(parts)


def known_of(texts: Iterable[str], profile: Profile) -> dict[str, float]:
    """Standard uncertainties by input from texts such as "bottom_gauge 0.003 mm".

    Raises InputError for an input that the bottom does not have and for a value out of range.
    """
    known: dict[str, float] = {}
    option = "--uncertain"
    for text in texts:
        from domemargin.fea.bottom.slopes import chosen

        name, _, value = text.strip().partition(" ")
        (one,) = chosen(profile, [name])
        if one.kind == "number":
            given = value.strip()
            if not re.fullmatch(r"(\d+\.?\d*|\.\d+)", given):
                raise InputError(
                    f"{option} {name} is {brief(given)}; it must be a plain number", option
                )
            size = float(given)
        else:
            size = parse_quantity(value.strip(), one.kind, f"{option} {name}")
        most = 0.5 * (one.high - one.low)
        if not 0.0 < size <= most:
            allowed = f"above 0, at most {shown(most, one.kind)}"
            raise InputError(
                f"{option} {name} is {shown(size, one.kind)}; it must be {allowed}", option,
                shown(size, one.kind), allowed,
            )  # fmt: skip
        known[name] = size
    return known


def answer_of(
    profile: Profile,
    pressure: float | None,
    correction: float | None = None,
    resolution: float = 0.002,
    calibration: Calibration | None = None,
    inputs: tuple[Part, ...] = (),
    ceiling: float | None = None,
) -> Answer | None:
    """A reversal pressure with its uncertainty; None where there is neither a pressure nor a
    ceiling that it lies above.

    pressure : by the model, MPa.  correction, resolution : of the solve.  calibration : by own
    tests.  inputs : of input_parts.  ceiling : MPa, up to which no reversal was found.
    """
    computed = ceiling if pressure is None else pressure
    if computed is None:
        return None
    parts = (numerical_part(computed, correction, resolution), *inputs)
    best = computed
    notes: tuple[str, ...] = ()
    level = LEVEL_KNOWN * computed
    source = MODEL_SOURCE
    if calibration is not None:
        outside = calibration.outside(profile)
        if outside:
            notes = (f"the calibration does not hold for this bottom: {outside}",)
        else:
            best, level = calibration.applied(computed)
            source = f"{calibration.tests} own tests"
    parts = (*parts, Part("model", MODEL, level, source, TESTS_NARROW))
    return combined(computed, parts, best, least=pressure is None, notes=notes)


def answer_of_record(
    record: Record,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> Answer | None:
    """The answer of a record.

    known : standard uncertainty by input, internal units; it takes a record with slopes.
    """
    above = record.ceiling_mpa if record.kind == "none_below_ceiling" else None
    inputs = input_parts(record.slopes or (), known) if known else ()
    return answer_of(
        record.profile, record.reversal_pressure_mpa, record.step_correction_mpa,
        record.resolution, calibration, inputs, above,
    )  # fmt: skip


def plant_calibration(calibration: Calibration) -> PlantCalibration:
    """A calibration as the readings of a plant take it: straight about its centre."""
    level, centre = math.exp(calibration.level), math.exp(calibration.centre)
    return PlantCalibration(
        calibration.tests, centre, level, level * calibration.level_sd,
        level * calibration.slope, level * calibration.slope_sd, calibration.noise,
        tuple(f"{text[0].upper()}{text[1:]}." for text in calibration.said),
    )  # fmt: skip


def verdict_of_record(
    record: Record,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> Verdict | None:
    """The verdict on a record; None where it has no required pressure."""
    if record.required_pressure_mpa is None:
        return None
    answer = answer_of_record(record, calibration, known)
    return verdict_of(answer, record.required_pressure_mpa, "no reversal pressure was found")
