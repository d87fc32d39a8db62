"""Onset pressure against the number of circumferential waves, and the mode that comes first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from domemargin.fea.bottom.reversal import Solved, record_of, solve_path
from domemargin.fea.core.record import CAUTION, Outline, Record, Stability, WaveMode, record_dict
from domemargin.fea.core.settings import Settings
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell
from domemargin.fea.waves.waves import DEFORMATION_WAVES, WaveOnset, first_onset, wave_tangent
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile


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
    fields of Settings by name.  Raises InputError for a setting out of range; a solve
    that fails is a record whose kind and reason say so.
    """
    settings = replace(settings or Settings(), **changes, follow=True, growth_at=())
    if settings.waves < 1:
        raise InputError("waves is 0; it must lie in 1 to 100", "waves", "0", "1 to 100")
    solved = solve_path(profile, replace(settings, model="shell"))
    record = record_of(profile, settings, solved)
    if len(solved.found.path.states) == 1:
        return _record(record)
    try:
        return _onsets(settings, record, solved)
    except SolveError as error:  # a record of its own: what the path says stands
        reason = record.reason if record.kind == "not_converged" else error.reason
        return _record(replace(record, kind="not_converged", reason=reason))


def _record(record: Record, **found: Any) -> WaveRecord:
    """A record of waves with what was found of them, or with nothing."""
    nothing: dict[str, Any] = {
        "flow": (),
        "deformation": (),
        "mode": None,
        "theory": "",
        "outline": record.before,
    }
    return WaveRecord(
        profile=record.profile,
        kind=record.kind,
        reason=record.reason,
        reversal_pressure_mpa=record.reversal_pressure_mpa,
        stability=record.stability or Stability(None, None, None, None, 0),
        versions=record.versions,
        **(nothing | found),
    )


def _onsets(settings: Settings, record: Record, solved: Solved) -> WaveRecord:
    shell, plan, path = solved.view.system, solved.found.plan, solved.found.path
    assert isinstance(shell, Shell)
    states, scale, end = path.states, 1.0, len(path.states)
    if path.limit is not None:
        end = path.limit.before + 1
        scale += (record.step_correction_mpa or 0.0) / path.limit.pressure

    numbers = range(settings.waves + 1)
    ends = _first_unstable(shell, states, end, numbers)
    flow = {n: first_onset(shell, states[: ends[n] + 1], plan, "flow", (n,)) for n in numbers}
    elastic = solved.view.elastic
    second = {
        n: first_onset(shell, states[:end], plan, "deformation", (n,))
        for n in (() if elastic else numbers)
    }

    def row(n: int, found: WaveOnset | None, theory: str) -> NumberOnset:
        pressure = None if found is None else scale * found.pressure
        # n = 0 by flow theory is the limit itself
        before = found is not None and found.before + 1 < end and (n > 0 or theory != "flow")
        return NumberOnset(n, pressure, before, theory == "flow" or n in DEFORMATION_WAVES)

    stability = record.stability or Stability(None, None, None, None, settings.waves)
    mode, theory = stability.flow, "flow"
    if mode is None:  # none at the end of the path, but perhaps on the way there
        later = [found for n, found in flow.items() if n and found is not None]
        if later:
            found = min(later, key=lambda one: (one.before, -one.pressure))
            radial, axial, _, hoop, _ = found.mode.T
            mode = WaveMode(found.n, scale * found.pressure, False, radial, axial, hoop)
        else:
            mode, theory = stability.deformation, "deformation"
    return _record(
        record,
        flow=tuple(row(n, found, "flow") for n, found in flow.items()),
        deformation=tuple(row(n, found, "deformation") for n, found in second.items()),
        mode=mode,
        theory=theory if mode is not None else "",
        outline=_outline(record, states, mode, scale),
    )


def _first_unstable(
    shell: Shell, states: list[Any], end: int, numbers: Sequence[int]
) -> dict[int, int]:
    """For each n the first state beyond the limit at which it is unstable, or else the last one.

    On the falling branch some waves come and go, so its end does not speak for the whole.
    """
    out = dict.fromkeys(numbers, len(states) - 1)
    left = set(numbers)
    for i in range(end, len(states)):
        tangent = wave_tangent(shell, states[i - 1], states[i])
        for n in tangent.unstable(sorted(left)):
            out[n] = i
            left.remove(n)
    return out


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
