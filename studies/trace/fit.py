"""The tangent chain nearest to traced points: robust least squares, and how well it is known.

A point's residual is its distance from the traced face of the chain, along the normal.  Points far
off are found by a robust fit (soft_l1 of scipy's least_squares), left out and listed; the rest are
fitted by plain least squares.  The covariance is s^2 (J'J)^-1 (any text on nonlinear least
squares), with s^2 raised by what neighbouring residuals have in common: 1 + 2 sum of their
autocorrelations up to the first that is not positive (the variance of a mean of a correlated
series).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from domemargin.profiles.arrays import Bools, Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.nearest import Feet
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.studies.trace.pose import Pose, changed, starts
from domemargin.studies.trace.problem import FACES, NARROW, PLAIN, Problem

MOST_ZONES = 4
FIT_POINTS = 6000  # more are thinned for the fit
COARSE_POINTS = 400
CANDIDATES = 3  # starts of a pose, and fits carried on
CLOSE = 1.3  # times the noise of neighbours, up to which a fit is not tried from elsewhere
FAR_OFF = 0.15  # mm: a point farther off counts as so far
FAR = 4.5  # standard deviations from which a point does not belong
HOPELESS = 0.25  # mm from which it never does
FLOOR = 5e-4  # mm that no point is left out for
NEIGHBOURS = 15  # points that a point is compared with
_FEW = 5  # points that a part needs for its own dimension


class Spread(NamedTuple):
    """A value and its standard error, in internal units; error None: held, not fitted."""

    value: float
    error: float | None


@dataclass(frozen=True)
class TraceFit:
    """A fitted trace.

    shape, sheet, pose : what was found.  names, covariance : of the fitted dimensions (dome
    zones as dome_radius_1 and so on), (k,) and (k, k).  held : dimensions that the points do not
    show, kept as in the base.  residual : (n,) mm of all points, positive into the can; used :
    (n,) those fitted.  feet : of all points.  side : (n,) 1 or -1, of the axis.
    rms, largest : of the used points, mm.  noise : of neighbouring points, mm: what the misfit
    would be without shape error.  alike : factor on variance for residuals that are alike.
    shift : of the dome from the axis of the ring, mm, and its error, for a trace of both sides.
    tilt_error : of the pose's tilt, radians; None where it is held.
    """

    shape: Shape
    sheet: Sheet
    pose: Pose
    face: str
    names: tuple[str, ...]
    covariance: Floats
    held: tuple[str, ...]
    residual: Floats
    used: Bools
    feet: Feet
    side: Floats
    rms: float
    largest: float
    noise: float
    alike: float
    shift: Spread | None
    tilt_error: float | None
    cost: float

    def spread(self, name: str) -> Spread:
        """Value and standard error of a dimension (one of `names`, or a held one)."""
        stem, _, number = name.rpartition("_")
        if stem in ("dome_radius", "dome_break_diameter") and number.isdigit():
            values = self.shape.dome_radii if stem == "dome_radius" else (
                self.shape.dome_break_diameter
            )  # fmt: skip
            value = values[int(number) - 1]
        else:
            value = getattr(self.shape, name)
        if name not in self.names:
            return Spread(float(value), None)
        i = self.names.index(name)
        return Spread(float(value), math.sqrt(self.covariance[i, i]))

    @property
    def chain(self) -> Chain:
        """The chain of the fitted shape."""
        chain = solve(self.shape, self.sheet)
        assert isinstance(chain, Chain)  # a fit closes
        return chain


def fit_trace(
    x: Floats, z: Floats, face: str, base: Shape, sheet: Sheet,
    zones: int | None = None, axis_given: bool = False,
) -> TraceFit:  # fmt: skip
    """The chain nearest to points (n,) of a face, in mm, of any origin and direction.

    base : dimensions kept where the points do not show them.  zones : of the dome; None: as few,
    up to 4, as the noise of the points allows.  axis_given : x is the distance from the axis.
    Raises InputError, one sentence, where the points are no bottom.
    """
    thin = np.unique(np.linspace(0, x.size - 1, min(x.size, FIT_POINTS)).astype(np.int64))
    found: _Found | None = None
    for problem, free in _coarse(x, z, face, base, sheet, axis_given)[:CANDIDATES]:
        other = _refined(x[thin], z[thin], face, problem, free, axis_given, base)
        if found is None or _reach(other) < _reach(found):
            found = other
        if _reach(found) < CLOSE * _noise(found):
            break
    assert found is not None  # _coarse returns one at least
    most = MOST_ZONES if zones is None else zones
    while found[0].zones < most and (zones is not None or _dome_shows_more(found)):
        more = _with_zone(found[0], found[1], x[thin], z[thin], face, axis_given, base)
        if more is None:
            if zones is not None:
                raise InputError(
                    f"--zones is {zones}, but no dome of {found[0].zones + 1} zones lies near the "
                    "points",
                    "--zones",
                )
            break
        if zones is None and not _pays(found, more):
            break
        found = more
    return _judged_fit(found[0], found[1], x, z, face)


_Found = tuple[Problem, Floats, Bools]


def _coarse(
    x: Floats, z: Floats, face: str, base: Shape, sheet: Sheet, axis_given: bool
) -> list[tuple[Problem, Floats]]:  # fmt: skip
    """The ways in which points may lie, the likeliest first, by robust fits of some of them."""
    from scipy.optimize import least_squares

    some = _spread_out(x, z)
    lift = FACES[face] * sheet.bottom_gauge
    ways: list[tuple[float, Problem, Floats]] = []
    tried: dict[Pose, int] = {}
    for start in starts(x[some], z[some], base, sheet, lift):
        if tried.get(start.pose, 0) >= CANDIDATES:
            continue
        tried[start.pose] = tried.get(start.pose, 0) + 1
        pose = start.pose._replace(axis=0.0) if axis_given else start.pose
        problem = Problem(x[some], z[some], face, start.shape, sheet, pose,
                           _unseen(x, z, start.shape, pose), axis_given)  # fmt: skip
        found = least_squares(
            problem.residuals, np.zeros(problem.free.size), loss="soft_l1", f_scale=0.03,
            x_scale=1.0, max_nfev=25, ftol=1e-5,
        )  # fmt: skip
        score = _clipped(problem.residuals(found.x))
        ways.append((score, problem, found.x))
        if score < 0.006:
            break
    ways = sorted((way for way in ways if way[0] < FAR_OFF), key=lambda way: way[0])
    if not ways:
        raise InputError(
            f"the points span {np.ptp(x):.4g} mm across and {np.ptp(z):.4g} mm up and show no dome "
            "within a stand ring; they must be the meridian of a bottom, in the unit declared",
            "FILE",
        )
    return [(problem, at) for _, problem, at in ways]


def _clipped(off: Floats) -> float:
    """Mean distance, that of points far off no more than FAR_OFF."""
    return float(np.mean(np.minimum(np.abs(off), FAR_OFF)))


def _reach(found: _Found) -> float:
    problem, at, _ = found
    return _clipped(problem.residuals(at))


def _noise(found: _Found) -> float:
    """Mean distance that neighbours' differences account for (of a normal distribution)."""
    problem, at, _ = found
    off = problem.residuals(at)[np.argsort(_arc(found), kind="stable")]
    # 0.6745, the median of the absolute value; sqrt(2 / pi), its mean
    spread = float(np.median(np.abs(np.diff(off)))) / (0.6745 * math.sqrt(2.0))
    return max(math.sqrt(2.0 / math.pi) * spread, 1e-5)


