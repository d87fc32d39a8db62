"""What an uneven bottom holds: its path to the limit, beside that of the even bottom.

The even bottom is solved first, to its full resolution and once more with the steps of the uneven
one: what those steps cost it is taken off the uneven limit too.  Measured on tilted bottoms that
leaves 0.1 % (tests/test_uneven_bottom.py).  Harmonics are added until the highest no longer counts.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from domemargin.fea.around.waviness import costs
from domemargin.fea.bottom.readings import lowest
from domemargin.fea.bottom.reversal import (
    ELASTIC_STEP,
    Solved,
    record_of,
    solve_path,
)
from domemargin.fea.core.limit import EXACT_NEWTON, SEEK_NEWTON, STRAY, graded
from domemargin.fea.core.path import Newton, System
from domemargin.fea.core.ramp import Plan, Ramp, pressure_control, ramp
from domemargin.fea.core.record import CAUTION, Record
from domemargin.fea.core.settings import Settings
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell
from domemargin.fea.uneven.harmonics import Round
from domemargin.fea.uneven.mirror import leaves_symmetry
from domemargin.fea.uneven.shape import is_mirrored, moved_nodes, shell_around
from domemargin.fea.uneven.shell import UnevenShell, UnevenState
from domemargin.profiles.around import Around
from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile

RESOLUTION = 0.005  # of the uneven limit
# steps to the even bottom's limit; the limit falls a fifth of a step beyond a step's end
STEPS = 36.2
# a limit counts once the pressure has fallen by this share: beyond it an uneven bottom snaps, at a
# cost of ten times the path before.  Where it comes early it may be a dip: then by the second
SOON, DIP, EARLY = 0.003, 0.1, 0.6
# harmonics that are tried in turn; three stations for each wave
HARMONICS = (4, 8, 12, 16)
# largest displacement in the highest harmonic over that of all that are not even, up to which
# they are enough
TAIL = 0.01
ROUND = 72  # angles at which a stand ring is read


@dataclass(frozen=True)
class RingGrowth:
    """What the stand ring does under a pressure, round the can.

    pressure_mpa : held.  growth_mm, permanent_mm : (ROUND,) lowering of the stand ring at
    UnevenRecord.angles, under the pressure and after it is let off.
    lean_deg : of the plane through the ring after it is let off, against that before.
    rock_mm : how far the ring then departs from a plane, highest less lowest point; as made in
    rock_before_mm.  reason : why there are none, if so; the others are then None.
    """

    pressure_mpa: float
    growth_mm: Floats | None
    permanent_mm: Floats | None
    lean_deg: float | None
    rock_mm: float | None
    rock_before_mm: float | None
    reason: str = ""


@dataclass(frozen=True)
class UnevenRecord:
    """What an uneven bottom holds.

    around : what is uneven.  kind, reason : as in Record; "limit", "none_below_ceiling",
    "not_resolved" or "not_converged".  pressure_mpa : reversal pressure, None without an answer.
    even_mpa : of the even bottom, None if it has none below the ceiling.
    share_lost : 1 - pressure / even_mpa, negative for a gain.
    estimate_mpa : of second order in the shape's amplitude (waviness.py); None where the shape is
    even or the estimate cannot be made.  It does not know of uneven gauge or yield strength.
    harmonics, stations : round the can.  tail : see TAIL.
    pressures_mpa, travel_mm : (k,) of the path, travel of the dome centre.
    angles : (ROUND,) radians.  growth : at the pressures asked for.
    iterations : tangents factored, of all that was tried.  seconds : of one core, without those of
    the even bottom.
    """

    around: Around
    kind: str
    reason: str
    pressure_mpa: float | None
    even_mpa: float | None
    share_lost: float | None
    estimate_mpa: float | None
    harmonics: int
    stations: int
    tail: float
    pressures_mpa: Floats
    travel_mm: Floats
    angles: Floats
    growth: tuple[RingGrowth, ...]
    iterations: int
    seconds: float
    caution: str = CAUTION


@dataclass(frozen=True)
class EvenBottom:
    """The even bottom that uneven ones are compared with.

    plan : of the uneven paths.  scale : limit to the full resolution over that of the plan's steps.
    """

    profile: Profile
    settings: Settings
    solved: Solved
    record: Record
    plan: Plan
    scale: float

    @property
    def shell(self) -> Shell:
        """Its shell."""
        system = self.solved.view.system
        assert isinstance(system, Shell)
        return system


@dataclass(frozen=True)
class UnevenPath:
    """A followed path of an uneven bottom; for pictures."""

    shell: UnevenShell
    path: Ramp


def even_bottom(profile: Profile, settings: Settings | None = None) -> EvenBottom:
    """Solve a profile without what is uneven in it."""
    settings = replace(settings or Settings(), model="shell", follow=False)
    profile = replace(profile, around=None)
    solved = solve_path(profile, settings)
    record = record_of(profile, settings, solved)
    limit, elastic = solved.found.path.limit, solved.view.elastic
    plan = solved.found.plan
    if elastic:
        plan = replace(plan, step=ELASTIC_STEP, newton=EXACT_NEWTON, located=1e-4, ripple=SOON)
        return EvenBottom(profile, settings, solved, record, plan, 1.0)
    length = STEPS * 0.15 if limit is None else limit.place
    plan = replace(
        plan,
        step=length / STEPS,
        lengths=graded(STEPS, length),
        most_steps=400,
        known=np.inf,
        ripple=SOON,
        stray=STRAY,
        history=True,
        newton=SEEK_NEWTON,
    )
    scale = 1.0
    if limit is not None:
        rough = ramp(solved.view.system, solved.view.start(), plan).limit
        if rough is not None:
            scale = (limit.pressure + (solved.found.correction or 0.0)) / rough.pressure
    return EvenBottom(profile, settings, solved, record, plan, scale)


def uneven(
    profile: Profile,
    around: Around | None = None,
    settings: Settings | None = None,
    harmonics: int | None = None,
    even: EvenBottom | None = None,
) -> UnevenRecord:
    """The reversal pressure of an uneven bottom.

    around : what is uneven, by default the profile's own.  settings : as for reversal.
    harmonics : how many; by default as many as it takes.  even : if it is solved already.
    Raises InputError if nothing is given that is uneven, or for a number out of range.
    """
    return solve_uneven(profile, around, settings, harmonics, even)[0]


def solve_uneven(
    profile: Profile,
    around: Around | None = None,
    settings: Settings | None = None,
    harmonics: int | None = None,
    even: EvenBottom | None = None,
) -> tuple[UnevenRecord, UnevenPath]:
    """`uneven`, with the path it took."""
    around = around or profile.around
    if around is None:
        raise InputError(
            "around is missing: nothing is given that is uneven; give [around] in the profile "
            "file or an amount",
            "around",
            "missing",
            "given",
        )
    if harmonics is not None and not 1 <= harmonics <= 24:
        raise InputError(
            f"harmonics is {harmonics}; it must be 1 to 24", "harmonics", str(harmonics), "1 to 24"
        )
    even = even or even_bottom(profile, settings)
    started = time.process_time()
    half = is_mirrored(around, even.profile.meridian)
    needed = max((int(wave.waves) for wave in around.wave), default=0) + 2
    stability = even.record.stability
    if stability is not None and stability.flow is not None:
        # the waves in which the even bottom would let go must be among them
        needed = max(needed, stability.flow.waves + 2)
    tried = [n for n in HARMONICS if n >= needed] or [needed]
    iterations, before = 0, None
    for number in [harmonics] if harmonics else tried:
        stations = 3 * number if number % 2 == 0 else 3 * number + 1
        round_ = Round(number, max(stations, 6), half)
        shell = shell_around(even.shell, even.profile.meridian, around, round_)
        path = _followed(shell, even)
        iterations += path.iterations
        tail = _tail(path)
        now = None if path.limit is None else path.limit.pressure * even.scale
        moved = np.inf if now is None or before is None else abs(now / before - 1.0)
        before = now
        if now is None or tail <= TAIL or moved <= 0.2 * RESOLUTION:
            break
    kind, reason, pressure = _answer(path, even, now, tail, moved, number)
    if half and pressure is not None:
        whole = replace(round_, half=False)
        kind, reason, pressure = _out_of_plane(
            shell,
            shell_around(even.shell, even.profile.meridian, around, whole),
            path,
            even.scale,
            (kind, reason, pressure),
        )
    record = even.record.reversal_pressure_mpa
    found = UnevenRecord(
        around,
        kind,
        reason,
        pressure,
        record,
        None if pressure is None or record is None else 1.0 - pressure / record,
        _estimate(around, even),
        number,
        round_.stations,
        tail,
        np.array([state.pressure for state in path.states]),
        np.array([path.states[0].x[0, 1, 0] - state.x[0, 1, 0] for state in path.states]),
        2.0 * np.pi * np.arange(ROUND) / ROUND,
        tuple(_growth(shell, path, even, p) for p in _wanted(even.settings)),
        iterations,
        time.process_time() - started,
    )
    return found, UnevenPath(shell, path)


def _followed(shell: UnevenShell, even: EvenBottom) -> Ramp:
    """A path to the limit; looked at longer where the limit comes so early that it may be a dip."""
    system: System = shell
    path = ramp(system, shell.start(), even.plan)
    limit = even.solved.found.path.limit
    if path.limit is not None and limit is not None and path.limit.place < EARLY * limit.place:
        further = ramp(system, shell.start(), replace(even.plan, ripple=DIP))
        return further if further.limit is not None else path
    return path


def _answer(
    path: Ramp, even: EvenBottom, pressure: float | None, tail: float, moved: float, number: int
) -> tuple[str, str, float | None]:
    """Kind, reason and pressure of a path."""
    if path.limit is None or pressure is None:
        kind = "none_below_ceiling" if path.ending == "ceiling" else "not_converged"
        return kind, path.reason, None
    if pressure > even.settings.ceiling:
        return "none_below_ceiling", f"no reversal below {even.settings.ceiling:.4g} MPa", None
    if tail > TAIL and moved > RESOLUTION:
        reason = (
            f"the pressure turns at {pressure:.4g} MPa or so, but {number} harmonics do not "
            f"resolve the shape: the highest has {tail:.1%} of what is uneven"
        )
        return "not_resolved", reason, None
    return path.limit.kind, path.limit.describe(pressure), pressure


def _out_of_plane(
    half: UnevenShell,
    whole: UnevenShell,
    path: Ramp,
    scale: float,
    answer: tuple[str, str, float],
) -> tuple[str, str, float | None]:
    """The answer, or the pressure at which the bottom leaves its plane of symmetry before it."""
    assert path.limit is not None
    states, low, high = path.states, 0, path.limit.before

    def leaves(index: int) -> bool:
        return leaves_symmetry(half, whole, states[index - 1], states[index])

    if high == 0 or not leaves(high):
        return answer
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if leaves(middle) else (middle, high)
    first, last = scale * states[low].pressure, scale * states[high].pressure
    pressure = 0.5 * (first + last)
    if last - first > 2.0 * RESOLUTION * pressure:
        reason = (
            f"the bottom leaves its plane of symmetry between {first:.4g} and {last:.4g} MPa; "
            "the steps of the path do not tell where"
        )
        return "not_resolved", reason, None
    return "bifurcation", f"the bottom leaves its plane of symmetry at {pressure:.4g} MPa", pressure


def _tail(path: Ramp) -> float:
    """Displacement in the highest harmonic over that in all that are not even, before the limit."""
    last = path.states[path.limit.before if path.limit is not None else -1]
    moved = np.abs(last.x - path.states[0].x)[:, [0, 1, 3]].max(axis=(0, 1))
    if len(moved) < 3 or moved[1:].max() < 1e-9:
        return 0.0
    return float(moved[-1] / moved[1:].max())


def _estimate(around: Around, even: EvenBottom) -> float | None:
    """Pressure by the second-order estimate of waviness.py, wave by wave."""
    pressure = even.record.reversal_pressure_mpa
    if pressure is None:
        return None
    round_ = Round(8, 24, False)
    moved = moved_nodes(even.shell, even.profile.meridian, around, round_)
    lost, some = 0.0, False
    for h, n in enumerate(round_.waves.tolist()):
        height = float(np.abs(moved[:, [0, 1, 3], h]).max())
        if n == 0 or height < 1e-6:
            continue
        some = True
        try:
            (cost,) = costs(even.solved, int(n), (height,), even.record, moved[:, :, h] / height)
        except SolveError:
            return None
        lost += cost.share_lost or 0.0
    return max(0.0, pressure * (1.0 - lost)) if some else None


def _wanted(settings: Settings) -> list[float]:
    wanted = {*settings.growth_at, *([settings.required] if settings.required else [])}
    return sorted(wanted)


def surface(shell: UnevenShell, state: UnevenState, angles: Floats) -> Floats:
    """(n_nodes, k, 3) x, y, z of the mid-surface at angles (k,), mm."""
    values, odd = shell.round.basis(angles)
    r, z = (state.x[:, field] @ values[0].T for field in (0, 1))
    v = state.x[:, 3] @ odd[0].T
    cos, sin = np.cos(angles), np.sin(angles)
    return np.stack((r * cos - v * sin, r * sin + v * cos, z), axis=2)


def stand_ring(shell: UnevenShell, state: UnevenState, angles: Floats) -> Floats:
    """(k,) lowest height of the outside surface at angles, mm."""
    values, _ = shell.round.basis(angles)
    even = shell.even
    half = np.interp(even.s, even.point_s, 0.5 * even.gauge)
    z, phi = (state.x[:, field] @ values[0].T for field in (1, 2))
    return lowest(even.s, (z - half[:, None] * np.cos(phi)).T)


def plane_of(heights: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """Mean, cosine and sine of the plane through a ring's heights, and what is left of them."""
    table = np.stack((np.ones_like(angles), np.cos(angles), np.sin(angles)), axis=1)
    plane = table.T @ heights / len(angles) * (1.0, 2.0, 2.0)
    return plane, heights - table @ plane


