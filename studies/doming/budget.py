"""What depth can be won with, and what each way costs: slopes of one doming solve."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any

from domemargin.fea.doming.doming import doming
from domemargin.fea.doming.record import DomingRecord
from domemargin.profiles.errors import InputError
from domemargin.profiles.tooling.tooling import Friction, Spring, Tooling
from domemargin.studies.text.units import PSI

WANTED = 0.10  # mm
LEVEL = 0.002  # mm of depth over a whole reach that count as none
DRIVE_WARNING = (
    "More set raises the load on the drive.  Depth that varies from can to can is not mended by "
    "a change of set: look for what varies."
)


@dataclass(frozen=True)
class Knob:
    """Something that can be turned.

    unit, scale : for people; value in people's unit times scale is internal.  step : of the
    difference, internal.  reach : farthest that it is sensibly turned, internal.
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
    Knob("clamp force", "kN", 1e3, 500.0, 3e3, *_field("clamp", "force")),
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
    """What one knob does; per people's unit of it.

    value : where it stands.  depth_mm, springback_mm, reversal_psi, thinning_points (of per
    cent), peak_force_kn : per unit; None with `reason` where a neighbour could not be solved.
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


@dataclass(frozen=True)
class Way:
    """A way to win depth: change of the knob, and what it costs or brings with it."""

    knob: str
    unit: str
    change: float | None
    reversal_psi: float | None
    thinning_points: float | None
    peak_force_kn: float | None
    remark: str


@dataclass(frozen=True)
class Budget:
    """Slopes about one setting, and the ways to win `wanted_mm` of depth."""

    slopes: tuple[Slopes, ...]
    ways: tuple[Way, ...]
    wanted_mm: float = WANTED
    warning: str = DRIVE_WARNING

    def to_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def depth_budget(base: DomingRecord, wanted: float = WANTED) -> Budget:
    """Slopes by central differences (one-sided where a neighbour is no tooling), and ways.

    base : of the tooling as it stands, formed.
    """
    slopes = tuple(_slopes(base, knob) for knob in KNOBS)
    ways = tuple(_way(base, knob, slope, wanted) for knob, slope in zip(KNOBS, slopes, strict=True))
    return Budget(slopes, ways, wanted)


def _answers(record: DomingRecord) -> tuple[float, ...]:
    assert record.depth_mm is not None
    assert record.springback_mm is not None
    assert record.worst is not None
    assert record.peak_force_n is not None
    pressure = record.reversal_pressure_mpa
    return (
        record.depth_mm,
        record.springback_mm,
        math.nan if pressure is None else pressure / PSI,
        100.0 * record.worst.thinning,
        1e-3 * record.peak_force_n,
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
    depth, springback, reversal, thinning, force = (
        rate if math.isfinite(rate) else None for rate in rates
    )
    return Slopes(knob.name, knob.unit, value, depth, springback, reversal, thinning, force)


def _way(base: DomingRecord, knob: Knob, slope: Slopes, wanted: float) -> Way:
    reach = knob.reach / knob.scale
    if slope.depth_mm is None:
        return Way(knob.name, knob.unit, None, None, None, None, f"not known: {slope.reason}")
    if abs(slope.depth_mm) * reach < LEVEL:
        remark = "wins no depth"
        if knob.name in ("set", "spring force") and base.bottomed:
            remark = "wins no depth: the flange already holds the nose"
        return Way(knob.name, knob.unit, None, None, None, None, remark)
    change = wanted / slope.depth_mm
    if abs(change) > reach:
        most = abs(slope.depth_mm) * reach
        turned = f"{math.copysign(reach, slope.depth_mm):+g} {knob.unit}".removesuffix(" -")
        remark = f"wins at most about {most:.3f} mm, with {turned}"
        return Way(knob.name, knob.unit, None, None, None, None, remark)

    def cost(rate: float | None) -> float | None:
        return None if rate is None else change * rate

    remark = "loads the drive" if knob.name in ("set", "spring force") else ""
    if knob.name == "set" and base.bottomed is False:
        remark = "until the flange bottoms; loads the drive"
    return Way(
        knob.name,
        knob.unit,
        change,
        cost(slope.reversal_psi),
        cost(slope.thinning_points),
        cost(slope.peak_force_kn),
        remark,
    )
