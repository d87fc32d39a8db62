"""One case in, one record out: what a reversal solve found, as plain data."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields, is_dataclass
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.profile import Profile

CAUTION = (
    "A model estimate, to be confirmed by a reversal test on real cans; "
    "follow local codes and qualified people for pressure tests."
)

# every ending a solve can have
KINDS = {
    "limit": "the pressure turns: the bottom cannot take more, all round",
    "bifurcation": "the bottom lets go in waves, or a second path opens, while pressure rises",
    "none_below_ceiling": "no reversal up to the ceiling",
    "not_resolved": "a reversal was found, but not to the resolution asked for",
    "not_converged": "the solve could not be carried on",
}

UNANSWERED = ("not_resolved", "not_converged")  # endings that leave the question open


@dataclass(frozen=True)
class Curve:
    """The followed path; every field has one entry a state, the first at no pressure.

    pressure_mpa.  centre_travel_mm : lowering of the dome centre.  stand_growth_mm : lowering
    of the stand ring (the can gets taller).  swept_volume_mm3 : gain of enclosed volume.
    negative_pivots : negative eigenvalues of the axisymmetric tangent.
    """

    pressure_mpa: Floats
    centre_travel_mm: Floats
    stand_growth_mm: Floats
    swept_volume_mm3: Floats
    negative_pivots: Ints


@dataclass(frozen=True)
class Growth:
    """Growth at a pressure that was asked for, and what stays after it is let off; mm.

    The values are None where the bottom reverses before the pressure or a solve failed; reason
    then says which.
    """

    pressure_mpa: float
    centre_travel_mm: float | None
    stand_growth_mm: float | None
    permanent_centre_travel_mm: float | None
    permanent_stand_growth_mm: float | None
    reason: str


@dataclass(frozen=True)
class Place:
    """A spot in the metal: part, arc length and (r, z) of the unloaded mid-surface, mm; face
    the nearer surface."""

    part: str
    arc_length_mm: float
    r_mm: float
    z_mm: float
    face: str


@dataclass(frozen=True)
class FirstYield:
    """Where metal first yields, and at what pressure."""

    pressure_mpa: float
    place: Place


@dataclass(frozen=True)
class PlasticZone:
    """A stretch of the meridian that is at yield through three quarters of its gauge or more."""

    part: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Onset:
    """The last state before the limit: largest plastic strain (of forming and loading) and
    thinning (share of the gauge), and the fully plastic stretches."""

    pressure_mpa: float
    peak_plastic_strain: float
    peak_place: Place
    largest_thinning: float
    fully_plastic: tuple[PlasticZone, ...]


@dataclass(frozen=True)
class WaveMode:
    """Where the bottom first becomes unstable in n circumferential waves.

    waves : n.  pressure_mpa : there.  before_limit : whether it comes before the axisymmetric
    limit on the path; if not, the pressure is one on the falling branch.
    radial, axial, hoop : (n,) displacement of the nodes of the outlines, the first two times
    cos(n theta), the last times sin(n theta); the largest is 1.
    """

    waves: int
    pressure_mpa: float
    before_limit: bool
    radial: Floats
    axial: Floats
    hoop: Floats


@dataclass(frozen=True)
class Stability:
    """Reversal pressure by the ways in which a bottom can let go.

    axisymmetric_limit_mpa : all round at once.
    flow : first onset in waves by flow theory, the one that counts; None if there is none on the
    path that was followed.
    deformation : the same by deformation theory, a second opinion that is known to lie low; n = 0
    counts here too.
    theory_band_mpa : from the lowest to the highest of the pressures that either theory gives for
    the reversal: a theory check, no uncertainty of the answer.  Flow theory is known to miss waves
    in the knuckle of thin steel heads (Roche & Autrusson 1986, J. Pressure Vessel Technology
    108:138, abstract), which set in while hoop compression grows in proportion.  A can bottom turns
    over all round, at a limit that no shear modulus decides, while its nose bends and unbends:
    deformation theory does not hold on such a path, and its onset on a path of flow theory bounds
    nothing.
    waves_checked : n from 1 to this.
    """

    axisymmetric_limit_mpa: float | None
    flow: WaveMode | None
    deformation: WaveMode | None
    theory_band_mpa: tuple[float, float] | None
    waves_checked: int


@dataclass(frozen=True)
class Outline:
    """A deformed meridian; (n,) mid-surface r, z (mm) and tangent angle (radians) at nodes."""

    pressure_mpa: float
    r_mm: Floats
    z_mm: Floats
    angle_rad: Floats


@dataclass(frozen=True)
class MeshFigures:
    """What was solved: elements, unknowns, layers (largest number through the gauge) and the
    step of the path as a share of a roll of the nose by one radian."""

    model: str
    elements: int
    unknowns: int
    layers: int
    step: float


@dataclass(frozen=True)
class Slope:
    """How fast one answer moves with one input (fea/bottom/slopes.py).

    quantity : of the answer, with its unit ("reversal_pressure_mpa", "stand_growth_mm at
    0.6205 MPa").  name : of the input.  value : of the input, and step : half the distance of the
    two solves; mm, radians, MPa or a number.
    slope : unit of the quantity per internal unit of the input; error : of it, about two standard
    deviations.  per : the change that people say, in internal units, and per_words with its unit
    ("0.01 mm"); change : of the quantity for it.  None of them where reason says why.
    """

    quantity: str
    name: str
    value: float
    step: float
    slope: float | None
    error: float | None
    per: float
    per_words: str
    change: float | None
    reason: str = ""


@dataclass(frozen=True)
class Record:
    """The answer to one case.

    reversal_pressure_mpa : None where kind says that none was found; the lower of the axisymmetric
        limit and the first onset in waves by flow theory.
    limit_on_curve_mpa : the top of the curve at the step used, also where its resolution was not
        reached and no reversal pressure is quoted; step_correction_mpa takes it to
        the limit of short steps, and the sum is the reversal pressure.
    resolution : what was asked, as a share of the reversal pressure.
    margin : reversal / required - 1.
    after : the last state followed: after reversal where the path was followed beyond it.
    slopes : on request (fea/bottom/slopes.py); None where they were not asked for.
    """

    profile: Profile
    kind: str
    reason: str
    reversal_pressure_mpa: float | None
    limit_on_curve_mpa: float | None
    step_correction_mpa: float | None
    resolution: float
    ceiling_mpa: float
    required_pressure_mpa: float | None
    margin: float | None
    mesh: MeshFigures
    curve: Curve
    growth: tuple[Growth, ...]
    first_yield: FirstYield | None
    onset: Onset | None
    stability: Stability | None
    before: Outline
    at_onset: Outline | None
    after: Outline | None
    iterations: int
    seconds: float
    versions: dict[str, str]
    slopes: tuple[Slope, ...] | None = None
    caution: str = CAUTION

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, numbers, texts and None, ready for JSON; the profile as in its file."""
        return record_dict(self)


def record_dict(record: Any) -> dict[str, Any]:
    """A record, which has a profile, as plain lists, numbers, texts and None."""
    import tomllib

    from domemargin.profiles.files.writing import dump_profile

    names = (field.name for field in fields(record) if field.name != "profile")
    inputs = tomllib.loads(dump_profile(record.profile))
    return {"inputs": inputs, **{name: plain(getattr(record, name)) for name in names}}


def plain(value: Any) -> Any:
    """Lists, numbers, texts and None in place of data classes and arrays; NaN and inf as None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {key: plain(entry) for key, entry in asdict(value).items()}
    if isinstance(value, np.ndarray):
        return [plain(entry) for entry in value.tolist()]
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
