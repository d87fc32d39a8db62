"""What the metal's length (fea/metal/spread.py) does to an answer: the same bottom without it.

Without it metal that softens in bending may kink within one element, so that the answer without is
no better one, and depends on the mesh; the difference says how far an answer rests on the length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from domemargin.fea.bottom.reversal import record_of, solve_path
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles.profile import Profile


@dataclass(frozen=True)
class LengthEffect:
    """Reversal pressure (MPa) and permanent growth (mm) at the first pressure asked for, with the
    metal's length and without; None where none was found."""

    pressure_mpa: float | None
    without_mpa: float | None
    growth_at_mpa: float | None
    permanent_mm: float | None
    without_permanent_mm: float | None


def length_effect(record: Record, settings: Settings) -> LengthEffect:
    """What the length did to a record of the shell; the second solve leaves waves out."""
    settings = replace(settings, waves=0, follow=False, required=None)
    bare = without_length(record.profile, settings)
    with_it, without = (one.growth[0] if one.growth else None for one in (record, bare))
    # waves do not come into it
    limit = None if record.stability is None else record.stability.axisymmetric_limit_mpa
    return LengthEffect(
        limit or record.reversal_pressure_mpa,
        bare.reversal_pressure_mpa,
        None if with_it is None else with_it.pressure_mpa,
        None if with_it is None else with_it.permanent_stand_growth_mm,
        None if without is None else without.permanent_stand_growth_mm,
    )


def without_length(profile: Profile, settings: Settings) -> Record:
    """The record of a bottom whose metal has no length."""
    return record_of(profile, settings, solve_path(profile, settings, metal_length=False))
