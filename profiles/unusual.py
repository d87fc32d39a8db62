"""Values that are allowed but unusual: most are slips of a unit or of a decimal point.

The usual ranges are those of drinks cans and their sheet: common practice, no source.
"""

from __future__ import annotations

import math

from domemargin.profiles.limits import LIMITS, SHOWN_UNIT, shown
from domemargin.profiles.material import Table
from domemargin.profiles.profile import Profile

_DEG = math.pi / 180.0
# internal units (mm, radians, MPa)
USUAL: dict[str, tuple[float, float]] = {
    "shape.stand_diameter": (30.0, 80.0),
    "shape.dome_depth": (4.0, 15.0),
    "shape.dome_radius": (20.0, 90.0),
    "shape.shoulder_radius": (0.4, 5.0),
    "shape.inner_leg_angle": (-10.0 * _DEG, 25.0 * _DEG),
    "shape.nose_radius": (0.7, 4.0),
    "shape.outer_leg_angle": (35.0 * _DEG, 80.0 * _DEG),
    "shape.heel_radius": (1.5, 15.0),
    "shape.body_diameter": (40.0, 100.0),
    "sheet.bottom_gauge": (0.18, 0.6),
    "sheet.wall_gauge": (0.06, 0.4),
    "material.elastic_modulus": (60e3, 215e3),
    "material.poisson_ratio": (0.25, 0.36),
    "material.yield_strength": (80.0, 600.0),
    "material.density": (2.5, 8.1),
}
_MOST_STRAIN, _MOST_FACTOR = 1.0, 2.0


def unusual(profile: Profile) -> tuple[str, ...]:
    """A sentence on each value of a profile that is allowed but unusual, without the full stop."""
    notes = []
    for key, (low, high) in USUAL.items():
        part, name = key.split(".")
        value = getattr(getattr(profile, part), name)
        kind = LIMITS[key].kind
        values = value if isinstance(value, tuple) else (value,)
        for one in values:
            if one is not None and not low <= one <= high:
                usual = f"{shown(low, kind).split(' ')[0]} to {shown(high, kind)}"
                notes.append(f"{key} is {shown(one, kind)}; usual are {usual}")
    sheet = profile.sheet
    if sheet.wall_gauge > sheet.bottom_gauge:
        notes.append(
            f"sheet.wall_gauge is {shown(sheet.wall_gauge, 'length')}, more than bottom_gauge, "
            f"{shown(sheet.bottom_gauge, 'length')}; usual is less"
        )
    return (*notes, *_of_metal(profile), *_along(profile))


def _of_metal(profile: Profile) -> list[str]:
    law = profile.material.hardening
    if not isinstance(law, Table):
        return []
    notes = []
    key = "material.hardening"
    if max(law.plastic_strain) > _MOST_STRAIN:
        notes.append(
            f"{key}.plastic_strain goes up to {max(law.plastic_strain):g}; usual is at most "
            f"{_MOST_STRAIN:g}: 5 % is written 0.05"
        )
    for before, after in zip(law.stress, law.stress[1:]):
        if after < before:
            notes.append(
                f"{key}.stress falls from {before:g} to {after:g} {SHOWN_UNIT['stress']}; usual "
                "is true stress, which rises"
            )
            break
    first = profile.material.yield_strength or 0.0
    if max(law.stress) > _MOST_FACTOR * first > 0.0:
        notes.append(
            f"{key}.stress goes up to {max(law.stress):g} MPa; usual is at most "
            f"{_MOST_FACTOR:g} times the first"
        )
    return notes


def _along(profile: Profile) -> list[str]:
    """Zones and table."""
    notes = []
    gauge = profile.sheet.bottom_gauge
    strains = [zone.prior_strain for zone in profile.zones if zone.prior_strain is not None]
    if profile.along is not None:
        strains += list(profile.along.prior_strain or ())
        offsets = [abs(offset) for offset in profile.along.offset or ()]
        if offsets and max(offsets) > gauge:
            notes.append(
                f"along.offset goes up to {shown(max(offsets), 'length')}; usual is less than the "
                f"gauge, {shown(gauge, 'length')}"
            )
    if strains and max(strains) > _MOST_STRAIN:
        notes.append(
            f"prior_strain goes up to {max(strains):g}; usual is at most {_MOST_STRAIN:g}: 15 % "
            "is written 0.15"
        )
    return notes
