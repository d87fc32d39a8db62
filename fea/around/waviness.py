"""What waves round the can cost, from a profile: '20 micrometres in n = 2 cost x %'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from domemargin.fea.bottom.reversal import Solved, record_of, solve_path
from domemargin.fea.core.record import CAUTION, Record
from domemargin.fea.core.settings import Settings
from domemargin.fea.errors import SolveError
from domemargin.fea.shell.shell import Shell
from domemargin.fea.waves.imperfection import grow
from domemargin.fea.waves.waves import first_onset, wave_tangent
from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.profile import Profile

GROWS = 1.5  # how many times a wave may grow in a step near its onset


@dataclass(frozen=True)
class Waviness:
    """What waves of a given amplitude cost, an estimate of second order in the amplitude.

    kind, reason : "found"; else "none_below_ceiling" or "not_converged", with the reason why there
    is nothing to lose from or the waves could not be carried along: pressures, share_lost and
    growth are then None and the shape is empty.
    waves : n.  amplitude_mm : largest displacement of the stress-free wave, zero to peak, in the
    least favourable shape: that of the softest mode with n waves at the end of the path.
    reversal_pressure_mpa : of the perfect bottom, against all waves.  pressure_mpa : with the
    waves; never above it.  share_lost : 1 - pressure / reversal pressure.
    growth : what becomes of the wave by the end of the path: its largest displacement over the
    given one.
    radial, axial, hoop : (n_nodes,) shape of the wave, largest displacement 1, the first two
    times cos(n theta), the last times sin(n theta).
    """

    waves: int
    amplitude_mm: float
    reversal_pressure_mpa: float | None
    pressure_mpa: float | None
    share_lost: float | None
    growth: float | None
    radial: Floats
    axial: Floats
    hoop: Floats
    kind: str = "found"
    reason: str = ""
    caution: str = CAUTION


def waviness(
    profile: Profile,
    waves: int,
    amplitudes: Sequence[float],
    settings: Settings | None = None,
    **changes: Any,
) -> tuple[Waviness, ...]:
    """Cost of waves with each of the amplitudes (mm).

    waves : 1 to 40.  settings, changes : as for reversal.reversal; of the shell.
    A bottom without a reversal to lose from, and a solve that fails, are a kind with its reason.
    Raises InputError for a number or amplitude out of range.
    """
    for field, value, low, high, unit in (
        ("waves", waves, 1, 40, ""),
        *(("amplitude", amplitude, 1e-6, 1.0, " mm") for amplitude in amplitudes),
    ):
        if not low <= value <= high:
            allowed = f"{low:g} to {high:g}{unit}"
            raise InputError(
                f"{field} is {value:g}{unit}; it must be {allowed}",
                field,
                f"{value:g}{unit}",
                allowed,
            )
    settings = replace(settings or Settings(), **changes)
    solved = solve_path(profile, settings)
    record = record_of(profile, settings, solved)
    none = np.zeros(0)
    if record.reversal_pressure_mpa is None:
        kind, reason = record.kind, f"there is no reversal to lose from: {record.reason}"
    else:
        try:
            return costs(solved, waves, amplitudes, record)
        except SolveError as error:
            kind, reason = "not_converged", error.reason
    return tuple(
        Waviness(
            waves, amplitude, record.reversal_pressure_mpa, None, None, None, none, none, none,
            kind, reason,
        )
        for amplitude in amplitudes
    )  # fmt: skip


def costs(
    solved: Solved,
    waves: int,
    amplitudes: Sequence[float],
    record: Record,
    given: Floats | None = None,
) -> tuple[Waviness, ...]:
    """The same for a bottom that is solved and has a reversal.

    given : (n_nodes, 5) shape of the wave, as in imperfection.grow, of which amplitudes are
    multiples; the softest mode if None.  Raises SolveError where the wave cannot be carried along.
    """
    reversal_pressure = record.reversal_pressure_mpa
    assert reversal_pressure is not None
    shell, plan, path = solved.view.system, solved.found.plan, solved.found.path
    assert isinstance(shell, Shell)
    states, top = path.states, path.states[-1].pressure
    if path.limit is not None:
        states, top = states[: path.limit.before + 1], path.limit.pressure
    onset = first_onset(shell, states, plan, "flow", (waves,))
    volume = np.array([state.volume for state in states])
    pressure = np.array([state.pressure for state in states])
    end = volume[-1]
    if onset is not None:
        # beyond it the bottom is unstable in these waves however small
        top = onset.pressure
        last = slice(onset.before, onset.before + 2)
        share = (top - pressure[last][0]) / (pressure[last][1] - pressure[last][0])
        end = volume[last][0] + share * (volume[last][1] - volume[last][0])
        states = states[: onset.before + 1]
    if len(states) < 4:
        raise SolveError(f"no state of the path is stable in {waves} waves")
    if given is None:
        _, shape = wave_tangent(shell, states[-2], states[-1]).mode(waves)
    else:
        shape = given
    grown = grow(shell, states, waves, shape)
    # the change belongs to the middle of a step
    at = volume[: len(states)]
    middle = 0.5 * (at[1:] + at[:-1])
    fine = np.linspace(middle[0], end, 200 * len(middle))
    perfect = np.interp(fine, volume, pressure)
    size = np.abs(grown.waves[:, :, [0, 1, 3]]).max(axis=(1, 2))
    # a step over which the wave grows much has no one change of pressure: it is carried over
    even = len(middle)
    if onset is not None:
        even = max(2, int(np.argmax(np.append(size[1:] > GROWS * size[:-1], True))))
    change = _between(middle[:even], grown.pressure_change[:even], fine, end if onset else None)
    # shares of the path's own top, so that its step error does not count as a loss
    limit = record.limit_on_curve_mpa
    own = top * (1.0 + (record.step_correction_mpa or 0.0) / limit) if limit else top
    out = []
    for amplitude in amplitudes:
        left = own * float((perfect + amplitude**2 * change).max() / perfect.max())
        left = max(0.0, min(reversal_pressure, left))
        out.append(
            Waviness(
                waves,
                amplitude,
                reversal_pressure,
                left,
                1.0 - left / reversal_pressure,
                float(size[-1] / size[0]),
                shape[:, 0],
                shape[:, 1],
                shape[:, 3],
            )
        )
    return tuple(out)


def _between(x: Floats, change: Floats, at: Floats, onset: float | None) -> Floats:
    """The change of pressure between the middles of steps.

    Towards the onset of its wave it falls as -1 / (onset - x)^2, so there 1 / sqrt(-change) is
    nearly straight, and 0 at the onset.
    """
    if onset is None or np.any(change >= 0.0):
        return np.interp(at, x, change)
    root: Floats = np.interp(at, np.append(x, onset), np.append(1.0 / np.sqrt(-change), 0.0))
    with np.errstate(divide="ignore"):
        return -1.0 / root**2
