"""The best bottom of a request: search, check by finer solves, what binds, how sharp it is."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from domemargin.fea.core.record import CAUTION
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, derived
from domemargin.profiles.arrays import Floats
from domemargin.profiles.mass import mass_of
from domemargin.profiles.shape.shape import mid_radius
from domemargin.studies.best.request import GAUGE, MASS, PRESSURE, Request
from domemargin.studies.best.search import Differences, Found, Value, descend, search, weights
from domemargin.studies.study.varied import bottom_at, value_in

POINTS = 5  # for each start that is searched from
FINE = 0.0005  # resolution of the check
ROUGH = 0.005  # and of the search as far as it goes on without waves
TRADE = (0.94, 0.97, 1.0, 1.03, 1.06)  # of the required pressure
FAR = 0.05  # value of a margin that has no number: waves that do not begin


class Design(NamedTuple):
    """A bottom and what it does.

    values : quantity -> value, internal units.  gauge_mm, can_g : what it takes.  limit_mpa : all
    round; onset_mpa : first waves before it, None: none.  growth_mm, permanent_mm : of the stand
    ring at the pressure asked for.  margins : limit -> share it is held by, from 0 up.
    """

    values: dict[str, float]
    gauge_mm: float
    can_g: float
    limit_mpa: float
    onset_mpa: float | None
    growth_mm: float | None
    permanent_mm: float | None
    margins: dict[str, float]

    @property
    def pressure_mpa(self) -> float:
        """The reversal pressure: the lower of limit and onset."""
        return self.limit_mpa if self.onset_mpa is None else min(self.limit_mpa, self.onset_mpa)


class Binding(NamedTuple):
    """A limit that holds the objective up: what the objective, as a share of itself, would fall
    by per 1 % of the limit given away (of the range of a varied quantity)."""

    limit: str
    gain: float


class Sharp(NamedTuple):
    """What moving one quantity by `step` either way, all else kept, does to the reversal pressure,
    MPa; None where there is no answer.  outside : which way leaves the quantity's limits."""

    name: str
    step: float
    less_mpa: float | None
    more_mpa: float | None


@dataclass(frozen=True)
class BestReport:
    """start : the bottom to start from; best : what was found, None where no design holds.
    nearest : then the design that comes nearest.  ends : objective of each search.  bindings : the
    largest gain first.  trade : (required MPa, design or None).  fine_mpa, solid_mpa : reversal
    pressure of the best at resolution FINE, and by the solid; None: not made or no answer.
    raised : factor on the required pressure that the search was repeated with, since the finer
    solve lay lower."""

    request: Request
    start: Design | None
    best: Design | None
    nearest: Design | None
    ends: tuple[float, ...]
    bindings: tuple[Binding, ...]
    sharp: tuple[Sharp, ...]
    trade: tuple[tuple[float, Design | None], ...]
    fine_mpa: float | None
    solid_mpa: float | None
    raised: float
    solves: int
    seconds: float
    check_seconds: float
    caution: str = CAUTION