def _spread_out(x: Floats, z: Floats) -> NDArray[np.int64]:
    """Some of the points, a dense stretch (the wall) represented no more than others."""
    cells = np.floor(np.stack((x, z), axis=1) / 0.1).astype(np.int64)
    _, first = np.unique(cells, axis=0, return_index=True)
    first = np.sort(first)
    pick = np.linspace(0, first.size - 1, min(first.size, COARSE_POINTS)).astype(np.int64)
    return np.asarray(first[np.unique(pick)])


def _unseen(x: Floats, z: Floats, shape: Shape, pose: Pose) -> tuple[str, ...]:
    """Dimensions that the points do not reach."""
    u, h = pose.placed(x, z)
    r = np.abs(u)
    far = float(np.quantile(r, 0.999))
    high = float(np.quantile(h[r > 0.5 * (far + 0.5 * shape.stand_diameter)], 0.99))
    held = []
    if far < 0.5 * shape.body_diameter - 0.25 or high < shape.heel_radius:
        held += ["body_diameter", "heel_radius"]
    if far < 0.5 * shape.stand_diameter + 2.0 * shape.nose_radius:
        held += ["outer_leg_angle"]
    return tuple(held)


def _refined(
    x: Floats, z: Floats, face: str, problem: Problem, free: Floats, axis_given: bool, base: Shape
) -> _Found:
    """All points: robust, then least squares of those that belong, in three rounds."""
    from scipy.optimize import least_squares

    full = problem.full(free)
    shape = problem.shape_of(full)
    assert shape is not None  # the coarse fit ended on a closed chain
    held = [n for i, n in enumerate(problem.names) if i not in problem.free and n in PLAIN]
    for attempt in range(2):
        fine = Problem(
            x, z, face, shape, problem.sheet, problem.pose_of(full), held, axis_given
        )  # fmt: skip
        fine.origin[-1] = full[-1]
        off = fine.residuals(np.zeros(fine.free.size))
        width = max(1.5 * float(np.median(np.abs(off))), 2e-4)
        at = least_squares(
            fine.residuals, np.zeros(fine.free.size), loss="soft_l1", f_scale=width, max_nfev=20,
            ftol=1e-7,
        ).x  # fmt: skip
        parts = _counts(fine, at)
        missing = [
            name for name, part in (
                ("body_diameter", "sidewall"), ("heel_radius", "heel"),
                ("outer_leg_angle", "outer_leg"), ("shoulder_radius", "shoulder"),
            )
            if parts.get(part, 0) < _FEW and name not in held
        ]  # fmt: skip
        if not missing or attempt == 1:
            break
        held += missing
        full = fine.full(at)
        for name in missing:  # what the points do not show is not taken from them
            full[fine.names.index(name)] = getattr(base, name)
        other = fine.shape_of(full)
        if other is None or not isinstance(solve(other, problem.sheet), Chain):
            full = fine.full(at)
            other = fine.shape_of(full)
            assert other is not None
        shape = other
    keep = np.ones(x.size, dtype=bool)
    for _ in range(3):
        now = fine.judged(fine.full(at))
        assert now is not None  # the fit ended on a closed chain
        new = _belong(*now[1:])
        kept = np.flatnonzero(new)
        if kept.size < 3 * fine.free.size:
            break

        def some(v: Floats, kept: Any = kept) -> Floats:
            return np.asarray(fine.residuals(v)[kept])

        at = least_squares(some, at, max_nfev=20, ftol=1e-9, xtol=1e-9).x
        if np.array_equal(new, keep):
            break
        keep = new
    return fine, at, keep


