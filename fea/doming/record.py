"""The record of a doming solve, as plain data."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from domemargin.fea.core.record import plain
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
    "formed": "the bottom was formed and released",
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
    positive.  depth_mm : of the dome under load.  carried_mm : radius up to which the die touches
    the metal from the centre outward.
    """

    die_mm: Floats
    overtravel_mm: Floats
    punch_n: Floats
    die_n: Floats
    flange_n: Floats
    clamp_n: Floats
    depth_mm: Floats
    carried_mm: Floats

    @property
    def peak_force_n(self) -> float:
        """Largest force on the station: the load on the machine."""
        return float(self.die_n.max())

    @property
    def punch_force_n(self) -> float:
        """Largest force on the punch."""
        return float(-self.punch_n.min())


@dataclass(frozen=True)
class StrokeEnd:
    """The end of the stroke, under load.

    loaded_depth_mm : of the dome.  bottomed : whether the flange holds the nose.
    overtravel_mm : of the station.  depth_per_kn : change of depth with the force of the station's
    spring, mm/kN, 0 where set or flange end the stroke; depth_band_mm : possible error of the
    depth by mesh and steps for that reason; depth_low_mm : by how much at most the depth is too
    low for that reason, since the shell reads more force than a solid.
    """

    loaded_depth_mm: float
    bottomed: bool
    overtravel_mm: float
    depth_per_kn: float
    depth_band_mm: float
    depth_low_mm: float


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
    part : of the formed bottom.  thickness_mm; thinning : lost share of the blank's gauge, mean of
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
class Rest:
    """The formed bottom at rest.

    depth_mm : as a gauge reads it.  springback_mm : depth under load less that.  draw_in_mm :
    metal that went over the nose.  thinning_limit : share; thinning_limit_source : given or by
    theory.  split_risk : worst thinning over the limit; 1 is at the limit, None without one.
    hoop_strain : the most negative of the middle fibre, logarithmic; the more negative it is, the
    likelier the metal wrinkles.
    fitted : the formed bottom in the dimensions of a profile (mm, radians, middle surface; a dome
    of several zones has lists), None where they do not describe it; misfit_mm, misfit_largest_mm :
    distance of the formed line from the nearest chain, root mean square and largest, None where
    no chain was found.
    """

    depth_mm: float
    springback_mm: float
    draw_in_mm: float
    worst: Worst
    thinning_limit: float
    thinning_limit_source: str
    split_risk: float | None
    hoop_strain: float
    fitted: dict[str, Any] | None
    misfit_mm: float | None
    misfit_largest_mm: float | None
    metal: Metal


@dataclass(frozen=True)
class Embossing:
    """Whether a stroke forms marks in the bottom's centre, an estimate; see doming/marks.py.

    pressure_mpa : of the die on the circle of the marks at the end.  counter_mpa : at most, by a
    counter-face.  needed_mpa : to form a mark of the stated width and height.  share : the larger
    of the two over what is needed.  carried_mm : radius up to which the die touches the metal at
    the end.  rise_mm : of the die from first touch at which the whole circle is carried.
    margin_mm : rise at the end less rise_mm; negative: the stroke ends that much too early.
    force_n, set_mm : force of a station, and set of this one, with which the stroke would end at
    rise_mm.  depth_lost_mm : depth, under load, that such a stroke loses against this one;
    negative: it would be deeper.  None where no stroke carries the circle.
    """

    pressure_mpa: float
    counter_mpa: float
    needed_mpa: float
    share: float
    carried_mm: float
    rise_mm: float | None
    margin_mm: float | None
    force_n: float | None
    set_mm: float | None
    depth_lost_mm: float | None
    basis: str = "estimate by a clamped strip; not checked against marked cans"


@dataclass(frozen=True)
class DomingRecord:
    """The results of a doming solve.

    kind : one of KINDS.  stroke, end, rest : None where the solve did not come so far.
    embossing : of the centre.  balances : of each stage reached.
    reversal : of the formed bottom under pressure, part by part, the last with all parts.
    """

    tooling: Tooling
    kind: str
    reason: str
    stroke: Stroke | None = None
    end: StrokeEnd | None = None
    rest: Rest | None = None
    embossing: Embossing | None = None
    balances: tuple[Balance, ...] = ()
    reversal: dict[str, FormedReversal] = field(default_factory=dict)
    seconds: float = 0.0
    caution: str = DOMING_CAUTION

    @property
    def reversal_pressure_mpa(self) -> float | None:
        """Of the formed bottom with thickness, hardening and residual stress."""
        whole = self.reversal.get(ALL)
        return None if whole is None else whole.reversal_pressure_mpa

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, numbers, texts and None, ready for JSON.

        Peak forces and the fields of end and rest stand beside those of the record, None where
        the solve did not come so far.
        """
        data = asdict(self)
        end, rest = data.pop("end"), data.pop("rest")
        stroke = self.stroke
        data["peak_force_n"] = None if stroke is None else stroke.peak_force_n
        data["punch_force_n"] = None if stroke is None else stroke.punch_force_n
        for part, found in ((StrokeEnd, end), (Rest, rest)):
            data |= dict.fromkeys(one.name for one in fields(part)) if found is None else found
        if rest is None:
            data["thinning_limit_source"] = ""
        flat: dict[str, Any] = plain(data)
        return flat
