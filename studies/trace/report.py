"""A trace as a profile: dimensions with their uncertainty, misfit, halves, reversal pressure."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from domemargin.fea.core.record import CAUTION
from domemargin.fea.core.settings import Settings
from domemargin.profiles import Along, InputError, Profile, Sheet, dump_profile
from domemargin.profiles.limits import LIMITS, shown
from domemargin.profiles.local import MOST_SLOPE
from domemargin.profiles.shape.shape import Shape
from domemargin.studies.trace.fit import TraceFit, fit_trace
from domemargin.studies.trace.points import Points, check_span

NORMAL_95 = 1.959964  # two-sided 95 % of the normal distribution (any table)
MOST_MISFIT = 0.15  # mm, root mean square, up to which points are taken for a bottom
_BIN, _BIN_POINTS = 0.5, 8  # least arc length (mm) and points of an entry of the misfit table


class Aside(NamedTuple):
    """A point that was not used.  line : in the file.  x, z : mm, None where not readable."""

    line: int
    x: float | None
    z: float | None
    reason: str


class PartMisfit(NamedTuple):
    """The misfit on one part, mm: root mean square; mean of the right less that of the left half
    with its error (None for a trace of one side)."""

    part: str
    points: int
    rms: float
    halves: float | None
    halves_error: float | None


@dataclass(frozen=True)
class TracePressure:
    """What the fit's uncertainty does to the reversal pressure.

    mpa : of the fitted bottom; None with a reason where it was not found.  error : standard
    error from the covariance of the dimensions, MPa.  slopes : MPa per mm or radian, by name.
    """

    mpa: float | None
    error: float | None
    slopes: dict[str, float]
    kind: str
    reason: str


@dataclass(frozen=True)
class TraceReport:
    """A fitted trace.  profile : as written.  parts : misfit by part.  notes : what is to be
    known before the dimensions are used."""

    profile: Profile
    fit: TraceFit
    points: Points
    parts: tuple[PartMisfit, ...]
    aside: tuple[Aside, ...]
    notes: tuple[str, ...]
    pressure: TracePressure | None
    caution: str = CAUTION


def trace_report(
    points: Points,
    base: Profile,
    face: str = "outside",
    name: str | None = None,
    zones: int | None = None,
    axis_given: bool = False,
    keep_misfit: bool = False,
    settings: Settings | None = None,
    solve: Callable[..., Any] | None = None,
) -> TraceReport:
    """The bottom nearest to traced points.

    base : sheet and metal, and dimensions that the trace does not show.  face : which was traced:
    "outside", "inside" or "mid".  keep_misfit : the profile carries what lies between the points
    and the dimensions as its offset.  settings : of the solves for the reversal pressure; None
    leaves them out.  solve : replaces domemargin.fea.bottom.reversal.reversal.
    Raises InputError, one sentence, for points that are no meridian of a bottom.
    """
    check_span(points.x, points.z)
    sheet = base.sheet
    # however much of the wall was traced, it is one line
    tall = replace(base.shape, wall_height=LIMITS["shape.wall_height"].high)
    fit = fit_trace(points.x, points.z, face, tall, sheet, zones, axis_given)
    _check_fit(fit, sheet)
    shape = _rounded(replace(fit.shape, wall_height=base.shape.wall_height))
    along = misfit_table(fit) if keep_misfit else None
    profile = Profile(name or f"{base.name}, traced", shape, sheet, base.material, along=along)
    pressure = None
    if settings is not None:
        pressure = trace_pressure(profile, fit, settings, solve)
    return TraceReport(
        profile, fit, points, _parts(fit), _aside(points, fit), _notes(fit, base), pressure
    )


def _check_fit(fit: TraceFit, sheet: Sheet) -> None:
    """Reject what is no meridian of one face.  Raises InputError."""
    gauge = sheet.bottom_gauge
    left_out = 1.0 - float(np.mean(fit.used))
    off = np.abs(fit.residual) + fit.feet.beyond
    near_gauge = float(np.mean((off > 0.6 * gauge) & (off < 1.4 * gauge)))
    half_gauge = (off > 0.3 * gauge) & (off < 0.7 * gauge)
    signs = float(np.mean(fit.residual[half_gauge] > 0.0)) if np.any(half_gauge) else 0.0
    split = float(np.mean(half_gauge)) > 0.6 and 0.2 < signs < 0.8
    if near_gauge > 0.25 or split:
        raise InputError(
            f"the points lie on two lines about {gauge:.3g} mm apart, like the outline of both "
            "faces of the sheet; they must be those of one face",
            "FILE",
        )
    if left_out > 0.3 or fit.rms > MOST_MISFIT:
        raise InputError(
            f"the nearest bottom leaves {100.0 * left_out:.0f} % of the points out and lies "
            f"{1e3 * fit.rms:.0f} um (root mean square) from the rest; at most 30 % and "
            f"{1e3 * MOST_MISFIT:.0f} um are accepted: are the points one meridian of a bottom?",
            "FILE",
        )
    widest = float(np.max(np.diff(np.sort(fit.feet.s[fit.used]))))
    if widest > 0.5 * fit.shape.stand_diameter:
        raise InputError(
            f"the trace has a gap of {widest:.3g} mm along the bottom; it must run from the dome "
            "to beyond the stand ring",
            "FILE",
        )


def _rounded(shape: Shape) -> Shape:
    """Dimensions to 0.01 micrometre and 1e-5 degrees: no digits that mean nothing."""

    def short(name: str, value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(round(float(entry), 5) for entry in value)
        if name.endswith("angle"):  # as its text reads back
            return float(f"{math.degrees(value):.5f}") * (math.pi / 180.0)
        return round(float(value), 5)

    changes: dict[str, Any] = {}
    for name, value in vars(shape).items():
        if f"shape.{name}" in LIMITS and value != ():
            changes[name] = short(name, value)
    return replace(shape, **changes)


def misfit_table(fit: TraceFit) -> Along:
    """The mean misfit along the arc length as the offset of a profile, nought past its ends.

    Entries are at least 0.5 mm and 8 points apart; where neighbours differ by more than the
    steepest slope that a profile takes, they are drawn together.
    """
    wall = fit.chain.meridian.span("sidewall")[0]
    used = fit.used & (fit.feet.s < wall + 10.0)  # an error far up the wall is none of the bottom's
    order = np.argsort(fit.feet.s[used], kind="stable")
    s, off = fit.feet.s[used][order], fit.residual[used][order]
    places, means = [], []
    first = 0
    for i in range(1, s.size + 1):
        full = i - first >= _BIN_POINTS and s[i - 1] - s[first] >= _BIN
        if full or (i == s.size and i - first >= _BIN_POINTS):
            places.append(float(np.mean(s[first:i])))
            means.append(float(np.mean(off[first:i])))
            first = i
    place, mean = np.array(places), np.array(means)
    keep = np.concatenate(([True], np.diff(place) > 0.3 * _BIN))
    place, mean = place[keep], mean[keep]
    for _ in range(20):
        steep = np.abs(np.diff(mean) / np.diff(place)) > 0.5 * MOST_SLOPE
        if not np.any(steep):
            break
        mean[1:-1] = 0.25 * mean[:-2] + 0.5 * mean[1:-1] + 0.25 * mean[2:]
    end = float(place[-1]) + 1.0  # fades out where nothing was measured
    return Along(
        tuple(round(float(v), 4) for v in [*place, end]),
        offset=tuple(round(float(v), 6) for v in [*mean, 0.0]),
    )


def _parts(fit: TraceFit) -> tuple[PartMisfit, ...]:
    segments = fit.chain.segments
    names = np.array([segment.part for segment in segments])[fit.feet.segment]
    found = []
    for part in dict.fromkeys(segment.part for segment in segments):
        here = fit.used & (names == part)
        if not np.any(here):
            continue
        off = fit.residual[here]
        rms = math.sqrt(float(np.mean(off**2)))
        halves = error = None
        left, right = (fit.residual[here & (fit.side == side)] for side in (-1.0, 1.0))
        if fit.pose.both and min(left.size, right.size) >= 4:
            halves = float(np.mean(right) - np.mean(left))
            error = math.sqrt(
                fit.alike * (float(np.var(left)) / left.size + float(np.var(right)) / right.size)
            )
        found.append(PartMisfit(part, int(np.count_nonzero(here)), rms, halves, error))
    return tuple(found)


def _aside(points: Points, fit: TraceFit) -> tuple[Aside, ...]:
    rows = [Aside(line, None, None, reason) for line, reason in points.set_aside]
    for i in np.flatnonzero(~fit.used):
        off, beyond = float(fit.residual[i]), float(fit.feet.beyond[i])
        if beyond > abs(off):
            why = f"it lies {beyond:.3g} mm past the end of the modelled bottom"
        else:
            side = "into" if off > 0 else "out of"
            why = f"it lies {1e3 * abs(off):.4g} um off the line, {side} the can"
        rows.append(Aside(int(points.line[i]), float(points.x[i]), float(points.z[i]), why))
    return tuple(sorted(rows, key=lambda row: row.line))


def _notes(fit: TraceFit, base: Profile) -> tuple[str, ...]:
    notes = []
    turned = [w for w, on in (("upside down", fit.pose.up < 0), ("mirrored", fit.pose.across < 0))
              if on]  # fmt: skip
    if turned:
        notes.append(f"The trace was {' and '.join(turned)}, and was turned.")
    if fit.held:
        names = ", ".join(name.replace("_", " ") for name in fit.held)
        notes.append(f"Kept from {base.name!r}, since the trace does not show it: {names}.")
    if fit.shift is not None and fit.shift.error is not None:
        value, error = fit.shift
        if abs(value) > 3.0 * (error or 0.0):
            notes.append(
                f"The halves differ: the dome lies {1e3 * abs(value):.3g} um off the axis of the "
                f"stand ring, to the {'right' if value > 0 else 'left'} "
                f"(± {1e3 * NORMAL_95 * (error or 0.0):.2g} um)."
            )
    if fit.tilt_error is not None and abs(fit.pose.tilt) > 3.0 * fit.tilt_error:
        notes.append(
            f"The trace is tilted by {math.degrees(fit.pose.tilt):.3f} deg "
            f"(± {math.degrees(NORMAL_95 * fit.tilt_error):.2g} deg) against its axes; the tilt "
            "was taken out."
        )
    for part in _parts(fit):
        if part.halves is not None and part.halves_error is not None:
            far = abs(part.halves) > max(4.0 * part.halves_error, 0.002)
            if far:
                notes.append(
                    f"The halves differ on the {part.part.replace('_', ' ')}: the right lies "
                    f"{1e3 * part.halves:+.3g} um from the left "
                    f"(± {1e3 * NORMAL_95 * part.halves_error:.2g} um)."
                )
    if fit.alike > 3.0 and fit.rms > 5e-4:
        notes.append(
            "The misfit runs in waves that dimensions do not follow; the limits are wider for it. "
            "--keep-misfit keeps it in the profile."
        )
    return tuple(notes)


def shape_with(shape: Shape, name: str, value: float) -> Shape:
    """The shape with one fitted dimension changed (a zone's as dome_radius_2 and the like)."""
    stem, _, number = name.rpartition("_")
    changes: dict[str, Any] = {name: value}
    if stem in ("dome_radius", "dome_break_diameter") and number.isdigit():
        old = shape.dome_radii if stem == "dome_radius" else shape.dome_break_diameter
        i = int(number) - 1
        changes = {stem: (*old[:i], value, *old[i + 1 :])}
    return replace(shape, **changes)


def trace_pressure(
    profile: Profile, fit: TraceFit, settings: Settings, solve: Callable[..., Any] | None = None
) -> TracePressure:
    """The reversal pressure of a fitted bottom and its standard error from the covariance of the
    fit, by central differences over the larger of two standard errors and 2 um (0.01 deg)."""
    if solve is None:
        from domemargin.fea.bottom.reversal import reversal

        solve = reversal
    settings = replace(settings, growth_at=(), required=None, follow=False)
    record = solve(profile, settings)
    middle = record.reversal_pressure_mpa
    if middle is None:
        return TracePressure(None, None, {}, record.kind, record.reason)
    slopes: dict[str, float] = {}
    for i, name in enumerate(fit.names):
        value = fit.spread(name).value
        least = math.radians(0.01) if name.endswith("angle") else 0.002
        step = max(2.0 * math.sqrt(fit.covariance[i, i]), least)
        ends: list[tuple[float, float]] = []
        for side in (-1.0, 1.0):
            try:
                shape = shape_with(profile.shape, name, value + side * step)
                found = solve(profile.replaced(shape=shape), settings).reversal_pressure_mpa
            except InputError:
                continue
            if found is not None:
                ends.append((side * step, found))
        if len(ends) < 2:
            ends.append((0.0, middle))
        if len(ends) < 2:
            reason = f"the slope against {name.replace('_', ' ')} could not be found"
            return TracePressure(middle, None, slopes, record.kind, reason)
        (a, pa), (b, pb) = ends[:2]
        slopes[name] = float((pb - pa) / (b - a))
    g = np.array([slopes[name] for name in fit.names])
    error = math.sqrt(max(float(g @ fit.covariance @ g), 0.0))
    return TracePressure(middle, error, slopes, record.kind, record.reason)


def profile_text(report: TraceReport) -> str:
    """The profile file, each fitted dimension with its 95 % limits as a comment."""
    fit = report.fit
    notes: dict[str, str] = {}
    for name in (*fit.names, *fit.held):
        kind = "angle" if name.endswith("angle") else "length"
        error = fit.spread(name).error
        stem = re.sub(r"_\d$", "", name)
        words = "kept" if error is None else f"± {shown(NORMAL_95 * error, kind, 2)}"
        notes[stem] = f"{notes[stem]}; {words}" if stem in notes else words
    lines, section, pending = [], "", ""
    for line in dump_profile(report.profile).splitlines():
        if line.startswith("["):
            section = line.strip("[]")
        name = line.split(" = ")[0]
        if section == "shape" and name in notes:
            if line.endswith("["):
                pending = notes[name]
            else:
                line = f"{line}  # {notes[name]}"
        elif pending and line == "]":
            line, pending = f"{line}  # {pending}", ""
        lines.append(line)
    face = "middle" if fit.face == "mid" else fit.face
    head = [
        f"# Fitted to {int(np.count_nonzero(fit.used))} traced points of the {face} surface; "
        f"misfit {1e3 * fit.rms:.2f} um (root mean square).",
        "# After each dimension: its 95 % limits, or 'kept' where the trace does not show it.",
    ]
    return "\n".join([*head, *lines]) + "\n"
