"""Ways to gain depth and the cost of each: slopes about one doming solve."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any

from domemargin.fea.doming.doming import doming
from domemargin.fea.doming.record import DomingRecord
from domemargin.profiles.errors import InputError
from domemargin.profiles.tooling.parts import Friction, Spring
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.profiles.units import PSI

WANTED = 0.10  # mm
CLOSE = 0.03  # share of the wanted depth to which a way is found
LEVEL = 0.002  # mm of depth over a whole reach that count as none
DRIVE_WARNING = (
    "More set raises the load on the drive.  Depth that varies from can to can is not corrected by "
    "a change of set: find the cause of the variation."
)


@dataclass(frozen=True)
class Knob:
    """A quantity of tooling, setting or sheet that can be changed.

    unit, scale : for display; a value in that unit times scale is internal.  step : of the
    difference, internal.  reach : largest sensible change, internal.
    """

    name: str
    unit: str
    scale: float
    step: float
    reach: float
    get: Callable[[Tooling], float]
    turn: Callable[[Tooling, float], Tooling]


def _field(table: str, key: str) -> tuple[Callable[[Tooling], float], Any]:
    def get(tooling: Tooling) -> float:
        return float(getattr(getattr(tooling, table), key))

    def turn(tooling: Tooling, by: float) -> Tooling:
        return tooling.replaced(**{f"{table}__{key}": get(tooling) + by})

    return get, turn


def _clamp(tooling: Tooling, by: float) -> Tooling:
    return tooling.replaced(clamp__force=tooling.clamp_force + by)


def _set(tooling: Tooling, by: float) -> Tooling:
    return tooling.replaced(set=tooling.set + by)


def _spring_load(tooling: Tooling) -> float:
    return tooling.spring.force[0] if tooling.spring.law == "table" else tooling.spring.preload


def _spring(tooling: Tooling, by: float) -> Tooling:
    spring = tooling.spring
    if spring.law == "table":
        new: Spring = replace(spring, force=tuple(force + by for force in spring.force))
    else:
        new = replace(spring, preload=spring.preload + by)
    return tooling.replaced(spring=new)


def _friction(tooling: Tooling, by: float) -> Tooling:
    old = tooling.friction
    return tooling.replaced(
        friction=Friction(*(max(0.0, mu + by) for mu in (old.punch, old.die, old.clamp)))
    )


def _yield(tooling: Tooling, by: float) -> Tooling:
    material = tooling.material
    return tooling.replaced(material=material.at_yield((material.yield_strength or 0.0) + by))


def _die_radius(tooling: Tooling, by: float) -> Tooling:
    return tooling.replaced(die__dome_radius=tuple(r + by for r in tooling.die.dome_radius))


KNOBS = (
    Knob("set", "mm", 1.0, 0.1, 1.0, lambda t: t.set, _set),
    Knob("flange height (spacer)", "mm", 1.0, 0.05, 0.5, *_field("die", "flange_height")),
    Knob("spring force", "kN", 1e3, 1e3, 5e3, _spring_load, _spring),
    Knob("clamp force", "kN", 1e3, 500.0, 3e3, lambda t: t.clamp_force, _clamp),
    Knob("friction", "-", 1.0, 0.02, 0.06, lambda t: t.friction.punch, _friction),
    Knob("gauge", "mm", 1.0, 0.005, 0.02, *_field("blank", "gauge")),
    Knob(
        "yield strength", "MPa", 1.0, 10.0, 30.0,
        lambda t: t.material.yield_strength or 0.0, _yield,
    ),
    Knob("die radius", "mm", 1.0, 1.0, 5.0, lambda t: t.die.dome_radius[0], _die_radius),
    Knob("die edge radius", "mm", 1.0, 0.1, 0.5, *_field("die", "edge_radius")),
    Knob("punch nose radius", "mm", 1.0, 0.1, 0.4, *_field("punch", "nose_radius")),
)  # fmt: skip


@dataclass(frozen=True)
class Slopes:
    """Effect of one knob, per unit shown.

    value : present value.  depth_mm, springback_mm, reversal_psi, thinning_points (of per
    cent), peak_force_kn, split_risk : per unit; None with `reason` where a neighbour could not be
    solved.
    """

    knob: str
    unit: str
    value: float
    depth_mm: float | None
    springback_mm: float | None
    reversal_psi: float | None
    thinning_points: float | None
    peak_force_kn: float | None
    reason: str = ""
    split_risk: float | None = None


@dataclass(frozen=True)
class Way:
    """A way to gain depth: change of the knob, its cost and its side effects.

    won_mm : gain of depth by a solve with the change; None without a solve.  split_risk : with
    the change, 1 at the limit.
    """

    knob: str
    unit: str
    change: float | None
    reversal_psi: float | None
    thinning_points: float | None
    peak_force_kn: float | None
    remark: str
    won_mm: float | None = None
    split_risk: float | None = None


@dataclass(frozen=True)
class Budget:
    """Slopes about one setting, and the ways to gain `wanted_mm` of depth."""

    slopes: tuple[Slopes, ...]
    ways: tuple[Way, ...]
    wanted_mm: float = WANTED
    warning: str = DRIVE_WARNING

    def to_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def depth_budget(base: DomingRecord, wanted: float = WANTED) -> Budget:
    """Slopes by central differences (one-sided where a neighbour is invalid), and ways.

    base : record of the present tooling, formed.
    """
    slopes = tuple(_slopes(base, knob) for knob in KNOBS)
    ways = tuple(_way(base, knob, slope, wanted) for knob, slope in zip(KNOBS, slopes, strict=True))
    return Budget(slopes, ways, wanted)


def _answers(record: DomingRecord) -> tuple[float, ...]:
    stroke, rest = record.stroke, record.rest
    assert stroke is not None
    assert rest is not None
    pressure = record.reversal_pressure_mpa
    return (
        rest.depth_mm,
        rest.springback_mm,
        math.nan if pressure is None else pressure / PSI,
        100.0 * rest.worst.thinning,
        1e-3 * stroke.peak_force_n,
        math.nan if rest.split_risk is None else rest.split_risk,
    )


def _slopes(base: DomingRecord, knob: Knob) -> Slopes:
    tooling = base.tooling
    points: list[tuple[float, tuple[float, ...]]] = []
    reason = ""
    for by in (-knob.step, knob.step):
        try:
            record = doming(knob.turn(tooling, by))
        except InputError as error:
            reason = str(error)
            continue
        if record.kind == "formed":
            points.append((by, _answers(record)))
        else:
            reason = record.reason
    if len(points) == 1:
        points.append((0.0, _answers(base)))
    value = knob.get(tooling) / knob.scale
    if not points:
        return Slopes(knob.name, knob.unit, value, None, None, None, None, None, reason)
    (x0, y0), (x1, y1) = points[:2]
    rates = [knob.scale * (b - a) / (x1 - x0) for a, b in zip(y0, y1, strict=True)]
    depth, springback, reversal, thinning, force, risk = (
        rate if math.isfinite(rate) else None for rate in rates
    )
    found = (depth, springback, reversal, thinning, force)
    return Slopes(knob.name, knob.unit, value, *found, split_risk=risk)


def _way(base: DomingRecord, knob: Knob, slope: Slopes, wanted: float) -> Way:
    def none(remark: str) -> Way:
        return Way(knob.name, knob.unit, None, None, None, None, remark)

    if slope.depth_mm is None:
        return none(f"not known: {slope.reason}")
    bottomed = base.end is not None and base.end.bottomed
    if abs(slope.depth_mm) * knob.reach / knob.scale < LEVEL:
        if knob.name in ("set", "spring force") and bottomed:
            return none("gains no depth: the flange already holds the nose")
        return none("gains no depth")
    change = wanted / slope.depth_mm
    reach = allowed(base.tooling, knob, math.copysign(knob.reach, change)) / knob.scale
    if abs(change) > abs(reach):
        most = abs(slope.depth_mm * reach)
        turned = f"{reach:+.3g} {knob.unit}".removesuffix(" -")
        return none(f"gains at most about {most:.3f} mm, with {turned}")
    after, change = _turned(base, knob, change, wanted, reach)
    if isinstance(after, str):
        return none(after)
    remark = "loads the drive" if knob.name in ("set", "spring force") else ""
    if knob.name == "set" and not bottomed:
        remark = "until the flange bottoms; loads the drive"
    if not bottomed and after.end is not None and after.end.bottomed:
        remark = f"then the flange bottoms{'; loads the drive' if remark else ''}"
    before, now = _answers(base), _answers(after)
    gains = [b - a if math.isfinite(b - a) else None for a, b in zip(before, now, strict=True)]
    return Way(
        knob.name,
        knob.unit,
        change,
        gains[2],
        gains[3],
        gains[4],
        remark,
        gains[0],
        None if after.rest is None else after.rest.split_risk,
    )


def allowed(tooling: Tooling, knob: Knob, by: float) -> float:
    """The largest change towards `by` (internal units) for which the tools still fit."""

    def fits(share: float) -> bool:
        try:
            knob.turn(tooling, share * by)
        except InputError:
            return False
        return True

    if fits(1.0):
        return by
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low * by


def _turned(
    base: DomingRecord, knob: Knob, change: float, wanted: float, reach: float
) -> tuple[DomingRecord | str, float]:
    """A solve with the change (in the unit shown), corrected once by the gain, and the change."""
    assert base.rest is not None
    best: tuple[float, DomingRecord, float] | None = None
    for _ in range(2):
        record = doming(knob.turn(base.tooling, change * knob.scale))
        if record.rest is None:
            if best is None:
                return f"not known: {record.reason}", change
            break
        won = record.rest.depth_mm - base.rest.depth_mm
        if best is None or abs(won - wanted) < best[0]:
            best = abs(won - wanted), record, change
        if best[0] <= CLOSE * wanted or won <= 0.2 * wanted:
            break
        change = math.copysign(min(abs(change * wanted / won), abs(reach)), change)
    assert best is not None
    return best[1], best[2]
