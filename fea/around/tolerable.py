"""How much unevenness a bottom tolerates: the amount at which it just holds a pressure.

The root is closed in on by Brent's method (Brent, Algorithms for Minimization without
Derivatives, 1973, ch. 4) on full solves of the uneven bottom.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from domemargin.fea.around.uneven import EvenBottom, uneven
from domemargin.profiles.around import Around
from domemargin.profiles.limits import LIMITS

AMOUNTS = ("dome_tilt", "dome_offset", "ovality", "gauge_difference", "yield_difference")
TOLERANCE = 0.005  # of the largest amount looked at
# the largest amounts looked at: far beyond what a line makes, common practice, no source
MOST = {
    "dome_tilt": 0.035,
    "dome_offset": 0.6,
    "ovality": 1.0,
    "gauge_difference": 0.3,
    "yield_difference": 0.3,
}


@dataclass(frozen=True)
class TolerableUneven:
    """The largest amount that still holds a pressure.

    name : of AMOUNTS.  amount : internal units; None where there is none, with its reason.
    held_mpa : the pressure it is to hold.  solves : how many it took.
    """

    name: str
    amount: float | None
    held_mpa: float
    reason: str
    solves: int


class _NoAnswerError(Exception):
    pass


def tolerable(
    even: EvenBottom, name: str, held: float, around: Around | None = None
) -> TolerableUneven:
    """The amount of `name`, beside what else is uneven in `around`, at which `held` (MPa) is just
    held.  A bottom that holds more than the ceiling holds it."""
    from scipy.optimize import brentq

    base, solves = around or Around(), 0
    # nothing but the pressure is looked at
    even = replace(even, settings=replace(even.settings, growth_at=(), required=None))

    def beyond(amount: float) -> float:
        nonlocal solves
        solves += 1
        found = uneven(even.profile, base.changed(**{name: amount}), even=even)
        if found.kind in ("not_converged", "not_resolved"):
            raise _NoAnswerError(found.reason)
        return (found.pressure_mpa or even.settings.ceiling) / held - 1.0

    most = min(MOST[name], LIMITS[f"around.{name}"].high)
    try:
        if beyond(0.0) < 0.0:
            reason = "it does not hold the pressure without any"
            return TolerableUneven(name, None, held, reason, solves)
        if beyond(most) >= 0.0:
            return TolerableUneven(name, None, held, "more than what was looked at", solves)
        root = float(brentq(beyond, 0.0, most, xtol=TOLERANCE * most))
    except _NoAnswerError as error:
        return TolerableUneven(name, None, held, str(error), solves)
    return TolerableUneven(name, root, held, "", solves)