class Problem:
    """A request as a function of variables in 0..1.

    With aim "pressure" the last variable is the pressure that all limits are held to.
    """

    def __init__(
        self, request: Request, solve: Callable[..., Any], required: float | None = None
    ) -> None:
        self.request = request
        self.solve = solve
        self.names = tuple(request.ranges)
        self.low = np.array([request.ranges[n][0] for n in self.names])
        self.high = np.array([request.ranges[n][1] for n in self.names])
        self.required = request.required if required is None else required
        grows = request.hold.growth is not None or request.hold.permanent_growth is not None
        at = (request.hold.growth_at,) if grows and request.hold.growth_at else ()
        self.settings = replace(request.settings, growth_at=at, required=None, follow=False)
        self.base_mass = mass_of(request.profile, request.can_height).can_g
        self._designs: dict[bytes, Design | None] = {}
        self.earlier = 0  # solves of a rougher problem before this one
        self.pressures = (0.05, 2.0)  # MPa, range of the variable of aim "pressure"

    @property
    def size(self) -> int:
        """Number of variables."""
        return len(self.names) + (self.request.aim == PRESSURE)

    def point(self, x: Floats) -> dict[str, float]:
        """Quantities at variables, internal units."""
        x = x[: len(self.names)]
        return dict(zip(self.names, (self.low + x * (self.high - self.low)).tolist()))

    def place(self, values: dict[str, float], pressure: float) -> Floats:
        """Variables at quantities."""
        v = np.array([values[n] for n in self.names])
        x = np.asarray(np.clip((v - self.low) / (self.high - self.low), 0.0, 1.0))
        if self.request.aim != PRESSURE:
            return x
        low, high = self.pressures
        last = np.clip((pressure - low) / (high - low), 0.0, 1.0)
        return np.concatenate((x, [last]))

    def design(self, x: Floats) -> Design | None:
        """The bottom at variables, solved; None where it is none or has no answer."""
        x = np.round(x[: len(self.names)], 12)
        key = x.tobytes()
        if key not in self._designs:
            self._designs[key] = self._design(self.point(x))
        return self._designs[key]

    @property
    def solves(self) -> int:
        """Bottoms solved so far."""
        return len(self._designs) + self.earlier

    def _design(self, values: dict[str, float]) -> Design | None:
        try:
            bottom = bottom_at(self.request.profile, values)
            record = self.solve(bottom, self.settings)
        except InputError:
            return None
        return design_of(self.request, bottom, values, record)

    def __call__(self, x: Floats) -> Value | None:
        """Objective and margins."""
        design = self.design(x)
        if design is None:
            return None
        request, required = self.request, self.required
        if request.aim == PRESSURE:
            low, high = self.pressures
            required = low + float(x[-1]) * (high - low)
        assert required is not None  # other aims have one
        margins = [design.limit_mpa / required - 1.0]
        if self.settings.waves:
            asked = required * (1.0 + request.hold.wave_margin)
            onset = design.onset_mpa
            margins.append(FAR if onset is None else onset / asked - 1.0)
        margins += list(design.margins.values())
        objective = {
            MASS: design.can_g / self.base_mass,
            GAUGE: design.gauge_mm / request.profile.sheet.bottom_gauge,
            PRESSURE: -required,
        }[request.aim]
        return Value(objective, np.array(margins))

    @property
    def limit_names(self) -> tuple[str, ...]:
        """Names of the margins, in order."""
        waves = ("waves",) if self.settings.waves else ()
        return ("reversal pressure", *waves, *limit_names(self.request))


def limit_names(request: Request) -> tuple[str, ...]:
    """Names of the limits besides reversal pressure and waves, in order."""
    hold = request.hold
    names = [
        words for name, words in (
            ("growth", "growth"), ("permanent_growth", "permanent growth"),
            ("bend_ratio", "bend ratio"), ("stretch", "stretch"), ("can_mass", "mass of the can"),
        )
        if getattr(hold, name) is not None
    ]  # fmt: skip
    for name, (low, high) in request.limits.items():
        names += [f"{name.replace('_', ' ')} at least"] if low is not None else []
        names += [f"{name.replace('_', ' ')} at most"] if high is not None else []
    return tuple(names)


def stretch_of(profile: Profile) -> float:
    """Mean thinning from the centre to the stand ring if no metal is drawn in and the volume
    stays: 1 - area of the flat disc / area of the mid surface."""
    line = profile.meridian
    nose = next(s for s in line.segments if s.part == "nose")
    ring = line.span("nose")[0] - nose.phi / nose.curvature
    s = np.linspace(0.0, ring, 2001)
    area = 2.0 * np.pi * float(np.trapezoid(line.at(s).r, s))
    return 1.0 - np.pi * (0.5 * profile.shape.stand_diameter) ** 2 / area


def bend_ratio_of(profile: Profile) -> float:
    """The tightest radius on the inside of a bend of shoulder, nose and heel, over the gauge."""
    shape, t = profile.shape, profile.sheet.bottom_gauge
    bends = (("shoulder_radius", True), ("nose_radius", False), ("heel_radius", False))
    mid = min(mid_radius(getattr(shape, n), shape.radii_on, up, t) for n, up in bends)
    return (mid - 0.5 * t) / t


def design_of(
    request: Request, bottom: Profile, values: dict[str, float], record: Any
) -> Design | None:
    """What a solved bottom comes to; None where its record has no answer."""
    stability = record.stability
    pressure = record.reversal_pressure_mpa
    if pressure is None and record.kind != "none_below_ceiling":
        return None
    limit = stability.axisymmetric_limit_mpa if stability is not None else pressure
    limit = record.ceiling_mpa if limit is None else limit
    onset = None
    if stability is not None and stability.flow is not None and stability.flow.before_limit:
        onset = stability.flow.pressure_mpa
    hold = request.hold
    growth = record.growth[0] if record.growth else None
    grown = None if growth is None else growth.stand_growth_mm
    left = None if growth is None else growth.permanent_stand_growth_mm
    can = mass_of(bottom, request.can_height).can_g
    margins: list[float] = []
    if hold.growth is not None:
        margins.append(-0.3 if grown is None else 1.0 - grown / hold.growth)
    if hold.permanent_growth is not None:
        margins.append(-0.3 if left is None else 1.0 - left / hold.permanent_growth)
    if hold.bend_ratio is not None:
        margins.append(bend_ratio_of(bottom) / hold.bend_ratio - 1.0)
    if hold.stretch is not None:
        margins.append(1.0 - stretch_of(bottom) / hold.stretch)
    if hold.can_mass is not None:
        margins.append(1.0 - can / hold.can_mass)
    found = {**vars(bottom.sheet), **vars(bottom.shape)}
    if not request.limits.keys() <= found.keys():
        found |= vars(derived(bottom))
    for name, (low, high) in request.limits.items():
        value = float(found[name])
        scale = max(abs(low or 0.0), abs(high or 0.0), 1e-3)
        margins += [(value - low) / scale] if low is not None else []
        margins += [(high - value) / scale] if high is not None else []
    return Design(
        values, bottom.sheet.bottom_gauge, can, float(limit), onset, grown, left,
        dict(zip(limit_names(request), margins)),
    )  # fmt: skip


