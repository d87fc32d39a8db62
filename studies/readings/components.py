"""Variance components of depth: line, machine, sheet lot, within; and those of the gauge."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.readings.readings import Readings

WITHIN = "within"


@dataclass(frozen=True)
class Components:
    """Standard deviations by factor, WITHIN the last, of a model without interactions.

    mean : level that all share.  levels : of each factor.  criterion : -2 log of the restricted
    likelihood at its largest, 0 where there is nothing to fit.
    """

    mean: float
    deviation: dict[str, float]
    levels: dict[str, int]
    criterion: float

    def share(self, factor: str) -> float:
        """Share of the variance."""
        whole = sum(value**2 for value in self.deviation.values())
        return self.deviation[factor] ** 2 / whole if whole else 0.0


def components(values: Floats, factors: Mapping[str, Ints]) -> Components:
    """Variance components by restricted maximum likelihood, of any number of readings.

    The likelihood is profiled as in Bates, Maechler, Bolker & Walker, J. Stat. Software 67(1),
    2015, on counts and sums of the cells, so that its cost does not grow with the readings.

    values : (n,).  factors : name -> (n,) level of each reading; levels of a nested
    factor are distinct by themselves.  A factor with one level is left out.
    """
    from scipy.optimize import minimize

    coded = {name: np.unique(codes, return_inverse=True)[1] for name, codes in factors.items()}
    coded = {name: codes for name, codes in coded.items() if codes.max(initial=0) > 0}
    levels = {name: int(codes.max()) + 1 for name, codes in coded.items()}
    centre = float(values.mean())
    spread = float(values.std(ddof=1)) if values.size > 1 else 0.0
    if not coded or spread == 0.0:
        return Components(centre, {WITHIN: spread}, levels, 0.0)
    sums = _Sums.of((values - centre) / spread, list(coded.values()))
    best = None
    for start in (1.0, 0.2):
        found = minimize(lambda theta: sums.fit(theta)[0], np.full(len(coded), start),
                         bounds=[(0.0, 1e3)] * len(coded), method="L-BFGS-B")  # fmt: skip
        found = minimize(
            lambda theta: sums.fit(theta)[0], found.x, bounds=[(0.0, 1e3)] * len(coded),
            method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10, "maxiter": 2000},
        )  # fmt: skip
        best = found if best is None or found.fun < best.fun else best
    assert best is not None
    criterion, variance, level = sums.fit(best.x)
    sigma = math.sqrt(variance) * spread
    deviation = {name: float(theta) * sigma for name, theta in zip(coded, best.x)}
    shift = 2.0 * (values.size - 1) * math.log(spread)
    return Components(
        centre + spread * level, deviation | {WITHIN: sigma}, levels, criterion + shift
    )


@dataclass(frozen=True)
class _Sums:
    """What the likelihood needs of the readings: with Z the levels as columns of 0 and 1, one
    block a factor, Z'Z, Z'1, Z'y, y'y, sum of y and n; factor : of each column."""

    zz: Floats
    z1: Floats
    zy: Floats
    yy: float
    y1: float
    n: int
    factor: Ints

    @staticmethod
    def of(y: Floats, coded: list[Ints]) -> _Sums:
        sizes = [int(codes.max()) + 1 for codes in coded]
        ends = np.cumsum([0, *sizes])
        zz = np.zeros((ends[-1], ends[-1]))
        for a, one in enumerate(coded):
            for b, other in enumerate(coded):
                pair = np.bincount(one * sizes[b] + other, minlength=sizes[a] * sizes[b])
                zz[ends[a] : ends[a + 1], ends[b] : ends[b + 1]] = pair.reshape(sizes[a], sizes[b])
        zy = np.concatenate([np.bincount(c, weights=y, minlength=k) for c, k in zip(coded, sizes)])
        factor = np.repeat(np.arange(len(coded)), sizes)
        return _Sums(zz, np.diag(zz).copy(), zy, float(y @ y), float(y.sum()), y.size, factor)

    def fit(self, theta: Floats) -> tuple[float, float, float]:
        """-2 log restricted likelihood, variance within and level, at the ratios theta of the
        factors' standard deviations to that within."""
        from scipy.linalg import cho_factor, cho_solve

        scale = np.abs(theta)[self.factor]
        whole = scale[:, None] * self.zz * scale + np.eye(scale.size)
        factor = cho_factor(whole, lower=True)
        one, y = scale * self.z1, scale * self.zy
        solved = cho_solve(factor, np.stack((one, y), axis=1))
        weight = self.n - float(one @ solved[:, 0])
        level = (self.y1 - float(one @ solved[:, 1])) / weight
        left = self.yy - float(y @ solved[:, 1]) - level**2 * weight
        variance = left / (self.n - 1)
        log_whole = 2.0 * float(np.log(np.diag(factor[0])).sum())
        criterion = (log_whole + math.log(weight)
                     + (self.n - 1) * (1.0 + math.log(2.0 * math.pi * variance)))  # fmt: skip
        return criterion, variance, level


