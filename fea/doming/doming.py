"""From tooling and setting to the depth a gauge reads, in one call."""

from __future__ import annotations

import time
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from domemargin.fea.bottom.readings import part_at
from domemargin.fea.doming.fit import Fit, fit_shape
from domemargin.fea.doming.marks import embossing
from domemargin.fea.doming.readings import (
    balance,
    line,
    membrane_strains,
    neck_thinning,
    thinning,
)
from domemargin.fea.doming.record import (
    ALL,
    Balance,
    DomingRecord,
    Metal,
    Rest,
    Stroke,
    StrokeEnd,
    Worst,
)
from domemargin.fea.doming.reversal import PARTS, FormedReversal, part_by_part, reverse
from domemargin.fea.metal.materials import EP
from domemargin.fea.stroke.end import FORCE_ERROR, SHELL_FORCE
from domemargin.fea.stroke.press import FormingSettings, outside_depth
from domemargin.fea.stroke.stages import Formed, Watch, form
from domemargin.profiles.shape.chain import Chain
from domemargin.profiles.shape.chain import solve as solve_chain
from domemargin.profiles.shape.meridian import Meridian
from domemargin.profiles.tooling.tooling import Tooling

BOTTOMED = 0.01  # share of the station's force that the flange must take
WAVES = 20  # around the circumference that the formed bottom is checked against
REVERSALS = ("none", "formed", "parts")


def doming(
    tooling: Tooling,
    settings: FormingSettings | None = None,
    reversal: str = "formed",
    waves: int = WAVES,
) -> DomingRecord:
    """Form a bottom, let it spring back, measure it, and raise the pressure in it.

    reversal : "none", "formed" (the whole formed state) or "parts" (also part by part).
    waves : stability of the formed bottom is checked against 1 to this many circumferential waves.
    A solve that cannot be carried on is a record whose kind names the stage.
    """
    return solve(tooling, settings, reversal, waves)[1]


def solve(
    tooling: Tooling,
    settings: FormingSettings | None = None,
    reversal: str = "formed",
    waves: int = WAVES,
    watch: Watch | None = None,
) -> tuple[Formed, DomingRecord]:
    """The same with the states of the solve, for figures; see `doming` and `form`."""
    if reversal not in REVERSALS:
        raise ValueError(f"reversal is {reversal!r}; it must be none, formed or parts")
    started = time.perf_counter()
    formed = form(tooling, settings, watch)
    record = replace(read(formed, tooling), embossing=embossing(tooling, formed, settings))
    found: dict[str, FormedReversal] = {}
    if record.kind == "formed" and reversal != "none":
        found = (
            part_by_part(formed, tooling, waves)
            if reversal == "parts"
            else {ALL: reverse(formed, tooling, PARTS, waves=waves)}
        )
    return formed, replace(record, reversal=found, seconds=time.perf_counter() - started)


def read(formed: Formed, tooling: Tooling) -> DomingRecord:
    """The record of a solve, as far as the solve came."""
    kind = f"{formed.failed} failed" if formed.failed else "formed"
    reached = [name for name, _ in formed.stages]
    end = _end(formed) if "stroke" in reached else None
    return DomingRecord(
        tooling,
        kind,
        formed.reason + _necked(formed, tooling),
        stroke=_stroke(formed) if formed.moments else None,
        end=end,
        rest=_rest(formed, tooling, end) if kind == "formed" and end is not None else None,
        balances=_balances(formed, reached),
    )


def _stroke(formed: Formed) -> Stroke:
    # the order of fields is that of the record
    columns = np.array(formed.moments).T.copy()
    columns[0] -= formed.touch_mm
    return Stroke(*columns)


def _end(formed: Formed) -> StrokeEnd:
    last = formed.moments[-1]
    return StrokeEnd(
        loaded_depth_mm=outside_depth(formed.press, formed.at("stroke"))[0],
        bottomed=bool(last.flange_n > BOTTOMED * last.die_n),
        overtravel_mm=float(last.overtravel_mm),
        depth_per_kn=1e3 * formed.sensitivity,
        depth_band_mm=FORCE_ERROR * formed.sensitivity,
        depth_low_mm=SHELL_FORCE * float(last.die_n) * formed.sensitivity,
    )


