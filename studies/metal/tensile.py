"""Tensile curves to yield strength and hardening, up to the neck, with limits.

A curve is used up to its highest load, where the strip begins to neck (Considere: the slope of
true stress over true strain has come down to the stress itself); beyond, a law is an
extrapolation.  Every specimen is fitted for itself.  The limits of a mean of several specimens come
from the scatter between them, those of one specimen from its residuals, with the number of
points that the residuals' correlation leaves.  All limits are for nine times in ten.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.material import Hardening, Swift, Table, Voce
from domemargin.studies.metal.specimens import Specimen

LEVEL = 0.9
HANDBOOK = 69_000.0  # MPa: modulus of aluminium alloys, any handbook
_CREDIBLE = (63_000.0, 76_000.0)  # MPa: a measured modulus outside is one of the machine too
_FIRST = 0.001  # plastic strain from which a law is fitted: below, yielding spreads
LAWS = ("voce", "swift")
OPEN = 20.0  # logarithm of a factor: a parameter that tests leave wholly open


@dataclass(frozen=True)
class Limited:
    """A value with limits that hold it nine times in ten."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Flow:
    """True stress over plastic strain of a specimen, up to the neck.

    strain, stress : (n,) plastic, MPa.  modulus : slope of its elastic line, MPa.
    proof : stress at 0.2 % of plastic strain, MPa.  neck : plastic strain at the highest load;
    necked : whether the test went beyond it.  line_errors : (2, 2) plastic strains of both ends of
        the curve that the elastic line leaves open, a row for each of two independent errors.
    """

    name: str
    strain: Floats
    stress: Floats
    modulus: float
    proof: float
    neck: float
    necked: bool
    line_errors: Floats


@dataclass(frozen=True)
class LawFit:
    """A law on all specimens.  parameters : yield strength (MPa) first, then those of the law.
    rms : of what it leaves of each specimen, MPa."""

    law: str
    parameters: dict[str, Limited]
    rms: float

    def hardening(self) -> Hardening:
        """As a material holds it."""
        p = {name: one.value for name, one in self.parameters.items()}
        if self.law == "voce":
            return Voce(p["saturation"], p["rate"])
        return Swift(p["reference_strain"], p["exponent"])

    def stress(self, strain: Floats) -> Floats:
        """Yield curve, MPa."""
        return law_stress(self.law, [one.value for one in self.parameters.values()], strain)


PARAMETERS = {
    "voce": ("yield_strength", "saturation", "rate"),
    "swift": ("yield_strength", "reference_strain", "exponent"),
}


def law_stress(law: str, parameters: list[float] | Floats, strain: Floats) -> Floats:
    """Yield curve of a law at plastic strains, MPa."""
    a, b, c = parameters
    if law == "voce":
        return np.asarray(a + b * (1.0 - np.exp(-c * strain)))
    return np.asarray(a * (1.0 + strain / b) ** c)


def flow_of(specimen: Specimen) -> Flow:
    """Plastic part of a pulled specimen up to its highest load.  Raises InputError."""
    strain, stress = specimen.x, specimen.y
    # load falls after the neck; a true curve is turned back to the load first
    load = stress * np.exp(-strain) if specimen.true else stress
    top = _top(load)
    necked = top < load.size - 1 and load[-1] < 0.995 * load[top]
    strain, stress = strain[: top + 1], stress[: top + 1]
    if not specimen.true:
        strain, stress = np.log1p(strain), stress * (1.0 + strain)
    modulus, start, errors = _elastic_line(specimen.name, strain, stress)
    plastic = strain - start - stress / modulus
    # from the last point below a proof of 0.02 % on
    below = np.flatnonzero(plastic < 2e-4)
    first = int(below[-1]) if below.size else 0
    plastic, stress = plastic[first:], stress[first:]
    if plastic.size < 8 or plastic[-1] < 0.004:
        raise InputError(
            f"specimen {brief(specimen.name)} has {plastic.size} points and "
            f"{100 * max(float(plastic[-1]), 0.0):.2g} % of plastic strain up to its highest load; "
            "it must have 8 and 0.4 % or more",
            "FILE", specimen.name, "8 points and 0.4 % or more",
        )  # fmt: skip
    order = np.argsort(plastic, kind="stable")
    near = np.abs(plastic - 0.002) < max(5e-4, 3.0 * float(np.median(np.diff(plastic[order]))))
    if near.sum() >= 4:
        proof = float(np.polyval(np.polyfit(plastic[near] - 0.002, stress[near], 1), 0.0))
    else:
        proof = float(np.interp(0.002, plastic[order], stress[order]))
    ends = np.array([[1.0, stress[0]], [1.0, stress[-1]]])
    return Flow(
        specimen.name, plastic, stress, modulus, proof, float(plastic[-1]), bool(necked),
        errors @ ends.T,
    )  # fmt: skip