def _belong(off: Floats, feet: Feet, side: Floats) -> Bools:
    """Which residuals belong to the shape.

    A point is left out that lies farther from the line than most (FAR robust standard deviations)
    and also farther from its neighbours than they from each other: where the neighbours lie as far
    off it is the shape that differs.  Past HOPELESS a point is left out whatever its neighbours do.
    """
    from scipy.ndimage import median_filter

    reach = np.abs(off) + feet.beyond
    far = reach > max(FAR * _spread(off), FLOOR)
    order = np.lexsort((feet.s * side, side))
    local = np.empty_like(off)
    local[order] = median_filter(off[order], size=min(NEIGHBOURS, off.size), mode="nearest")
    apart = np.abs(off - local) > max(FAR * _spread(off - local), FLOOR)
    hopeless = reach > max(3.0 * FAR * _spread(off), HOPELESS)
    return np.asarray(~(far & apart | hopeless | (feet.beyond > FLOOR) & far))


def _spread(values: Floats) -> float:
    """Robust standard deviation: 1.4826 times the median of the absolute values."""
    return 1.4826 * float(np.median(np.abs(values)))


def _counts(problem: Problem, at: Floats) -> dict[str, int]:
    """Points on each part, those beyond the ends not counted."""
    found = problem.judged(problem.full(at))
    if found is None:
        return {}
    shape, off, feet, side = found
    chain = solve(shape, problem.sheet)
    assert isinstance(chain, Chain)
    parts: dict[str, int] = {}
    good = (feet.beyond == 0.0) & _belong(off, feet, side)
    for i, segment in enumerate(chain.segments):
        count = int(np.count_nonzero(good & (feet.segment == i)))
        parts[segment.part] = parts.get(segment.part, 0) + count
    return parts