def best_bottom(
    request: Request,
    solve: Callable[..., Any] | None = None,
    trade: bool = True,
    solid: bool = True,
    on_step: Callable[[str], None] | None = None,
) -> BestReport:
    """The best bottom within limits.

    solve : replaces domemargin.fea.bottom.reversal.reversal.  trade : whether the trade-off curve
    is made.  solid : whether the solid judges the result.  on_step : is told what is being done.
    A design without an answer (no bottom, a solve that failed) counts as one that does not hold.
    """
    if solve is None:
        from domemargin.fea.bottom.reversal import reversal

        solve = reversal
    say = on_step or (lambda words: None)
    began = time.perf_counter()
    problem = Problem(request, solve)
    home = {n: value_in(request.profile, n) for n in problem.names}
    base = _start_design(request, problem, solve)
    # waves are a quarter of a solve and rarely bind: they, and the resolution asked for, come in
    # from where the rest is best
    settings = request.settings
    quick = replace(settings, waves=0, resolution=max(ROUGH, settings.resolution))
    rough = Problem(replace(request, settings=quick), solve)
    starts = _starts(request, rough, home, base)
    say(f"searching from {len(starts)} points")
    ends = search(Differences(rough), starts, request.starts)
    function = Differences(problem)
    ends = tuple(
        end for one in ends[: 1 if ends and ends[0].holds else len(ends)]
        if (end := descend(function, one.x, 15)) is not None
    ) + ends[1:]  # fmt: skip
    problem.earlier = rough.solves
    if not ends:
        return _nothing(request, base, problem, time.perf_counter() - began)
    first = ends[0]
    if not first.holds:
        seconds = time.perf_counter() - began
        nothing = _nothing(request, base, problem, seconds)
        return replace(nothing, nearest=problem.design(first.x),
                       ends=tuple(end.value.objective for end in ends))  # fmt: skip
    seconds = time.perf_counter() - began
    say("checking by finer solves")
    checking = time.perf_counter()
    first, problem, fine, raised = _checked(request, problem, first, solve)
    best = problem.design(first.x)
    assert best is not None  # an end has an answer
    judge = _judge(request, best, solve) if solid else None
    say("how sharp it is")
    sharp = _sharp(request, problem, first)
    curve: tuple[tuple[float, Design | None], ...] = ()
    if trade and request.aim != PRESSURE and request.required is not None:
        say("trade-off of mass and margin")
        curve = _trade(request, problem, first, solve, raised)
    return BestReport(
        request, base, best, None, tuple(end.value.objective for end in ends),
        _bindings(problem, first), sharp, curve, fine, judge, raised, problem.solves, seconds,
        time.perf_counter() - checking,
    )  # fmt: skip


def _start_design(request: Request, problem: Problem, solve: Callable[..., Any]) -> Design | None:
    values = {n: value_in(request.profile, n) for n in problem.names}
    try:
        record = solve(request.profile, problem.settings)
    except InputError:
        return None
    return design_of(request, request.profile, values, record)


def _starts(
    request: Request, problem: Problem, home: dict[str, float], base: Design | None
) -> list[Floats]:
    """The base bottom, as far as it lies in the ranges, and scrambled Sobol points."""
    from scipy.stats import qmc

    pressure = request.required or (base.pressure_mpa if base is not None else 0.6)
    count = POINTS * request.starts
    drawn = qmc.Sobol(len(problem.names), seed=request.seed).random(1 << (count - 1).bit_length())
    points = [problem.place(home, pressure)]
    for row in drawn[: count - 1]:
        at = problem.place(problem.point(row), pressure)
        if request.aim == PRESSURE:
            design = problem.design(at)
            if design is None:
                continue
            at = problem.place(problem.point(row), 0.99 * design.pressure_mpa)
        points.append(at)
    return points


