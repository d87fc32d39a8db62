"""The chance that a verdict is right, from simulated plants and the share of faulty machines."""

from __future__ import annotations

from collections.abc import Mapping

from domemargin.studies.diagnosis.counts import COUNTS
from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SMALL_DRIFT,
    SMALL_STEP,
    SPREAD,
)

AILING = 0.1  # share of faulty machines where the user states none; common practice, no source
# verdicts that a machine with this cause should get, the best first: a step is a step of its size
# or the next, and what is to be checked is the same; an operator's error is not the machine's
RIGHT = {
    "none": (IN_CONTROL,), "set offset": (OFFSET,), "spring relaxing": (DRIFT, SMALL_DRIFT),
    "drive play": (SPREAD,), "small play": (SPREAD,), "tool change": (OFFSET, SMALL_STEP),
    "small step": (SMALL_STEP, OFFSET), "small drift": (SMALL_DRIFT, DRIFT),
    "sheet lot": (LOT,), "operator": (IN_CONTROL,),
}  # fmt: skip
NOT_MACHINES = ("none", "sheet lot", "operator")  # causes that no share of machines is stated for
Counts = Mapping[str, Mapping[str, int]]


def chance_right(verdict: str, ailing: float = AILING, counts: Counts = COUNTS) -> float | None:
    """The share right of machines with this verdict, by Bayes' rule; None where there is none.

    ailing : share of machines with a fault of their own, all causes equally likely; lots and
    operators as often as simulated.  counts : machines by cause and verdict.
    """
    if verdict == NOT_ENOUGH:
        return None
    good = whole = 0.0
    for healthy, share in ((True, 1.0 - ailing), (False, ailing)):
        rows = [cause for cause in counts if (cause in NOT_MACHINES) == healthy]
        machines = sum(sum(counts[cause].values()) for cause in rows)
        if machines:
            got = {cause: counts[cause].get(verdict, 0) / machines for cause in rows}
            good += share * sum(n for cause, n in got.items() if verdict in RIGHT[cause])
            whole += share * sum(got.values())
    return good / whole if whole else None
