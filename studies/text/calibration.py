"""A calibration in words."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from domemargin.fea.core.record import CAUTION
from domemargin.profiles.units import PSI
from domemargin.studies.readings.calibration import LEVEL_KNOWN

if TYPE_CHECKING:
    from domemargin.studies.verdict.calibration import Calibration
    from domemargin.studies.verdict.own_tests import OwnTests

_LISTED = 5


def calibration_lines(made: Calibration, read: OwnTests, file: Path) -> list[str]:
    """What own tests say of the model, at most 80 columns wide."""
    model = math.exp(made.centre)
    real, standard = made.applied(model)
    stopped = f", {made.stopped} stopped before reversal" if made.stopped else ""
    lots = "1 lot" if made.lots == 1 else f"{made.lots} lots"
    rows = [
        f"{made.tests} tests of {lots}{stopped}",
        f"Level   {100.0 * math.expm1(made.level):+.1f} % of the model, "
        f"± {100.0 * made.level_sd:.1f} % (without tests ± {100.0 * LEVEL_KNOWN:.0f} %)",
        f"Slope   {made.slope:.2f} ± {made.slope_sd:.2f} of the model's",
        f"Cans    scatter by {100.0 * made.noise:.1f} %",
        f"So {model / PSI:.1f} psi of the model stand for {real / PSI:.1f} ± {standard / PSI:.1f} "
        "psi.",
    ]
    notes = list(read.notes) + [f"{text[0].upper()}{text[1:]}." for text in made.said]
    notes += [f"Line {line} is set aside: {reason}." for line, reason in read.aside[:_LISTED]]
    if len(read.aside) > _LISTED:
        notes.append(f"{len(read.aside) - _LISTED} more lines are set aside.")
    for note in notes:
        rows += ["", *textwrap.wrap(note, 80)]
    return [*rows, "", f"Wrote {file}", *textwrap.wrap(CAUTION, 80)]