def depth_components(readings: Readings) -> Components:
    """Components of depth by line, machine and, where given, sheet lot and operator."""
    lines = sorted(set(readings.line_of))
    machine = readings.machine.codes
    factors: dict[str, Ints] = {
        "line": np.array([lines.index(line) for line in readings.line_of])[machine],
        "machine": machine,
    }
    for name, column in (("lot", readings.lot), ("operator", readings.operator)):
        if column.names:
            factors[name] = column.codes
    return components(readings.depth, factors)


@dataclass(frozen=True)
class GaugeStudy:
    """Standard deviations of the gauge, mm: of one operator on one can, between operators, and
    of both.  cans, readings : in the study.  freedom : degrees of freedom of both together."""

    repeatability: float
    reproducibility: float
    cans: int
    readings: int
    freedom: float

    @property
    def together(self) -> float:
        """Standard deviation of a reading by any operator, mm."""
        return math.hypot(self.repeatability, self.reproducibility)


def gauge_study(readings: Readings) -> GaugeStudy | None:
    """Scatter of the gauge, from cans measured more than once; None for fewer than 3 such cans.

    Repeats are rows with the same machine and the same name in column 'can'.
    """
    key = readings.machine.codes * (len(readings.can.names) + 1) + readings.can.codes
    named = readings.can.codes >= 0
    _, inverse, count = np.unique(key[named], return_inverse=True, return_counts=True)
    again = count[inverse] > 1
    if int((count > 1).sum()) < 3:
        return None
    values, cans = readings.depth[named][again], inverse[again]
    people = readings.operator.codes[named][again]
    freedom = values.size - np.unique(cans).size
    if np.unique(people).size > 1:
        fit = components(values, {"can": cans, "operator": people})
        own, between = fit.deviation[WITHIN], fit.deviation.get("operator", 0.0)
        # Satterthwaite, Biometrics Bulletin 2, 1946
        free = max(freedom - np.unique(people).size + 1, 1)
        parts = own**4 / free + between**4 / (np.unique(people).size - 1)
        together = (own**2 + between**2) ** 2 / parts if parts else float(free)
        return GaugeStudy(own, between, int((count > 1).sum()), values.size, together)
    mean = np.bincount(cans, weights=values) / np.maximum(np.bincount(cans), 1)
    within = math.sqrt(float(np.sum((values - mean[cans]) ** 2)) / freedom)
    return GaugeStudy(within, 0.0, int((count > 1).sum()), values.size, float(freedom))


def once_a_can(readings: Readings) -> Readings:
    """The readings with only the first reading of every can: repeats belong to a gauge study and
    are not further cans."""
    if not readings.can.names:
        return readings
    key = readings.machine.codes * (len(readings.can.names) + 1) + readings.can.codes
    named = readings.can.codes >= 0
    first = np.zeros(len(readings), dtype=bool)
    first[np.unique(np.where(named, key, -1), return_index=True)[1]] = True
    keep = first | ~named
    return readings if keep.all() else readings.at(keep)
