"""What readings say of lines, lots and operators, beside the verdicts on machines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from studies.diagnosis import SPREAD, Diagnosis, Finding
from studies.diagnosis_levels import Levels
from studies.readings import Readings


def notes_of(readings: Readings, diagnosis: Diagnosis) -> tuple[str, ...]:
    """Sentences on what holds for more than one machine."""
    levels = diagnosis.levels
    return (
        *_line_notes(diagnosis.findings, diagnosis.worth),
        *_operator_notes(readings, levels),
        *_lot_notes(readings, levels, diagnosis.odd_lots),
    )


def _line_notes(findings: Sequence[Finding], worth: float) -> list[str]:
    notes = []
    for line in sorted({one.line for one in findings}):
        mine = [one for one in findings if one.line == line]
        middle = float(np.median([one.deviation for one in mine]))
        name = f"line {line}" if line else "the plant"
        if len(mine) >= 3 and abs(middle) > worth:
            side = "low" if middle < 0.0 else "high"
            notes.append(f"All of {name} reads {side}, by {abs(middle):.3f} mm in the middle: "
                         "a setting or a tool common to it.")  # fmt: skip
        loose = [one for one in mine if one.verdict == SPREAD]
        if len(mine) >= 3 and 2 * len(loose) > len(mine):
            notes.append(
                f"{len(loose)} of {len(mine)} machines of {name} scatter more than is explained: "
                "check the gauge and the stated sheet scatter first."
            )
    return notes


def _operator_notes(readings: Readings, levels: Levels) -> list[str]:
    notes = []
    for name, level, error in zip(readings.operator.names, levels.operator, levels.operator_se):
        if abs(level) > max(4.0 * error, 0.005):
            notes.append(f"Operator {name!r} reads {level:+.3f} mm from the others, on all "
                         "machines alike: a matter of gauging; taken off.")  # fmt: skip
    return notes


def _lot_notes(readings: Readings, levels: Levels, odd: dict[int, float]) -> list[str]:
    notes = [
        f"Sheet lot {readings.lot.names[j]!r} comes out {level:+.3f} mm on all machines alike, "
        "beyond what known scatter of the sheet explains."
        for j, level in odd.items()
    ]
    if readings.lot.names and not levels.lot_known.all():
        unknown = int((~levels.lot_known).sum())
        notes.append(f"{unknown} sheet lots ran on fewer than 3 machines; their effect cannot be "
                     "told from the machines'.")  # fmt: skip
    return notes
