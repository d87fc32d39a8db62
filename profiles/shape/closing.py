"""Which values of a dimension would close a chain that does not close."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from domemargin.profiles.errors import InputError, ShapeError
from domemargin.profiles.limits import LIMITS, shown
from domemargin.profiles.shape.chain import Chain, Failure, solve
from domemargin.profiles.shape.shape import Shape, Sheet

_SAMPLES = 400
_OTHERS = ("stand_diameter", "body_diameter", "outer_leg_angle", "heel_radius")


def _variant(shape: Shape, sheet: Sheet, name: str, value: float) -> tuple[Shape, Sheet]:
    if name == "bottom_gauge":
        return shape, replace(sheet, bottom_gauge=value)
    if name == "dome_radius" and len(shape.dome_radii) > 1:
        return replace(shape, dome_radius=(*shape.dome_radii[:-1], value)), sheet
    if name == "dome_break_diameter":
        breaks = (*shape.dome_break_diameter[:-1], value)
        return replace(shape, dome_break_diameter=breaks), sheet
    changes: dict[str, Any] = {name: value}
    return replace(shape, **changes), sheet


def current(shape: Shape, sheet: Sheet, name: str) -> float:
    """The value of a quantity; of a list, the outermost, on which the chain depends."""
    if name == "dome_radius":
        return shape.dome_radii[-1]
    if name == "dome_break_diameter":
        return shape.dome_break_diameter[-1]
    return float(getattr(sheet if hasattr(sheet, name) else shape, name))


def closing_range(shape: Shape, sheet: Sheet, name: str) -> tuple[float, float] | None:
    """Values of one quantity (mm or radians), all else kept, that close the chain.

    The range nearest to the present value, its ends found by bisection to 1e-9 of the range
    that profiles/limits.py allows; None where a scan of 400 values meets no closed chain.
    """
    _, low, high = LIMITS[f"{'sheet' if hasattr(sheet, name) else 'shape'}.{name}"]

    def closes(value: float) -> bool:
        try:
            return isinstance(solve(*_variant(shape, sheet, name, value)), Chain)
        except InputError:  # break diameters out of order
            return False

    def boundary(good: float, bad: float) -> float:
        while abs(good - bad) > 1e-9 * (high - low):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if closes(middle) else (good, middle)
        return good

    def runs() -> Iterator[tuple[float, float]]:
        values = [low + (high - low) * i / _SAMPLES for i in range(_SAMPLES + 1)]
        good = [closes(value) for value in values]
        first = None
        for i, is_good in enumerate(good):
            if is_good and first is None:
                first = values[i] if i == 0 else boundary(values[i], values[i - 1])
            if first is not None and (not is_good or i == _SAMPLES):
                yield first, values[i] if is_good else boundary(values[i - 1], values[i])
                first = None

    present = current(shape, sheet, name)
    return min(runs(), key=lambda run: max(run[0] - present, present - run[1], 0.0), default=None)


def _inward(low: float, high: float, kind: str) -> str:
    """The range as text, rounded to values that lie inside it."""
    if kind == "angle":
        low, high = math.degrees(low), math.degrees(high)
    for digits in range(2, 10):
        scale = 10.0**digits
        a, b = math.ceil(low * scale) / scale, math.floor(high * scale) / scale
        if a <= b:
            break
    return f"{a:.10g} to {b:.10g} {'deg' if kind == 'angle' else 'mm'}"


def shape_error(
    shape: Shape, sheet: Sheet, failure: Failure, changed: Iterable[str] = ()
) -> ShapeError:
    """The error for a chain that does not close, with the range of one quantity that would.

    changed : quantities that were just changed, which are named before the usual suspects.
    """
    names = [n for n in changed if hasattr(shape, n) or n == "bottom_gauge"]
    names = [n for n in names if f"shape.{n}" in LIMITS or n == "bottom_gauge"]
    names += [n for n in failure.suspects if n not in names]
    names = [n for n in names if n != "dome_break_diameter" or shape.dome_break_diameter]
    asked = [*names, *(n for n in _OTHERS if n not in names)]
    found = next(((n, r) for n in asked if (r := closing_range(shape, sheet, n))), None)
    name = found[0] if found else names[0]
    owner = "sheet" if hasattr(sheet, name) else "shape"
    kind = LIMITS[f"{owner}.{name}"].kind
    value = shown(current(shape, sheet, name), kind)
    if found:
        allowed = _inward(*found[1], kind)
        remedy = f"{allowed} would close the chain"
    else:
        allowed = ""
        remedy = f"no value of {' or '.join(names[:3])} alone would close the chain"
    return ShapeError(
        f"{owner}.{name} {value} {failure.consequence}; {remedy}",
        f"{owner}.{name}",
        value,
        allowed,
    )