def _growth(shell: UnevenShell, path: Ramp, even: EvenBottom, pressure: float) -> RingGrowth:
    limit = path.limit
    states: Sequence[UnevenState] = path.states[: None if limit is None else limit.before + 1]
    if pressure > states[-1].pressure:
        why = "the bottom reverses first" if limit is not None else "the path ends first"
        return RingGrowth(pressure, None, None, None, None, None, why)
    base = [state for state in states if state.pressure <= pressure][-1]
    plan = replace(even.plan, newton=Newton(tolerance=1e-4))
    system: System = shell
    try:
        loaded = pressure_control(system, base, pressure, plan)
        unloaded = pressure_control(system, loaded, 0.0, plan, steps=3)
    except SolveError as error:
        return RingGrowth(pressure, None, None, None, None, None, error.reason)
    angles = 2.0 * np.pi * np.arange(ROUND) / ROUND
    first, at, after = (stand_ring(shell, s, angles) for s in (states[0], loaded, unloaded))
    (plane, rest), (plane_after, rest_after) = plane_of(first, angles), plane_of(after, angles)
    radius = 0.5 * even.profile.shape.stand_diameter
    lean = np.degrees(np.hypot(*(plane_after - plane)[1:]) / radius)
    return RingGrowth(
        pressure,
        first - at,
        first - after,
        float(lean),
        float(np.ptp(rest_after)),
        float(np.ptp(rest)),
    )
