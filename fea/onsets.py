"""Onset pressure against the number of circumferential waves, and the mode that comes first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fea.ramp import ramp
from fea.record import CAUTION, Outline, Record, Stability, WaveMode, record_dict
from fea.reversal import (
    DEFORMATION_WAVES,
    Settings,
    discretisation,
    plan_of,
    reversal,
    shell_of,
)
from fea.waves import first_onset
from profiles.errors import InputError
from profiles.profile import Profile


@dataclass(frozen=True)
class NumberOnset:
    """First instability in n circumferential waves.

    waves : n; 0 is all round.  pressure_mpa : None where this n stays stable on the path.
    before_limit : whether it comes before the axisymmetric limit.
    counted : False for short waves by secant moduli, whose onset depends on the mesh.
    """

    waves: int
    pressure_mpa: float | None
    before_limit: bool
    counted: bool


@dataclass(frozen=True)
class WaveRecord:
    """What waves do to one bottom.

    kind, reason, reversal_pressure_mpa, stability : as in Record.
    flow, deformation : onset for every n, by flow theory along the whole path and by deformation
        theory up to the limit; the latter is empty for elastic metal, where both are one.
    mode, theory : the first mode by flow theory, after the limit if there is none before it, or
        else by deformation theory; None if neither found any.
    outline : the meridian at the last state before that mode.
    """

    profile: Profile
    kind: str
    reason: str
    reversal_pressure_mpa: float | None
    stability: Stability
    flow: tuple[NumberOnset, ...]
    deformation: tuple[NumberOnset, ...]
    mode: WaveMode | None
    theory: str
    outline: Outline
    versions: dict[str, str]
    caution: str = CAUTION

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, numbers, texts and None, ready for JSON; the profile as in its file."""
        return record_dict(self)


def wave_onsets(profile: Profile, settings: Settings | None = None, **changes: Any) -> WaveRecord:
    """Onset pressures in 0 to settings.waves waves, and the mode that comes first.

    The path is followed beyond its limit, where a bottom that sinks evenly may yet tilt.  changes :
    fields of Settings by name.  Raises InputError for a setting out of range.
    """
    settings = replace(settings or Settings(), **changes, follow=True, growth_at=())
    if settings.waves < 1:
        raise InputError("waves is 0; it must lie in 1 to 100", "waves", "0", "1 to 100")
    record = reversal(profile, settings)
    shell = shell_of(profile, discretisation(settings.resolution))
    plan = plan_of(profile, shell, record.mesh.step, settings.ceiling)
    # the path of the record once more, as far as it went
    length = record.curve.pressure_mpa.size
    path = ramp(shell, shell.start(), plan, lambda so_far: len(so_far.states) < length)
    states, scale, end = path.states, 1.0, len(path.states)
    if path.limit is not None:
        end = path.limit.before + 1
        scale += (record.step_correction_mpa or 0.0) / path.limit.pressure

    def by_number(theory: str, among: list[Any]) -> tuple[NumberOnset, ...]:
        out = []
        for n in range(settings.waves + 1):
            found = first_onset(shell, among, plan, theory, (n,))
            pressure = None if found is None else scale * found.pressure
            # n = 0 by flow theory is the limit itself
            before = found is not None and found.before + 1 < end and (n > 0 or theory != "flow")
            out.append(NumberOnset(n, pressure, before, theory == "flow" or n in DEFORMATION_WAVES))
        return tuple(out)

    elastic = profile.material.yield_strength is None
    stability = record.stability or Stability(None, None, None, None, settings.waves)
    mode = stability.flow or stability.deformation
    theory = "" if mode is None else "deformation" if stability.flow is None else "flow"
    return WaveRecord(
        profile=profile,
        kind=record.kind,
        reason=record.reason,
        reversal_pressure_mpa=record.reversal_pressure_mpa,
        stability=stability,
        flow=by_number("flow", states),
        deformation=() if elastic else by_number("deformation", states[:end]),
        mode=mode,
        theory=theory,
        outline=_outline(record, states, mode, scale),
        versions=record.versions,
    )


def _outline(record: Record, states: list[Any], mode: WaveMode | None, scale: float) -> Outline:
    """The meridian of the last state before a mode."""
    if mode is None:
        return record.before
    pressure = np.array([state.pressure for state in states])
    top = int(np.argmax(pressure))
    if mode.before_limit:
        index = int(np.flatnonzero(scale * pressure[: top + 1] <= mode.pressure_mpa)[-1])
    else:
        index = top + int(np.flatnonzero(scale * pressure[top:] >= mode.pressure_mpa)[-1])
    r, z, angle = states[index].x.T
    return Outline(float(pressure[index]), r.copy(), z.copy(), angle.copy())
