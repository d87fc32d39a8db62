"""Growth as a limit: each with its own verdict.

How sure a growth is follows from how sure the pressure is: a bottom that is stronger than the model
by a share grows at a pressure as the model does at that much less.  So growth is read off the model
at the pressure and at both ends of its interval.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import Growth, Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, parse_quantity
from domemargin.profiles.errors import brief
from domemargin.studies.options import ranged, required_pressure
from domemargin.studies.verdict.budget import (
    COVERAGE,
    IN_DOUBT,
    NOT_KNOWN,
    NOT_SAFE,
    SAFE,
    Answer,
)

# name of a limit -> what it is, in words; the first four are not to be exceeded
KNOWN = {
    "ring": "growth of the stand ring",
    "centre": "growth of the dome centre",
    "permanent-ring": "permanent growth of the stand ring",
    "permanent-centre": "permanent growth of the dome centre",
    "depth-left": "dome depth left after the pressure",
}
LEAST = ("depth-left",)
OPTION = "--growth-limit"


@dataclass(frozen=True)
class GrowthLimit:
    """name : of KNOWN.  limit : mm, most (of depth-left least).  pressure : MPa, at which."""

    name: str
    limit: float
    pressure: float


@dataclass(frozen=True)
class GrowthVerdict:
    """value : best estimate, mm.  strong, weak : of the bottom at the strong and at the weak end of
    its interval; None where it reverses first.  word : SAFE, IN DOUBT, NOT SAFE or NOT KNOWN, for
    the reason given."""

    asked: GrowthLimit
    value: float | None
    strong: float | None
    weak: float | None
    word: str
    reason: str = ""


def parse_limit(text: str, required: float | None) -> GrowthLimit:
    """A limit such as "permanent-ring 0.5 mm at 60 psi"; without a pressure at the required one.

    Raises InputError.
    """
    match = re.fullmatch(r"\s*([\w-]+)\s+(.+?)(?:\s+at\s+(.+?))?\s*", text)
    if match is None or match[1] not in KNOWN:
        needed = f'such as "permanent-ring 0.5 mm at 60 psi"; known are {", ".join(KNOWN)}'
        raise InputError(f"{OPTION} is {brief(text)}; it must be {needed}", OPTION, text, needed)
    parse_quantity(match[2], "length", OPTION)
    limit = ranged(match[2], "length", OPTION, 0.001, 50.0, "mm")
    if match[3] is None and required is None:
        raise InputError(
            f'{OPTION} is {brief(text)}; it needs a pressure, as in "{text.strip()} at 60 psi", or '
            "--require",
            OPTION,
        )
    at = required if match[3] is None else required_pressure(match[3], OPTION)
    assert at is not None
    return GrowthLimit(match[1], limit, at)


def growth_verdicts(
    record: Record,
    settings: Settings,
    limits: Iterable[GrowthLimit],
    answer: Answer | None,
    solve: Callable[..., Any] = reversal,
) -> tuple[GrowthVerdict, ...]:
    """Verdicts on growth of a solved bottom; one more solve gives growth where it is needed."""
    asked = tuple(limits)
    if not asked:
        return ()
    if answer is None:
        none = "no reversal pressure was found"
        return tuple(GrowthVerdict(one, None, None, None, NOT_KNOWN, none) for one in asked)
    share = COVERAGE * answer.standard / answer.pressure
    level = answer.pressure / answer.computed
    ends = {
        one: tuple(one.pressure / (level * (1.0 + by)) for by in (share, 0.0, -share))
        for one in asked
    }
    wanted = tuple(sorted({pressure for three in ends.values() for pressure in three}))
    # pressures closer than a thousandth of each other share a growth
    again = solve(record.profile, replace(settings, growth_at=wanted, required=None, follow=False))

    def value(one: GrowthLimit, pressure: float) -> float | None:
        near = min(again.growth, key=lambda growth: abs(growth.pressure_mpa - pressure))
        return _value(one.name, near, record)

    out = []
    for one in asked:
        least, middle, most = (value(one, pressure) for pressure in ends[one])
        out.append(_judged(one, middle, least, most, again.reason))
    return tuple(out)


def _value(name: str, growth: Growth, record: Record) -> float | None:
    if name == "depth-left":
        ring, centre = growth.permanent_stand_growth_mm, growth.permanent_centre_travel_mm
        if ring is None or centre is None:
            return None
        return record.profile.shape.dome_depth - (centre - ring)
    field = {
        "ring": "stand_growth_mm",
        "centre": "centre_travel_mm",
        "permanent-ring": "permanent_stand_growth_mm",
        "permanent-centre": "permanent_centre_travel_mm",
    }[name]
    found: float | None = getattr(growth, field)
    return found


def _judged(
    one: GrowthLimit, middle: float | None, strong: float | None, weak: float | None, reason: str
) -> GrowthVerdict:
    """strong, weak : as the bottom is at the strong and the weak end of its interval."""
    if strong is None:
        said = "the bottom reverses first"
        return GrowthVerdict(one, middle, strong, weak, NOT_SAFE, said)
    # a bottom that reverses has no growth: it is beyond every limit
    beyond = -math.inf if one.name in LEAST else math.inf
    ends = [strong, beyond if weak is None else weak]
    sign = -1.0 if one.name in LEAST else 1.0
    over = [sign * (end - one.limit) > 0.0 for end in ends]
    word = NOT_SAFE if all(over) else IN_DOUBT if any(over) else SAFE
    said = "" if weak is not None else "at the weak end of its interval the bottom reverses first"
    return GrowthVerdict(one, middle, strong, weak, word, said)