def _with_zone(
    problem: Problem, at: Floats, x: Floats, z: Floats, face: str, axis_given: bool, base: Shape
) -> _Found | None:
    """The fit with one zone of the dome more, from several places of the new break."""
    full = problem.full(at)
    shape = problem.shape_of(full)
    assert shape is not None
    chain = solve(shape, problem.sheet)
    assert isinstance(chain, Chain)
    edge = chain.dome_edge_diameter
    held = [n for i, n in enumerate(problem.names) if i not in problem.free and n in PLAIN]
    best: tuple[float, _Found] | None = None
    for share in (0.4, 0.7):
        place = share * edge
        if any(abs(place - other) < NARROW for other in shape.dome_break_diameter):
            continue
        breaks = sorted([*shape.dome_break_diameter, place])
        i = breaks.index(place)
        radii = [*shape.dome_radii]
        radii[i : i + 1] = [1.02 * radii[i], 0.98 * radii[i]]
        new = changed(shape, {"dome_radius": tuple(radii), "dome_break_diameter": tuple(breaks)})
        if new is None or not isinstance(solve(new, problem.sheet), Chain):
            continue
        start = Problem(x, z, face, new, problem.sheet, problem.pose_of(full), held, axis_given)
        start.origin[-1] = full[-1]
        found = _refined(x, z, face, start, np.zeros(start.free.size), axis_given, base)
        off = found[0].residuals(found[1])
        cost = float(np.sum(off[found[2]] ** 2)) / np.count_nonzero(found[2])
        if best is None or cost < best[0]:
            best = (cost, found)
    return None if best is None else best[1]


def _dome_shows_more(found: _Found) -> bool:
    """Whether means of the dome's residuals differ from nought by more than their noise: a sum of
    squares of 12 normal numbers, four standard deviations over its mean."""
    problem, at, keep = found
    judged = problem.judged(problem.full(at))
    assert judged is not None
    shape, off, feet, _ = judged
    chain = solve(shape, problem.sheet)
    assert isinstance(chain, Chain)
    dome = keep & (feet.s < chain.meridian.span("dome")[1])
    order = np.argsort(feet.s[dome], kind="stable")
    ordered = off[dome][order]
    if ordered.size < 48:
        return False
    noise = 0.5 * float(np.mean(np.diff(ordered) ** 2))
    total = sum(part.size * float(np.mean(part)) ** 2 for part in np.array_split(ordered, 12))
    return total > (12.0 + 4.0 * math.sqrt(24.0)) * max(noise, 1e-14)


