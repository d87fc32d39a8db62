"""A fitted trace in words and as data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.text import Text

from domemargin.profiles.units import PSI
from domemargin.studies.text.printing import narrow_console, plain_table, print_files, spaced
from domemargin.studies.text.words import one_line

if TYPE_CHECKING:
    from domemargin.studies.trace.report import TraceReport

_Z95 = 1.959964
_SHOWN = 6  # points set aside that are printed


def _rows(report: TraceReport) -> list[dict[str, Any]]:
    rows = []
    for name in (*report.fit.names, *report.fit.held):
        value, error = report.fit.spread(name)
        angle = name.endswith("angle")
        scale = 180.0 / math.pi if angle else 1.0
        rows.append({
            "name": name,
            "unit": "deg" if angle else "mm",
            "value": value * scale,
            "limits_95": None if error is None else _Z95 * error * scale,
        })  # fmt: skip
    return rows


def trace_data(report: TraceReport) -> dict[str, Any]:
    """Everything of a trace's report, ready for JSON."""
    import tomllib

    from domemargin.profiles.files.writing import dump_profile

    fit = report.fit
    pressure = report.pressure
    return {
        "profile": tomllib.loads(dump_profile(report.profile)),
        "face": fit.face,
        "points": int(fit.used.size),
        "used": int(np.count_nonzero(fit.used)),
        "dimensions": _rows(report),
        "misfit_um": {
            "rms": 1e3 * fit.rms,
            "largest": 1e3 * fit.largest,
            "between_neighbours": 1e3 * fit.noise,
            "parts": [
                {
                    "part": p.part, "points": p.points, "rms": 1e3 * p.rms,
                    "right_less_left": None if p.halves is None else 1e3 * p.halves,
                    "error": None if p.halves_error is None else 1e3 * p.halves_error,
                }
                for p in report.parts
            ],
        },
        "pose": {
            "both_sides": fit.pose.both,
            "mirrored": fit.pose.across < 0,
            "upside_down": fit.pose.up < 0,
            "axis_mm": float(fit.pose.axis),
            "stand_plane_mm": float(fit.pose.floor),
            "tilt_deg": math.degrees(fit.pose.tilt),
            "tilt_limits_95_deg": (
                None if fit.tilt_error is None else math.degrees(_Z95 * fit.tilt_error)
            ),
        },
        "dome_off_centre_um": None if fit.shift is None else {
            "value": 1e3 * fit.shift.value,
            "limits_95": None if fit.shift.error is None else 1e3 * _Z95 * fit.shift.error,
        },
        "set_aside": [one._asdict() for one in report.aside],
        "notes": list(report.notes),
        "reversal": None if pressure is None else {
            "pressure_mpa": pressure.mpa,
            "limits_95_mpa": None if pressure.error is None else _Z95 * pressure.error,
            "slopes_mpa_per_mm_or_rad": pressure.slopes,
            "kind": pressure.kind,
            "reason": pressure.reason,
        },
        "caution": report.caution,
    }  # fmt: skip


def print_trace(report: TraceReport, files: Sequence[Path]) -> None:
    """The dimensions with their limits, misfit, halves, points set aside, pressure."""
    console = narrow_console()
    fit = report.fit
    console.print(Text(one_line(report.profile.name), style="bold"))
    sides = "both sides" if fit.pose.both else "one side"
    console.print(Text(
        f"{np.count_nonzero(fit.used)} of {fit.used.size} points used, {sides}, {fit.face} surface"
    ))  # fmt: skip
    console.print()
    table = plain_table("left", "right", "left", "left")
    for row in _rows(report):
        limits = row["limits_95"]
        words = "kept, not shown by the trace" if limits is None else f"± {limits:.2g}"
        table.add_row(spaced(row["name"]), f"{row['value']:.4f}", row["unit"], words)
    console.print(table)
    console.print(Text("± are 95 % limits from the misfit of the points."))
    console.print()
    answer = plain_table("left", "left")
    answer.add_row(
        "Misfit", f"{1e3 * fit.rms:.1f} um root mean square, {1e3 * fit.largest:.0f} um at most"
    )
    worst = max(report.parts, key=lambda p: p.rms)
    answer.add_row("", f"most on the {spaced(worst.part)}: {1e3 * worst.rms:.1f} um")
    if report.pressure is not None:
        found = report.pressure
        if found.mpa is None:
            answer.add_row("Reversal", f"not known: {found.reason}")
        else:
            limits = "" if found.error is None else f" ± {_Z95 * found.error / PSI:.2g} psi"
            words = f"{found.mpa / PSI:.1f}{limits}" + (" psi" if not limits else "")
            answer.add_row("Reversal pressure", Text(words, style="bold"))
            answer.add_row("", "± from the fit alone; not gauge, metal or model")
    console.print(answer)
    for note in report.notes:
        console.print(Text(note))
    if report.aside:
        console.print()
        console.print(Text(f"{len(report.aside)} points set aside:"))
        for one in report.aside[:_SHOWN]:
            console.print(Text(f"  line {one.line}: {one.reason}"))
        if len(report.aside) > _SHOWN:
            console.print(Text("  and others, in set-aside.csv"))
    print_files(console, files)
    console.print(Text(report.caution, style="italic"))