def _top(load: Floats) -> int:
    """Where the load is highest, scatter smoothed: the middle of the highest stretch."""
    width = max(1, load.size // 60)
    if width == 1:
        return int(np.argmax(load))
    smooth = np.convolve(np.pad(load, width, "edge"), np.ones(2 * width + 1), "valid")
    return int(np.argmax(smooth))


def _elastic_line(name: str, strain: Floats, stress: Floats) -> tuple[float, float, Floats]:
    """Slope (MPa), the strain at which the line begins, and (2, 2) independent errors of elastic
    strain, each as one at no stress and one per MPa.  Raises InputError."""
    highest = float(stress.max())
    reached = int(np.argmax(stress >= 0.6 * highest))
    part = np.zeros(stress.size, dtype=bool)
    part[: reached + 1] = stress[: reached + 1] >= 0.1 * highest
    if part.sum() < 4:
        raise InputError(
            f"specimen {brief(name)} has {int(part.sum())} points on its elastic line (10 to 60 % "
            "of the highest stress); it must have 4 or more",
            "FILE", name, "4 points or more",
        )  # fmt: skip
    x, y = strain[part], stress[part]
    slope, height = np.polyfit(x, y, 1)
    if not 5e3 < slope < 5e5:
        raise InputError(
            f"specimen {brief(name)} has an elastic line of {slope / 1e3:.3g} GPa; it must lie in "
            "5 to 500 GPa: are the units right?",
            "FILE", f"{slope / 1e3:.3g} GPa", "5 to 500 GPa",
        )  # fmt: skip
    # of the line strain = start + stress / slope, through the middle of its points
    left, middle = y - slope * x - height, float(y.mean())
    deviation = float(np.sqrt(left @ left / max(y.size - 2, 1))) / slope
    tilt = deviation / float(np.sqrt(((y - middle) ** 2).sum()))
    errors = np.array([[deviation / np.sqrt(y.size), 0.0], [-middle * tilt, tilt]])
    return float(slope), float(-height / slope), errors


def modulus_of(flows: list[Flow]) -> tuple[float, str]:
    """Modulus for the metal, MPa, and where it comes from."""
    found = float(np.mean([flow.modulus for flow in flows]))
    if _CREDIBLE[0] <= found <= _CREDIBLE[1]:
        return float(f"{found:.5g}"), f"mean elastic line of {len(flows)} specimens"
    return (
        HANDBOOK,
        f"handbook value; the elastic lines give {found / 1e3:.3g} GPa, machine included",
    )


def fit_law(law: str, flows: list[Flow]) -> LawFit:
    """One law on the specimens.  Raises InputError where it cannot be fitted."""
    single = [_fit_one(law, flow) for flow in flows]
    names = PARAMETERS[law]
    logs = np.array([np.log(value) for value, _, _ in single])
    mean = logs.mean(axis=0)
    spread = spread_of_mean([cov for _, cov, _ in single], logs, [dof for _, _, dof in single])
    spread = np.minimum(spread, OPEN)
    values = {
        name: Limited(float(np.exp(m)), float(np.exp(m - h)), float(np.exp(m + h)))
        for name, m, h in zip(names, mean, spread, strict=True)
    }
    left = np.concatenate([
        flow.stress[used] - law_stress(law, own, flow.strain[used])
        for flow, (own, _, _) in zip(flows, single, strict=True) for used in [_used(flow)]
    ])  # fmt: skip
    return LawFit(law, values, float(np.sqrt(np.mean(left**2))))


def spread_of_mean(covariances: list[Floats], values: Floats, freedoms: list[float]) -> Floats:
    """(p,) half widths for nine times in ten of the mean of estimates (n, p)."""
    from scipy.stats import t

    tail = 0.5 * (1.0 + LEVEL)
    n = len(values)
    if n == 1:
        return np.asarray(t.ppf(tail, freedoms[0]) * np.sqrt(np.diag(covariances[0])))
    return np.asarray(t.ppf(tail, n - 1) * values.std(axis=0, ddof=1) / np.sqrt(n))


def _used(flow: Flow) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    used = flow.strain >= _FIRST
    return used if used.sum() >= 8 else flow.strain >= 0.0


def _fit_one(law: str, flow: Flow) -> tuple[Floats, Floats, float]:
    """Parameters, covariance of their logarithms, degrees of freedom.  Raises InputError."""
    used = _used(flow)
    strain, stress = flow.strain[used], flow.stress[used]
    rise = max(float(stress.max() - stress.min()), 1.0)
    start = {
        "voce": (float(stress.min()), rise, 3.0 / float(strain.max())),
        "swift": (float(stress.min()), 0.3 * float(strain.max()), 0.1),
    }[law]
    low = {"voce": (1.0, 0.01, 0.5), "swift": (1.0, 1e-6, 1e-4)}[law]
    high = {"voce": (3000.0, 3000.0, 1000.0), "swift": (3000.0, 1.0, 1.0)}[law]

    what = f"{law} on specimen {brief(flow.name)}"

    def fitted(strain: Floats, start: object) -> tuple[Floats, Floats, float]:
        return least_squares_in_logs(
            lambda logs: law_stress(law, np.exp(logs), strain) - stress, start, low, high, what
        )

    values, covariance, freedom = fitted(strain, start)
    for first, last in flow.line_errors:
        share = (strain - flow.strain[0]) / (flow.strain[-1] - flow.strain[0])
        moved = np.maximum(strain - first - share * (last - first), 0.0)
        change = np.log(fitted(moved, values)[0] / values)
        covariance = covariance + np.outer(change, change)
    return values, covariance, freedom


def least_squares_in_logs(
    residual: object, start: object, low: object, high: object, what: str
) -> tuple[Floats, Floats, float]:
    """Parameters, covariance of their logarithms, and degrees of freedom left by correlation.

    residual : of the logarithms, (n,).  Raises InputError where the fit does not end.
    """
    from scipy.optimize import least_squares

    bounds = np.log(np.asarray(low)), np.log(np.asarray(high))
    first = np.clip(np.log(np.asarray(start)), bounds[0] + 1e-6, bounds[1] - 1e-6)
    found = least_squares(residual, first, bounds=bounds, x_scale="jac", max_nfev=400)
    if not found.success or not np.isfinite(found.x).all():
        raise InputError(f"{what} could not be fitted: {found.message}", "FILE", what)
    left = found.fun
    n, p = left.size, found.x.size
    # neighbours that stray together count for fewer points
    centred = left - left.mean()
    square = float(centred @ centred)
    rho = float(centred[1:] @ centred[:-1]) / square if square > 0.0 else 0.0
    rho = float(np.clip(rho, 0.0, 0.98))
    inflation = (1.0 + rho) / (1.0 - rho)
    dof = max((n - p) / inflation, 1.0)
    variance = float(left @ left) / max(n - p, 1) * inflation
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * variance
    return np.exp(found.x), covariance, dof


def table_of(flows: list[Flow], entries: int = 12) -> Table:
    """The mean measured curve as a table up to the smallest neck, rising throughout."""
    end = min(flow.neck for flow in flows)
    nodes = np.concatenate(([0.0], np.geomspace(_FIRST, end, entries)))
    rows = []
    for flow in flows:
        order = np.argsort(flow.strain, kind="stable")
        strain, stress = flow.strain[order], flow.stress[order]
        # straight lines between nodes, by least squares
        inside = (strain >= 0.5 * _FIRST) & (strain <= end)
        part = np.clip(strain[inside], nodes[1], end)
        at = np.clip(np.searchsorted(nodes[1:], part, side="right") - 1, 0, entries - 2)
        share = (part - nodes[1:][at]) / (nodes[1:][at + 1] - nodes[1:][at])
        matrix = np.zeros((part.size, entries))
        matrix[np.arange(part.size), at], matrix[np.arange(part.size), at + 1] = 1.0 - share, share
        # nodes without points follow their neighbours
        bend = 1e-3 * np.diff(np.eye(entries), 2, axis=0)
        whole = np.vstack((matrix, bend))
        right = np.concatenate((stress[inside], np.zeros(entries - 2)))
        rows.append(np.linalg.lstsq(whole, right, rcond=None)[0])
    stress = np.maximum.accumulate(np.mean(rows, axis=0))
    first = float(stress[0] - (stress[1] - stress[0]) / (nodes[2] - nodes[1]) * nodes[1])
    stress = np.concatenate(([min(max(first, 0.7 * stress[0]), stress[0])], stress))
    return Table(tuple(nodes.round(6).tolist()), tuple(stress.round(3).tolist()))


def r_value_of(specimens: list[Specimen]) -> tuple[float, dict[float, float]] | None:
    """Mean r-value (r0 + 2 r45 + r90) / 4, and that of each direction; None where no width was
    measured.  Of each curve: width over thickness strain, plastic, from half of its neck on.

    Raises InputError where directions other than all three of 0, 45 and 90 degrees are given.
    """
    found: dict[float, list[float]] = {}
    for specimen in specimens:
        if specimen.width is None or specimen.kind != "tensile":
            continue
        load = specimen.y * np.exp(-specimen.x) if specimen.true else specimen.y
        top = _top(load) + 1
        along, across, stress = specimen.x[:top], specimen.width[:top], specimen.y[:top]
        if not specimen.true:
            stress = stress * (1.0 + along)
            along, across = np.log1p(along), np.log1p(across)
        modulus, start, _ = _elastic_line(specimen.name, along, stress)
        plastic = along - start - stress / modulus
        across = across + 0.33 * stress / modulus
        part = plastic > 0.3 * plastic[-1]
        slope = float(np.polyfit(plastic[part], across[part], 1)[0])
        if not -0.95 < slope < -0.05:
            raise InputError(
                f"specimen {brief(specimen.name)} changes width by {slope:.3g} of its length; it "
                "must lie in -0.95 to -0.05: a strip that is pulled becomes narrower",
                "FILE", f"{slope:.3g}", "-0.95 to -0.05",
            )  # fmt: skip
        angle = 0.0 if specimen.direction is None else specimen.direction
        found.setdefault(angle, []).append(-slope / (1.0 + slope))
    if not found:
        return None
    each = {angle: float(np.mean(values)) for angle, values in sorted(found.items())}
    if set(each) == {0.0, 45.0, 90.0}:
        return 0.25 * (each[0.0] + 2.0 * each[45.0] + each[90.0]), each
    if len(each) == 1:
        return next(iter(each.values())), each
    listed = ", ".join(f"{angle:g}" for angle in each)
    raise InputError(
        f"widths are given for directions {listed} deg; the mean r-value needs 0, 45 and 90 deg",
        "direction", listed, "0, 45 and 90 deg",
    )  # fmt: skip
