"""How fast the answers move with every input: central differences of solves close by.

A bottom's answers are smooth functions of its dimensions, gauges and metal, but for what is left
of where steps fall (ROUGH); a step of some tenths of a percent keeps both that and the curvature
small.  Two solves an input.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import UNANSWERED, Record, Slope
from domemargin.fea.core.settings import Settings
from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import LIMITS, unknown_name
from domemargin.profiles.material import Table
from domemargin.profiles.profile import Profile

PRESSURE = "reversal_pressure_mpa"
# of the solves at most: what steps leave of a pressure differs from bottom to bottom, and at 0.002
# that made 0.7 % of a slope
RESOLUTION = 0.0005
SHARE = 4.0  # error of a slope, as a share, over the resolution: up to 0.26 % at 0.0005
# what is left of roughness, as a share of the answer: pressures (tests/test_slopes.py measures
# it); growth is solved for to 2e-5 of it
ROUGH, ROUGH_GROWTH = 4e-6, 2e-5
# half the distance of the two solves: a share of the value, more for inputs that move little
_SHARE = {
    "stand_diameter": 0.002,
    "body_diameter": 0.004,
    "dome_depth": 0.004,
    "bottom_gauge": 0.004,
    "yield_strength": 0.006,
}
_USUAL_SHARE, _ANGLE, _NUMBER = 0.01, math.radians(0.25), 0.005
_SMALL_LENGTH = 0.05  # mm, of a length that is zero
# the change that is quoted, in internal units and in words
_PER = {
    "length": (0.01, "0.01 mm"),
    "angle": (math.radians(1.0), "1 deg"),
    "stress": (1.0, "1 MPa"),
    "number": (0.01, "0.01"),
}
_PER_GPA, _PER_ONE = (1000.0, "1 GPa"), (1.0, "1")
# a second difference this many times the first is no curvature: something switched between
_KINK = 0.2
_LEFT_OUT = ("density",)


@dataclass(frozen=True)
class Input:
    """One number of a profile: how it is called, its kind ("length", "angle", "stress" or
    "number"), its value, the range it may have, and half the distance of the two solves (None: the
    usual one); internal units."""

    name: str
    kind: str
    value: float
    low: float
    high: float
    step: float | None = None


def inputs_of(profile: Profile) -> tuple[Input, ...]:
    """Every plain dimension, gauge and metal value that a bottom has, internal units.

    A dome of several zones has dome_radius_1, dome_radius_2 and so on from the centre outward.
    """
    found = []
    for key in LIMITS:
        room, _, name = key.partition(".")
        if room not in ("shape", "sheet", "material") or "." in name or name in _LEFT_OUT:
            continue
        value = getattr(getattr(profile, room), name)
        if name == "bottom_gauge" and profile.along is not None and profile.along.gauge is not None:
            continue  # the table along the meridian takes its place
        if isinstance(value, tuple):
            found += [(f"{name}_{i + 1}", key, float(entry)) for i, entry in enumerate(value)]
        elif value is not None:
            found.append((name, key, float(value)))
    hardening = profile.material.hardening
    if profile.material.yield_strength is not None and not isinstance(hardening, Table):
        for field in fields(hardening):
            key = f"material.hardening.{field.name}"
            found.append((f"hardening_{field.name}", key, float(getattr(hardening, field.name))))
    elastic = profile.material.yield_strength is None
    return tuple(
        Input(name, LIMITS[key].kind, value, LIMITS[key].low, LIMITS[key].high)
        for name, key, value in found
        if not (elastic and name == "kinematic_share")
    )


def moved(profile: Profile, name: str, value: float) -> Profile:
    """The profile with one input of `inputs_of` at another value.

    Raises InputError or ShapeError where that makes no bottom.
    """
    if name.startswith("hardening_"):
        field = name.removeprefix("hardening_")
        hardening: Any = profile.material.hardening
        new = replace(hardening, **{field: value})
        return profile.replaced(hardening=new)
    field, _, number = name.rpartition("_")
    if number.isdigit():
        entries = list(getattr(profile.shape, field))
        entries[int(number) - 1] = value
        return profile.replaced(**{field: tuple(entries)})
    return profile.replaced(**{name: value})


def step_of(one: Input) -> float:
    """Half the distance of the two solves, internal units."""
    if one.step is not None:
        return one.step
    if one.kind == "angle":
        return _ANGLE
    if one.kind == "number":
        return max(_USUAL_SHARE * abs(one.value), _NUMBER)
    return _SHARE.get(one.name, _USUAL_SHARE) * abs(one.value) or _SMALL_LENGTH


def _per(one: Input) -> tuple[float, str]:
    """The change that people say, of an input."""
    if one.name == "elastic_modulus":
        return _PER_GPA
    return _PER_ONE if one.kind == "number" and abs(one.value) > 2.0 else _PER[one.kind]


def answers_of(record: Record) -> dict[str, float]:
    """The answers that slopes are taken of, by name with unit; those the record has.

    Reversal pressure, first yield, growth and permanent growth at each pressure asked for, and
    the onset in waves by flow theory and by deformation theory where it comes before the limit.
    """
    found: dict[str, float | None] = {PRESSURE: record.reversal_pressure_mpa}
    if record.first_yield is not None:
        found["first_yield_mpa"] = record.first_yield.pressure_mpa
    stability = record.stability
    if stability is not None and record.profile.material.yield_strength is not None:
        for theory in ("flow", "deformation"):
            mode = getattr(stability, theory)
            if mode is not None and mode.before_limit:
                found[f"wave_onset_{theory}_mpa"] = mode.pressure_mpa
    for growth in record.growth:
        for field in fields(growth):
            if field.name.endswith("_mm"):
                words = f"{field.name} at {growth.pressure_mpa:.4f} MPa"
                found[words] = getattr(growth, field.name)
    return {name: value for name, value in found.items() if value is not None}


def chosen(profile: Profile, names: Iterable[str]) -> tuple[Input, ...]:
    """Inputs of a profile by name.  Raises InputError for a name that the bottom does not have."""
    known = {one.name: one for one in inputs_of(profile)}
    found = []
    for name in names:
        if name not in known:
            raise unknown_name(name, known)
        found.append(known[name])
    return tuple(found)


def slopes(
    profile: Profile,
    settings: Settings | None = None,
    inputs: Iterable[Input] | None = None,
    base: Record | None = None,
    solve: Callable[..., Record] = reversal,
    move: Callable[[Profile, str, float], Profile] = moved,
    read: Callable[[Record], dict[str, float]] = answers_of,
) -> tuple[Slope, ...]:
    """Slopes of every answer of a bottom with the inputs given, or with all that it has.

    settings : of the solves; what they ask for (growth at which pressures, waves) is what has
    slopes; their resolution is RESOLUTION or finer.  inputs : such as `chosen` gives.  base : the
    record at the profile itself, where it is known (solved again if its resolution is coarser).
    solve, move, read : how a record comes of a bottom, the bottom of an input's value, and the
    answers of a record.
    """
    settings = settings or Settings()
    settings = replace(settings, follow=False, resolution=min(settings.resolution, RESOLUTION))
    if base is None or base.resolution > settings.resolution:
        base = solve(profile, settings)
    middle = read(base)
    share, found = SHARE * settings.resolution, []
    for one in inputs_of(profile) if inputs is None else inputs:
        step, reason = step_of(one), ""
        points = _points(one, step)
        sides: list[dict[str, float]] = []
        for x in points:
            try:
                record = solve(move(profile, one.name, x), settings)
            except InputError as rejected:
                sides.append({})
                reason = str(rejected)
                continue
            sides.append({} if record.kind in UNANSWERED else read(record))
            if record.kind in UNANSWERED or not sides[-1]:
                reason = record.reason or record.kind
        per, words = _per(one)
        for quantity, now in middle.items():
            low, high = (side.get(quantity) for side in sides)
            if low is None or high is None:
                said = reason or "a bottom close by has no such answer"
                found.append(
                    Slope(quantity, one.name, one.value, step, None, None, per, words, None, said)
                )
                continue
            rough = (ROUGH_GROWTH if "growth" in quantity else ROUGH) * abs(now)
            slope, error = _differences(low, now, high, points, one.value, rough, share)
            found.append(
                Slope(quantity, one.name, one.value, step, slope, error, per, words, slope * per)
            )
    return tuple(found)


def with_slopes(record: Record, settings: Settings, names: Iterable[str] | None = None) -> Record:
    """The record with its slopes; without, where it has no answer to take slopes of."""
    if record.reversal_pressure_mpa is None:
        return record
    inputs = None if names is None else chosen(record.profile, names)
    return replace(record, slopes=slopes(record.profile, settings, inputs, record))


def of_pressure(found: Iterable[Slope]) -> dict[str, Slope]:
    """The slopes of the reversal pressure by input."""
    return {one.name: one for one in found if one.quantity == PRESSURE}


def ranked(found: Iterable[Slope], quantity: str = PRESSURE) -> list[Slope]:
    """The slopes of one answer, largest change for the quoted change of the input first."""
    known = [one for one in found if one.quantity == quantity and one.change is not None]
    return sorted(known, key=lambda one: -abs(one.change or 0.0))


def _points(one: Input, step: float) -> tuple[float, float]:
    """Two values about the input's own; where its range ends, two on the side that is left."""
    if one.value - step < one.low:
        return one.value + step, one.value + 2.0 * step
    if one.value + step > one.high:
        return one.value - step, one.value - 2.0 * step
    return one.value - step, one.value + step


def _differences(
    first: float,
    middle: float,
    second: float,
    points: tuple[float, float],
    centre: float,
    rough: float,
    share: float,
) -> tuple[float, float]:
    """Slope and its error from two solves and the one at the profile itself.

    rough : of each answer, in its unit.  share : of the slope, by the resolution.
    """
    near, step = points[0] - centre, 0.5 * (points[1] - points[0])
    if near * (points[1] - centre) < 0.0:
        slope, bend = 0.5 * (second - first) / step, second - 2.0 * middle + first
    else:  # both on one side: of second order all the same
        slope, bend = (4.0 * first - second - 3.0 * middle) / (2.0 * near), 0.0
        rough, step = 4.0 * rough, abs(near)
    error = math.hypot(rough / step, share * slope)
    if abs(bend) > _KINK * abs(slope) * step + 10.0 * rough:
        error = max(error, 0.5 * abs(bend) / step)
    return slope, error
