"""What the kinematic share, which few have measured, leaves open in an answer.

A share of 0 is what a test in one direction is read with; mixed hardening fitted to pull and push
of aluminium sheet takes a third to a half, and 0.6 lies above what has been met (estimate, no
source: no value for can sheet was found).  A bottom is solved over that range.  Where forming left
its strain in the metal but was itself solved without a back stress, as in a profile file, the low
end of the pressure is pessimistic: forming again with each share is in
domemargin.fea.doming.kinematic.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import Growth
from domemargin.fea.core.settings import Settings
from domemargin.profiles.profile import Profile

SHARES = (0.0, 0.3, 0.6)
GROUND = "estimate: a third to a half is fitted to aluminium sheet; none was found for can sheet"


@dataclass(frozen=True)
class KinematicBand:
    """Answers over the plausible share; entries belong to `shares`.

    pressure_mpa : reversal pressures, None where none was found.
    growth_at_mpa : pressure of the growth.  permanent_mm : permanent growth of the stand ring
    there, None where the bottom reverses first.
    """

    shares: tuple[float, ...]
    pressure_mpa: tuple[float | None, ...]
    growth_at_mpa: float
    permanent_mm: tuple[float | None, ...]

    @property
    def pressures(self) -> tuple[float, float] | None:
        """Lowest and highest pressure, MPa; None where any was not found."""
        found = [p for p in self.pressure_mpa if p is not None]
        return (min(found), max(found)) if len(found) == len(self.shares) else None

    @property
    def growths(self) -> tuple[float, float] | None:
        """Smallest and largest permanent growth, mm; None where any was not found."""
        found = [g for g in self.permanent_mm if g is not None]
        return (min(found), max(found)) if len(found) == len(self.shares) else None


def share_is_open(profile: Profile) -> bool:
    """Whether metal that yields comes with neither a share nor a back stress."""
    material = profile.material
    given = material.kinematic_share > 0.0 or material.back_stress is not None
    return material.yield_strength is not None and not given


def kinematic_band(profile: Profile, settings: Settings | None = None) -> KinematicBand:
    """Reversal pressure and permanent growth of a bottom over SHARES.

    settings : as for `reversal`; waves are left out and the first growth_at is taken.
    """
    settings = settings or Settings()
    at = settings.growth_at[:1] or Settings().growth_at[:1]
    settings = replace(settings, waves=0, follow=False, growth_at=at, required=None)
    pressures: list[float | None] = []
    growths: list[float | None] = []
    for share in SHARES:
        metal = replace(profile.material, kinematic_share=share, back_stress=None)
        record = reversal(replace(profile, material=metal), settings)
        pressures.append(record.reversal_pressure_mpa)
        one: Growth = record.growth[0]
        growths.append(one.permanent_stand_growth_mm)
    return KinematicBand(SHARES, tuple(pressures), at[0], tuple(growths))
