"""Reverse loading to the kinematic part: a share, or a back stress that fades.

Pull and push of a strip: each leg of the strain has a closed form in the plastic strain since it
turned, so a test is followed without steps.  Bend and unbend of wide sheet (moment over curvature,
plane strain): the layers of a gauge go through the return map that bottoms are solved with.  The
yield curve (Voce) and the kinematic part are fitted together.  A back stress that fades takes the
place of a share where it leaves clearly less.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.material import BackStress, Material, Voce
from domemargin.studies.metal.specimens import Specimen
from domemargin.studies.metal.tensile import (
    OPEN,
    Limited,
    law_stress,
    least_squares_in_logs,
    spread_of_mean,
)

POISSON = 0.33  # handbook value of aluminium alloys
_BETTER = 0.7  # of a share's residual: below, the back stress that fades is taken
_LAYERS = 24
# what is fitted: yield curve, kinematic part, and the elastic line, the machine in it
NAMES = {
    "share": ("yield_strength", "saturation", "rate", "kinematic_share", "modulus"),
    "fading": ("yield_strength", "saturation", "rate", "back_saturation", "back_rate", "modulus"),
}


@dataclass(frozen=True)
class ReverseFit:
    """Kinematic part by reverse tests.

    kind : "share" or "fading".  parameters : by NAMES.  rms, other_rms : what it and the other
    kind leave, over the largest stress or moment.
    """

    kind: str
    parameters: dict[str, Limited]
    rms: float
    other_rms: float

    def material(self, modulus: float) -> Material:
        """The metal that was fitted."""
        return material_of(self.kind, [p.value for p in self.parameters.values()], modulus)


def material_of(kind: str, values: list[float] | Floats, modulus: float) -> Material:
    """A metal by the parameters of a kind."""
    first, saturation, rate = (float(v) for v in values[:3])
    metal = Material(modulus, POISSON, first, Voce(saturation, rate))
    if kind == "share":
        return replace(metal, kinematic_share=float(min(values[3], 1.0)))
    return replace(metal, back_stress=BackStress(float(values[3]), float(values[4])))


def turns(x: Floats) -> list[int]:
    """Points at which x turns back by more than 2 % of its range, and its last."""
    least, out, way, last = 0.02 * float(np.ptp(x)), [], 0.0, 0
    for i in range(1, x.size):
        if way == 0.0:
            if abs(x[i] - x[0]) > least:
                way, last = float(np.sign(x[i] - x[0])), i
        elif way * (x[i] - x[last]) >= 0.0:
            last = i
        elif way * (x[last] - x[i]) > least:
            out.append(last)
            way, last = -way, i
    return [*out, x.size - 1]


def follow(kind: str, values: Floats, modulus: float, strain: Floats) -> Floats:
    """True stress (MPa) of a strip along its strains, from rest at strain 0."""
    curve = list(values[:3])
    first = float(values[0])

    def iso(ep: Floats) -> Floats:
        whole = law_stress("voce", curve, ep)
        if kind == "share":
            return np.asarray(first + (1.0 - values[3]) * (whole - first))
        return np.asarray(whole - values[3] * (1.0 - np.exp(-values[4] * ep)))

    out, ep, plastic, back, begin = np.empty(strain.size), 0.0, 0.0, 0.0, 0
    for end in turns(strain):
        way = 1.0 if strain[end] >= (strain[begin - 1] if begin else 0.0) else -1.0
        most = float(np.ptp(strain)) + 1e-9
        d = np.concatenate(([0.0], np.geomspace(1e-7, most, 400)))
        if kind == "share":
            grown = law_stress("voce", curve, ep + d) - law_stress("voce", curve, np.array([ep]))
            moved = back + way * values[3] * grown
        else:
            fades = np.exp(-values[4] * d)
            moved = way * values[3] + (back - way * values[3]) * fades
        stress = moved + way * iso(ep + d)
        reached = stress / modulus + plastic + way * d
        here = strain[begin : end + 1]
        elastic = modulus * (here - plastic)
        beyond = way * (here - reached[0]) > 0.0
        out[begin : end + 1] = np.where(
            beyond, np.interp(way * here, way * reached, stress), elastic
        )
        step = float(np.interp(way * strain[end], way * reached, d)) if beyond[-1] else 0.0
        back = float(np.interp(step, d, moved))
        ep, plastic, begin = ep + step, plastic + way * step, end + 1
    return out


def bent(metal: Material, gauge: float, curvature: Floats) -> Floats:
    """Moment (N mm per mm of width) of wide sheet along its curvatures (1/mm), from rest."""
    from domemargin.fea.metal.layers import layer_stresses
    from domemargin.fea.metal.materials import STATE, encode

    place, weight = np.polynomial.legendre.leggauss(_LAYERS)
    y, w = 0.5 * gauge * place, 0.5 * gauge * weight
    strain, old = np.zeros((3, y.size)), np.zeros((STATE, y.size))
    new, stress, tangent = np.empty_like(old), np.empty((3, y.size)), np.empty((6, y.size))
    packed, factor = encode(metal), np.ones(y.size)
    out = np.empty(curvature.size)
    for i, value in enumerate(curvature):
        # inside and outside of a bend: a layer's length over that of the middle
        strain[0] = np.log1p(value * y)
        layer_stresses(packed, factor, strain, old, new, stress, tangent)
        old[:] = new
        out[i] = float(w @ (stress[0] * y / (1.0 + value * y)))
    return out


def fit_reverse(specimens: list[Specimen], modulus: float, gauge: float | None) -> ReverseFit:
    """The kinematic part that reverse tests show.

    modulus : MPa, where the fit of a bent sheet's begins.  gauge : mm, of bending.
    Raises InputError.
    """
    fits = {kind: [_fit_one(kind, one, modulus, gauge) for one in specimens] for kind in NAMES}
    rms = {kind: float(np.sqrt(np.mean([f[3] ** 2 for f in fits[kind]]))) for kind in NAMES}
    kind = "fading" if rms["fading"] < _BETTER * rms["share"] else "share"
    other = "share" if kind == "fading" else "fading"
    logs = np.array([np.log(values) for values, _, _, _ in fits[kind]])
    half = spread_of_mean([f[1] for f in fits[kind]], logs, [f[2] for f in fits[kind]])
    mean, half = logs.mean(axis=0), np.minimum(half, OPEN)
    parameters = {
        name: Limited(float(np.exp(m)), float(np.exp(m - h)), float(np.exp(m + h)))
        for name, m, h in zip(NAMES[kind], mean, half, strict=True)
    }
    if kind == "share":
        one = parameters["kinematic_share"]
        parameters["kinematic_share"] = Limited(min(one.value, 1.0), one.low, min(one.high, 1.0))
    return ReverseFit(kind, parameters, rms[kind], rms[other])


def true_curve(specimen: Specimen) -> tuple[Floats, Floats]:
    """True strain and stress (MPa) of a strip."""
    if specimen.true:
        return specimen.x, specimen.y
    return np.log1p(specimen.x), specimen.y * (1.0 + specimen.x)


def _fit_one(
    kind: str, specimen: Specimen, modulus: float, gauge: float | None
) -> tuple[Floats, Floats, float, float]:
    """Parameters, covariance of their logarithms, degrees of freedom, residual over the largest."""
    if specimen.kind == "bending":
        if gauge is None:
            raise InputError(
                f"specimen {brief(specimen.name)} was bent and no gauge is given; give --gauge, "
                'such as "0.27 mm"',
                "--gauge", "missing", "a length",
            )  # fmt: skip
        x, y = specimen.x, specimen.y
        sharp = 0.5 * gauge * float(np.abs(x).max())
        if sharp > 0.8:
            raise InputError(
                f"specimen {brief(specimen.name)} is bent to {np.abs(x).max():.4g} per mm, "
                f"{sharp:.3g} of what its gauge allows; it must be at most 0.8: is the unit right?",
                "FILE", f"{sharp:.3g}", "at most 0.8",
            )  # fmt: skip
        # fully plastic in plane strain: M = (2/sqrt 3) Y t^2 / 4
        level = float(np.abs(y).max()) * 4.0 / gauge**2 * np.sqrt(3.0) / 2.0

        def model(values: Floats) -> Floats:
            return bent(material_of(kind, values, float(values[-1])), gauge, x)

    else:
        x, y = true_curve(specimen)
        level = float(np.abs(y).max())
        first = slice(0, max(int(np.argmax(np.abs(y) > 0.6 * level)), 4))
        slope = float(np.polyfit(x[first], y[first], 1)[0])
        if not 5e3 < slope < 5e5:
            raise InputError(
                f"specimen {brief(specimen.name)} begins with a line of {slope / 1e3:.3g} GPa; it "
                "must lie in 5 to 500 GPa: are the units right, and does it begin unloaded?",
                "FILE", f"{slope / 1e3:.3g} GPa", "5 to 500 GPa",
            )  # fmt: skip

        def model(values: Floats) -> Floats:
            return follow(kind, values, float(values[-1]), x)

        modulus = slope

    scale = float(np.abs(y).max())
    top = {"share": (1.0,), "fading": (0.7 * level, 1000.0)}[kind]
    best = None
    for part in {"share": ((0.3,), (0.8,)), "fading": ((0.15 * level, 60.0), (0.3 * level, 15.0))}[
        kind
    ]:
        found = least_squares_in_logs(
            lambda logs: (model(np.exp(logs)) - y) / scale,
            (0.85 * level, 0.15 * level, 20.0, *part, modulus),
            (0.05 * level, 1e-3 * level, 0.5, *(1e-3 for _ in part), 0.7 * modulus),
            (1.5 * level, 3.0 * level, 500.0, *top, 1.4 * modulus),
            f"reverse loading of specimen {brief(specimen.name)}",
        )
        left = float(np.sqrt(np.mean((model(found[0]) - y) ** 2))) / scale
        if best is None or left < best[3]:
            best = (*found, left)
    assert best is not None
    return best