def _nothing(
    request: Request, base: Design | None, problem: Problem, seconds: float
) -> BestReport:  # fmt: skip
    return BestReport(request, base, None, None, (), (), (), (), None, None, 1.0, problem.solves,
                      seconds, 0.0)  # fmt: skip


def _checked(
    request: Request, problem: Problem, found: Found, solve: Callable[..., Any]
) -> tuple[Found, Problem, float | None, float]:
    """The end judged at a finer resolution; searched again, with a required pressure raised by what
    the finer solve lies lower, where that leaves it short."""
    raised = 1.0
    fine = _fine(request, problem, found, solve)
    if fine is None or request.required is None or fine >= request.required * (1.0 - 1e-4):
        return found, problem, fine, raised
    raised = request.required / fine
    design = problem.design(found.x)
    assert design is not None
    raised = design.pressure_mpa / fine
    again = Problem(request, solve, request.required * raised)
    again.earlier = problem.earlier
    end = descend(Differences(again), found.x, 12)
    if end is None or not end.holds:
        return found, problem, fine, 1.0
    again._designs.update({k: v for k, v in problem._designs.items() if k not in again._designs})
    return end, again, _fine(request, again, end, solve), raised


def _fine(
    request: Request, problem: Problem, found: Found, solve: Callable[..., Any]
) -> float | None:
    bottom = bottom_at(request.profile, problem.point(found.x))
    settings = replace(problem.settings, growth_at=())
    settings = replace(settings, resolution=min(FINE, settings.resolution))
    pressure = solve(bottom, settings).reversal_pressure_mpa
    return None if pressure is None else float(pressure)


def _judge(request: Request, best: Design, solve: Callable[..., Any]) -> float | None:
    bottom = bottom_at(request.profile, best.values)
    if bottom.material.kinematic_share > 0.0:
        return None  # the solid carries isotropic hardening only
    try:
        record = solve(bottom, Settings(growth_at=(), waves=0, model="solid"))
    except Exception:  # the judge is no part of the answer: without it there is still one
        return None
    pressure = record.reversal_pressure_mpa
    return None if pressure is None else float(pressure)


def _bindings(problem: Problem, found: Found) -> tuple[Binding, ...]:
    limits, ranges = weights(found)
    scale = abs(found.value.objective)
    rows = [
        Binding(name, 0.01 * weight / scale)
        for name, weight in zip(problem.limit_names, limits) if weight > 1e-6
    ]  # fmt: skip
    for i, name in enumerate(problem.names):
        if ranges[i] > 1e-6:
            side = "from" if found.x[i] < 0.5 else "to"
            rows.append(Binding(f"{side} of {name.replace('_', ' ')}", 0.01 * ranges[i] / scale))
    return tuple(sorted(rows, key=lambda row: -row.gain))


@lru_cache(maxsize=64)
def step_for(name: str) -> float:
    """How far a quantity may be off in a plant, for the sharpness: 0.01 mm of gauge, 0.05 mm of
    others, 0.5 degrees (common practice, no source)."""
    from domemargin.studies.study.varied import kind_of

    kind = kind_of(name)
    if kind == "length":
        return 0.005 if name.endswith("gauge") else 0.05
    return float({"angle": np.radians(0.5), "stress": 5.0}.get(kind, 0.01))


def _sharp(request: Request, problem: Problem, found: Found) -> tuple[Sharp, ...]:
    middle = problem.point(found.x)
    rows = []
    for name in problem.names:
        step = step_for(name)
        moved = [problem._design({**middle, name: middle[name] + side * step}) for side in (-1, 1)]
        less, more = (None if d is None else d.pressure_mpa for d in moved)
        rows.append(Sharp(name, step, less, more))
    return tuple(rows)


def _trade(
    request: Request, problem: Problem, found: Found, solve: Callable[..., Any], raised: float
) -> tuple[tuple[float, Design | None], ...]:
    """The best design at other required pressures, each from the one before."""
    assert request.required is not None
    out: dict[float, Design | None] = {1.0: problem.design(found.x)}
    for factors in ([f for f in TRADE if f > 1.0], [f for f in reversed(TRADE) if f < 1.0]):
        x = found.x
        for factor in factors:
            other = Problem(request, solve, factor * raised * request.required)
            other._designs = problem._designs  # a design is the same whatever is required of it
            end = descend(Differences(other), x, 10)
            held = end is not None and end.holds
            out[factor] = other.design(end.x) if end is not None and held else None
            if end is not None and held:
                x = end.x
    return tuple((factor * request.required, out[factor]) for factor in TRADE)
