"""One interval and one verdict for every command.

The standard uncertainties of an answer are added as variances (JCGM 100:2008, 5.1.2) by where they
come from (numerical, input, model; ASME V&V 20-2009, section 1-5): values from memory.  The
interval is two of them either way, about 95 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SAFE, NOT_SAFE, IN_DOUBT, NOT_KNOWN = "SAFE", "NOT SAFE", "IN DOUBT", "NOT KNOWN"
NUMERICAL, INPUT, MODEL = "numerical", "input", "model"
COVERAGE = 2.0  # standard uncertainties either way
# no answer is surer than this, standard deviation as a share: cans of one lot and shape, and two
# testers, differ by as much; common practice, no source
FLOOR = 0.005


@dataclass(frozen=True)
class Part:
    """One source of uncertainty.

    kind : NUMERICAL, INPUT or MODEL.  standard : standard uncertainty of the pressure, MPa.
    source : where its size comes from.  narrows : what would make it smaller.
    """

    name: str
    kind: str
    standard: float
    source: str
    narrows: str = ""


@dataclass(frozen=True)
class Answer:
    """A reversal pressure and how sure it is; MPa.

    pressure : best estimate, own tests taken into account; computed : by the model alone.
    standard : combined.  low, high : the interval.  parts : the budget, largest first.
    least : whether the bottom takes at least `pressure`, its reversal not being known.
    notes : on the calibration, in sentences.
    """

    pressure: float
    computed: float
    standard: float
    low: float
    high: float
    parts: tuple[Part, ...]
    least: bool = False
    notes: tuple[str, ...] = ()

    def shares(self) -> tuple[float, ...]:
        """Share of each part in the variance of all."""
        total = sum(part.standard**2 for part in self.parts)
        return tuple(part.standard**2 / total if total > 0.0 else 0.0 for part in self.parts)


@dataclass(frozen=True)
class Verdict:
    """Whether a bottom holds a pressure.

    word : SAFE, NOT_SAFE, IN_DOUBT or NOT_KNOWN.  required : MPa.  margin, low, high : of the
    best estimate and of the ends of the interval, over the required pressure less one; None
    where nothing is known.
    """

    word: str
    required: float
    margin: float | None
    low: float | None
    high: float | None
    reason: str = ""


def combined(
    computed: float,
    parts: tuple[Part, ...],
    pressure: float | None = None,
    least: bool = False,
    notes: tuple[str, ...] = (),
) -> Answer:
    """An answer from its parts.

    computed : by the model.  pressure : best estimate, if own tests moved it.
    """
    best = computed if pressure is None else pressure
    standard = math.hypot(*(part.standard for part in parts), 0.0)
    least_stated = FLOOR * best
    if standard < least_stated:
        rest = math.sqrt(least_stated**2 - standard**2)
        parts = (*parts, Part("can to can and tester", MODEL, rest, "the least that is stated"))
        standard = least_stated
    ranked = tuple(sorted(parts, key=lambda part: -part.standard))
    reach = COVERAGE * standard
    high = math.inf if least else best + reach
    return Answer(best, computed, standard, max(best - reach, 0.0), high, ranked, least, notes)


def verdict_of(answer: Answer | None, required: float, reason: str = "") -> Verdict:
    """The one rule: a bottom is safe where the whole interval holds, not safe where none of it
    does, and in doubt between.

    answer : None where there is none; reason : why.
    """
    if answer is None:
        return Verdict(NOT_KNOWN, required, None, None, None, reason)
    margin, low = answer.pressure / required - 1.0, answer.low / required - 1.0
    if answer.least:
        if low >= 0.0:
            return Verdict(SAFE, required, margin, low, None)
        near = "below it" if answer.pressure < required else "too close above it"
        return Verdict(NOT_KNOWN, required, None, low, None, f"the ceiling lies {near}")
    high = answer.high / required - 1.0
    word = SAFE if low >= 0.0 else NOT_SAFE if high < 0.0 else IN_DOUBT
    return Verdict(word, required, margin, low, high)
