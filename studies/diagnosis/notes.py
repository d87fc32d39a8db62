"""Findings on lines, lots and operators, beside the verdicts on machines."""

from __future__ import annotations

import numpy as np

from domemargin.studies.diagnosis.diagnosis import SPREAD, Diagnosis
from domemargin.studies.diagnosis.levels import Levels
from domemargin.studies.readings.readings import Readings

_SHOWN = 6  # lots named


def notes_of(readings: Readings, diagnosis: Diagnosis) -> tuple[str, ...]:
    """Sentences on findings that concern more than one machine."""
    levels = diagnosis.levels
    return (
        *_line_notes(diagnosis),
        *_operator_notes(diagnosis, levels),
        *_lot_notes(readings, diagnosis),
    )


def _line_notes(diagnosis: Diagnosis) -> list[str]:
    notes = []
    findings, worth = diagnosis.findings, diagnosis.worth
    for line in sorted({one.line for one in findings}):
        mine = [one for one in findings if one.line == line]
        middle = float(np.median([one.deviation for one in mine]))
        name = f"line {line}" if line else "the plant"
        if len(mine) >= 3 and abs(middle) > worth:
            side = "low" if middle < 0.0 else "high"
            notes.append(f"All of {name} reads {side}, by {abs(middle):.3f} mm in the median: "
                         "a setting or a tool common to it.")  # fmt: skip
        if diagnosis.loose(line):
            loose = sum(one.verdict == SPREAD for one in mine)
            notes.append(
                f"{loose} of {len(mine)} machines of {name} scatter more than is explained; so "
                "many loose drives are unlikely: check first the gauge and the operators, then the "
                "stated sheet scatter, and whether lots, operators and lines are recorded."
            )
    return notes


def _operator_notes(diagnosis: Diagnosis, levels: Levels) -> list[str]:
    far = [
        (name, level)
        for name, level, error in zip(diagnosis.people, levels.operator, levels.operator_se)
        if abs(level) > max(4.0 * error, 0.005)
    ]
    if diagnosis.people_given:
        return [
            f"Operator {name!r} reads {level:+.3f} mm from the others, on all machines alike: an "
            "error of gauging; corrected for."
            for name, level in far
        ]
    if not far:
        return []
    name, level = max(far, key=lambda one: abs(one[1]))
    return [
        f"Readings from {name} lie {level:+.3f} mm from the others, on all machines alike and "
        "every day: the operator or heat; corrected for. Record the operator."
    ]


def _lot_notes(readings: Readings, diagnosis: Diagnosis) -> list[str]:
    what = "Sheet lot" if diagnosis.lots_given else "Time"
    odd = sorted(diagnosis.odd_lots.items(), key=lambda one: -abs(one[1]))
    notes = [
        f"{what} {name!r} comes out {level:+.3f} mm on all machines alike, beyond what known "
        "scatter of the sheet explains."
        for name, level in odd[:_SHOWN]
    ]
    if len(odd) > _SHOWN:
        notes.append(f"The same holds for {len(odd) - _SHOWN} more.")
    known = diagnosis.levels.lot_known
    if not diagnosis.lots_given and known.any():
        notes.append("No sheet lots are given; times in which all machines of a line moved "
                     "together take their place.")  # fmt: skip
    elif not known.any():
        notes.append("Sheet lots cannot be separated from the machines: that takes 3 machines of a "
                     "line with lots, or times, in common.")  # fmt: skip
    elif not known.all():
        notes.append(f"{int((~known).sum())} of {known.size} sheet lots ran on fewer than 3 "
                     "machines; their effect cannot be separated from the machines'.")  # fmt: skip
    return notes
