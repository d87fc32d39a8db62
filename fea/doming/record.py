"""One doming solve in, one record out, as plain data."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.core.record import _plain
from domemargin.fea.doming.reversal import FormedReversal
from domemargin.profiles.tooling.tooling import Tooling

Floats = NDArray[np.float64]

ALL = "+ residual stress"  # the row of a reversal with the whole formed state

DOMING_CAUTION = (
    "A model estimate, to be confirmed by measured cans and a reversal test; follow local codes "
    "and qualified people for pressure tests.  More set loads the drive, thinner metal may split: "
    "changes of tooling and setting are decided by qualified people."
)

KINDS = {
    "formed": "the bottom was formed and let go",
    "blank failed": "the bent blank could not be laid on the punch",
    "clamp failed": "the clamp ring could not be brought to its force",
    "stroke failed": "the die could not be raised to the end of its stroke",
    "die off failed": "the metal could not be followed while the die left",
    "clamp off failed": "the metal could not be followed while the clamp ring left",
    "punch off failed": "the metal could not be followed while the punch left",
}


@dataclass(frozen=True)
class Stroke:
    """The stroke; every field (n,).

    die_mm : rise of the die from first touch.  overtravel_mm : of the station.  punch_n, die_n,
    flange_n (the share of die_n that the flange takes), clamp_n : axial forces on the metal, up
    positive.
    """

    die_mm: Floats
    overtravel_mm: Floats
    punch_n: Floats
    die_n: Floats
    flange_n: Floats
    clamp_n: Floats


@dataclass(frozen=True)
class Balance:
    """Energies (N mm) and forces at the end of a stage, since the start.

    energy_gap : work less what it went into, as a share of it.  force_gap : sum of axial forces
    over the largest.
    """

    stage: str
    work: float
    stored: float
    plastic: float
    friction: float
    contact: float
    energy_gap: float
    force_gap: float


@dataclass(frozen=True)
class Metal:
    """The formed metal at rest along the blank's arc length; (n,) at points of the mesh.

    place_mm : arc length in the blank.  r_mm, z_mm : where it lies now, z from the stand plane.
    part : of the formed bottom.  thickness_mm; thinning : share of the blank's gauge, mean over
    1 mm.  meridian_strain, hoop_strain : of the middle fibre, logarithmic, means over 1 mm.
    layer_place : (n_layers,) distance from the middle fibre, mm.  plastic_strain,
    meridian_stress_mpa, hoop_stress_mpa : (n, n_layers), from the outside face inward.
    """

    place_mm: Floats
    r_mm: Floats
    z_mm: Floats
    part: tuple[str, ...]
    thickness_mm: Floats
    thinning: Floats
    meridian_strain: Floats
    hoop_strain: Floats
    layer_place: Floats
    plastic_strain: Floats
    meridian_stress_mpa: Floats
    hoop_stress_mpa: Floats


@dataclass(frozen=True)
class Worst:
    """The thinnest place: thinning, part, arc length in the blank and radius at rest, mm."""

    thinning: float
    part: str
    place_mm: float
    r_mm: float


@dataclass(frozen=True)
class DomingRecord:
    """What a doming solve found.

    kind : one of KINDS; all that follows is None where the solve did not come so far.
    depth_mm : as a gauge reads it, at rest.  loaded_depth_mm : at the end of the stroke.
    springback_mm : the difference.  bottomed : whether the flange holds the nose.
    overtravel_mm : of the station at the end.  peak_force_n : on the station, the load on the
    machine; punch_force_n : on the punch at its peak.  draw_in_mm : metal that went over the
    nose.  thinning_limit : share; thinning_limit_source : given or by theory.  split_risk :
    worst thinning over the limit; 1 is at the limit.  centre_pressure_mpa : die on the bottom's
    centre at the end of the stroke; centre_touched : share of the centre that it touches.
    fitted : the formed bottom in the dimensions of a profile (mm, radians, middle surface), with
    misfit_mm, root mean square.
    reversal : part by part, the last with all parts.
    """

    tooling: Tooling
    kind: str
    reason: str
    depth_mm: float | None = None
    loaded_depth_mm: float | None = None
    springback_mm: float | None = None
    bottomed: bool | None = None
    overtravel_mm: float | None = None
    peak_force_n: float | None = None
    punch_force_n: float | None = None
    draw_in_mm: float | None = None
    worst: Worst | None = None
    thinning_limit: float | None = None
    thinning_limit_source: str = ""
    split_risk: float | None = None
    centre_pressure_mpa: float | None = None
    centre_touched: float | None = None
    fitted: dict[str, float] | None = None
    misfit_mm: float | None = None
    stroke: Stroke | None = None
    metal: Metal | None = None
    balances: tuple[Balance, ...] = ()
    reversal: dict[str, FormedReversal] = field(default_factory=dict)
    seconds: float = 0.0
    caution: str = DOMING_CAUTION

    @property
    def reversal_pressure_mpa(self) -> float | None:
        """Of the formed bottom with all that forming left in it."""
        whole = self.reversal.get(ALL)
        return None if whole is None else whole.reversal_pressure_mpa

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, numbers, texts and None, ready for JSON."""
        plain: dict[str, Any] = _plain(asdict(self))
        return plain