def _limit(formed: Formed, tooling: Tooling) -> tuple[float, str]:
    """Thinning at which the sheet is assumed to split, and the source of this limit."""
    if tooling.thinning_limit is not None:
        return tooling.thinning_limit, "given"
    limit = neck_thinning(formed.press.shell.material)
    return limit, "local neck by Hill (1952) from the hardening curve; not measured"


def _necked(formed: Formed, tooling: Tooling) -> str:
    """Addition to the reason of a stroke that failed in metal thinner than its limit."""
    if formed.failed != "stroke" or formed.last is None:
        return ""
    thinned, limit = float(thinning(formed, formed.last).max()), _limit(formed, tooling)[0]
    if thinned <= limit:
        return ""
    return (
        f"; by then it had thinned by {100 * thinned:.0f} % over 1 mm, more than the limit of "
        f"{100 * limit:.0f} %: real sheet would have split"
    )


def _balances(formed: Formed, reached: list[str]) -> tuple[Balance, ...]:
    out = []
    for stage in reached:
        ledger = formed.at(stage).ledger
        force = balance(formed, stage)
        spent = (ledger.elastic, ledger.plastic, ledger.rubbed, ledger.penalty)
        out.append(Balance(stage, ledger.work, *spent, ledger.gap, force))
    return tuple(out)


def _rest(formed: Formed, tooling: Tooling, end: StrokeEnd) -> Rest:
    rest = formed.at("punch off")
    depth, stand = outside_depth(formed.press, rest)
    lie = line(formed, rest)
    fit = fit_shape(tooling, lie.r, lie.z - stand, lie.angle, depth)
    metal = _metal(formed, stand, fit)
    limit, source = _limit(formed, tooling)
    # at the stand ring the line is level
    ring = int(np.argmin(lie.z))
    near = slice(max(ring - 2, 0), ring + 3)
    level = float(np.interp(0.0, lie.angle[near], lie.s[near]))
    worst = _worst(metal)
    return Rest(
        depth_mm=depth,
        springback_mm=end.loaded_depth_mm - depth,
        draw_in_mm=level - 0.5 * tooling.punch.nose_diameter,
        worst=worst,
        thinning_limit=limit,
        thinning_limit_source=source,
        split_risk=worst.thinning / limit if limit > 0.0 else None,
        hoop_strain=float(metal.hoop_strain.min()),
        fitted=_dimensions(fit) if fit is not None and fit.describes else None,
        misfit_mm=None if fit is None else fit.misfit_mm,
        misfit_largest_mm=None if fit is None else fit.largest_mm,
        metal=metal,
    )


def _worst(metal: Metal) -> Worst:
    i = int(np.argmax(metal.thinning))
    return Worst(
        float(metal.thinning[i]), metal.part[i], float(metal.place_mm[i]), float(metal.r_mm[i])
    )


def _dimensions(fit: Fit) -> dict[str, Any]:
    skip = ("radii_on", "wall_height")
    return {name: value for name, value in asdict(fit.shape).items() if name not in skip}


def _metal(formed: Formed, stand: float, fit: Fit | None) -> Metal:
    state = formed.at("punch off")
    shell = formed.press.shell
    lie = line(formed, state)
    r, z = (np.interp(shell.point_s, lie.s, values) for values in (lie.r, lie.z - stand))
    meridian, hoop = membrane_strains(formed, state)
    count = int(shell.first_layer[1])

    def layered(values: np.ndarray) -> np.ndarray:
        return values.reshape(-1, count)

    return Metal(
        shell.point_s,
        r,
        z,
        _parts(r, z, fit),
        state.inside + state.outside,
        thinning(formed, state),
        meridian,
        hoop,
        shell.y0[:count],
        layered(state.shell.layers[EP]),
        layered(state.shell.stress[0]),
        layered(state.shell.stress[1]),
    )


def _parts(r: np.ndarray, z: np.ndarray, fit: Fit | None) -> tuple[str, ...]:
    """Part of the formed bottom that each point belongs to, by the nearest of the fitted chain."""
    chain = None if fit is None else solve_chain(fit.shape, fit.sheet)
    if not isinstance(chain, Chain):
        return ("bottom",) * r.size
    meridian: Meridian = chain.meridian
    s = np.linspace(0.0, meridian.length, 1500)
    at = meridian.at(s)
    nearest = np.argmin((at.r[None] - r[:, None]) ** 2 + (at.z[None] - z[:, None]) ** 2, axis=1)
    return tuple(part_at(meridian, float(s[i])) for i in nearest)