def _pays(plain: _Found, more: _Found) -> bool:
    """Whether another zone is worth its two dimensions: Bayesian criterion (Schwarz 1978), with
    as many points as residuals that are not alike."""
    both = plain[2] | more[2]
    off = [problem.residuals(at)[both] for problem, at, _ in (plain, more)]
    order = np.argsort(_arc(plain)[both], kind="stable")
    count = np.count_nonzero(both) / max(_alike(off[1][order]), 1.0)
    mean = [max(float(np.mean(np.clip(np.abs(o), 0.0, 0.05) ** 2)), 1e-16) for o in off]
    return bool(count * math.log(mean[0] / mean[1]) > 2.0 * math.log(count) + 6.0)


def _arc(found: _Found) -> Floats:
    problem, at, _ = found
    judged = problem.judged(problem.full(at))
    assert judged is not None
    return judged[2].s * judged[3]


def _alike(off: Floats) -> float:
    """1 + 2 sum of the autocorrelations of residuals in order, up to the first not positive."""
    centred = off - np.mean(off)
    power = float(np.mean(centred**2))
    if power == 0.0 or off.size < 20:
        return 1.0
    total = 1.0
    for lag in range(1, off.size // 4):
        rho = float(np.mean(centred[lag:] * centred[:-lag])) / power
        if rho <= 2.0 / math.sqrt(off.size):
            break
        total += 2.0 * rho
    return total


def _slopes(problem: Problem, at: Floats) -> Floats:
    """(n, k) slopes of the residuals, by central differences."""
    step = 1e-5
    ahead, behind = (
        [problem.residuals(at + side * step * unit) for unit in np.eye(at.size)]
        for side in (1.0, -1.0)
    )
    return np.stack([(a - b) / (2.0 * step) for a, b in zip(ahead, behind)], axis=1)


def _judged_fit(problem: Problem, at: Floats, x: Floats, z: Floats, face: str) -> TraceFit:
    """The fit of all points, with its covariance."""
    full = problem.full(at)
    off_fit = problem.residuals(at)
    fitted = problem.judged(full)
    assert fitted is not None  # the fit ended on a closed chain
    kept = _belong(*fitted[1:])
    jacobian = _slopes(problem, at)[kept]
    everything = Problem(
        x, z, face, problem.base, problem.sheet, problem.pose, (), False
    )  # fmt: skip
    judged = everything.judged(full)
    assert judged is not None
    shape, off, feet, side = judged
    used = _belong(off, feet, side)
    order = np.argsort((feet.s * side)[used], kind="stable")
    ordered = off[used][order]
    alike = _alike(ordered)
    freedom = max(int(np.count_nonzero(kept)) - at.size, 1)
    variance = float(np.sum(off_fit[kept] ** 2)) / freedom * alike
    inner = np.linalg.pinv(jacobian.T @ jacobian)
    units = problem.scale[problem.free]
    covariance = np.asarray(variance * inner * np.outer(units, units), dtype=np.float64)
    names = [problem.names[i] for i in problem.free]
    pose = problem.pose_of(full)
    dims = [i for i, n in enumerate(names) if n not in ("axis", "floor", "tilt", "shift")]

    def error(name: str) -> float | None:
        if name not in names:
            return None
        i = names.index(name)
        return math.sqrt(covariance[i, i])

    return TraceFit(
        shape=shape, sheet=problem.sheet, pose=pose, face=face,
        names=tuple(names[i] for i in dims), covariance=covariance[np.ix_(dims, dims)],
        held=tuple(n for n in PLAIN if n not in names),
        residual=off, used=used, feet=feet, side=side,
        rms=math.sqrt(float(np.mean(off[used] ** 2))),
        largest=float(np.max(np.abs(off[used]))),
        noise=math.sqrt(0.5 * float(np.mean(np.diff(ordered) ** 2))),
        alike=alike,
        shift=Spread(float(full[-1]), error("shift")) if pose.both else None,
        tilt_error=error("tilt"),
        cost=variance,
    )  # fmt: skip
