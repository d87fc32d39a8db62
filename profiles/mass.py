"""Mass of the bottom, of a whole can body, and of a thousand of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from domemargin.profiles.derived import metal_volume
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile

# of a can of 66 mm and 330 ml, as trimmed: common practice, no source
USUAL_HEIGHT = 115.0
HEIGHTS = (20.0, 400.0)


@dataclass(frozen=True)
class Mass:
    """Metal of a bottom and of a can body.

    bottom_g : from the axis to the end of the heel.  can_g : that and a straight wall of the wall
    gauge up to can_height_mm.  Per 1,000 cans a number in g is the same in kg.
    includes : what can_g holds and what it leaves out, one sentence.
    """

    bottom_g: float
    can_g: float
    can_height_mm: float
    includes: str


def mass_of(profile: Profile, can_height: float = USUAL_HEIGHT) -> Mass:
    """The mass of a bottom and of a can body of a height (mm over the stand plane).

    The wall goes on from the top of the modelled one as a cylinder of its gauge there.
    Raises InputError for a height out of 20 to 400 mm or below the heel.
    """
    line = profile.meridian
    heel = profile.chain.heel_height
    low = max(HEIGHTS[0], heel)
    if not low <= can_height <= HEIGHTS[1]:
        allowed = f"{low:.4g} to {HEIGHTS[1]:g} mm"
        raise InputError(
            f"can height is {can_height:.6g} mm; it must be {allowed}",
            "can height", f"{can_height:.6g} mm", allowed,
        )  # fmt: skip
    to_grams = profile.material.density * 1e-3
    foot, end = line.span("sidewall")  # straight up: a height is an arc length
    stop = min(foot + can_height - heel, end)
    bottom = metal_volume(profile, 0.0, foot)
    volume = bottom + metal_volume(profile, foot, stop)
    above = can_height - heel - (stop - foot)
    if stop == end and above > 0.0:
        radius, gauge = float(line.at(end).r), float(profile.thickness(end))
        volume += 2.0 * math.pi * radius * gauge * above
    includes = (
        f"bottom and straight wall of {float(profile.thickness(line.length)):.4g} mm up to "
        f"{can_height:.5g} mm; no thicker wall at the neck, no flange, end, ink or coating"
    )
    return Mass(bottom * to_grams, volume * to_grams, can_height, includes)
