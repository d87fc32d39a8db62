"""A quick look at a bottom while its values move: one ramp in place of the two to six of an answer.

It takes a fifth to a half of the time of `reversal` and knows the limit all round only: no waves,
no growth, no bound on its own error but what was measured (ACCURACY).
"""

from __future__ import annotations

import time

from domemargin.fea.bottom.reversal import (
    ELASTIC_STEP,
    SCOUT,
    Solved,
    discretisation,
    plan_of,
    record_of,
    reversal,
    shell_of,
    shell_view,
)
from domemargin.fea.core.limit import glance as look
from domemargin.fea.core.limit import seek
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import DEFAULT_CEILING, Settings
from domemargin.fea.errors import SolveError
from domemargin.profiles.profile import Profile

# share of the pressure, 99 of 100 random bottoms like cans (tests/test_glance.py)
ACCURACY = 0.01
_ALIKE = 0.05  # share by which the length of the path may change from one look to the next


def glance(
    profile: Profile, length: float | None = None, ceiling: float = DEFAULT_CEILING
) -> tuple[Record, float | None]:
    """A record to look at, not to quote, and the length of its path to the limit.

    length : what the last look at a bottom close by gave; None for the first.  ceiling : MPa.
    Where one ramp does not find the limit, and for a metal that does not yield, the record is that
    of `reversal` without waves and growth, and the length None.
    """
    whole = Settings(ceiling=ceiling, waves=0, growth_at=())
    started = time.perf_counter()
    if profile.material.yield_strength is not None:
        view = shell_view(profile, discretisation(whole.resolution))
        try:
            plan = plan_of(profile, view.system, ELASTIC_STEP, ceiling)
            for known in (length, None):
                if known is None:
                    scout = shell_of(profile, SCOUT)
                    limit = seek(scout, scout.start(), plan).path.limit
                    known = None if limit is None or limit.place <= 0.0 else limit.place
                if known is None:
                    break
                found = look(view.system, view.start(), plan, known)
                limit = found.path.limit
                if limit is not None and abs(limit.place / known - 1.0) <= _ALIKE:
                    settings = Settings(ACCURACY, ceiling, waves=0, growth_at=())
                    record = record_of(profile, settings, Solved(view, found, started))
                    return record, limit.place
        except SolveError:
            pass  # the whole solve says what is wrong
    return reversal(profile, whole), None
