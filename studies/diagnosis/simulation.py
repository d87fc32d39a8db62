"""How often a verdict is right, from generated plants with known causes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from domemargin.studies.diagnosis.diagnosis import (
    DRIFT,
    IN_CONTROL,
    LOT,
    NOT_ENOUGH,
    OFFSET,
    SPREAD,
    VERDICTS,
    Finding,
    diagnose,
)
from domemargin.studies.readings.plant_generator import CAUSES, Cause, Plant, draw_plant, generate

# the verdict that a machine with this cause should get; an operator's error is not the machine's
RIGHT = {
    "none": IN_CONTROL, "set offset": OFFSET, "spring relaxing": DRIFT, "drive play": SPREAD,
    "small play": SPREAD, "tool change": OFFSET, "sheet lot": LOT, "operator": IN_CONTROL,
}  # fmt: skip
SMALL_PLAY = (0.012, 0.025)  # mm, standard deviation: of the size of what the sheet explains


@dataclass(frozen=True)
class Confusion:
    """Verdicts by cause: counts[cause][verdict] machines, "none" the healthy ones of all plants.

    plants : generated.
    """

    plants: int
    counts: dict[str, dict[str, int]]

    def share(self, cause: str, *verdicts: str) -> float:
        """Share of the machines with a cause that got one of the verdicts."""
        row = self.counts[cause]
        return sum(row[verdict] for verdict in verdicts) / max(sum(row.values()), 1)

    @property
    def false_alarms(self) -> float:
        """Share of healthy machines that got a verdict other than healthy or not enough data."""
        return 1.0 - self.share("none", IN_CONTROL, NOT_ENOUGH)

    def right(self, verdict: str) -> float:
        """Share right among machines with this verdict, each cause taken as equally common."""
        rows = {cause: self.share(cause, verdict) for cause in self.counts}
        good = sum(share for cause, share in rows.items() if RIGHT[cause] == verdict)
        whole = sum(rows.values())
        return good / whole if whole else 0.0


def simulate(plants: int, seed: int = 20250301) -> Confusion:
    """Diagnose generated plants: of 2 lines with 3 to 8 machines, 14 to 84 days, 1 to 16 readings
    a machine and day, with one cause each or none; the target is known."""
    rng = np.random.default_rng(seed)
    counts: dict[str, Counter[str]] = {cause: Counter() for cause in RIGHT}
    kinds = (*CAUSES, "small play")
    for i in range(plants):
        kind = kinds[i % len(kinds)]
        plant = Plant(
            machines=int(rng.integers(3, 9)),
            days=int(rng.choice([14, 28, 42, 84])),
            per_day=int(rng.choice([1, 2, 4, 8, 16])),
        )
        readings, cause = draw_plant("drive play" if kind == "small play" else kind, rng, plant)
        if kind == "small play":
            assert cause is not None
            cause = replace(cause, size=rng.uniform(*SMALL_PLAY))
            readings = generate(plant, (cause,), rng)
        found = diagnose(readings, plant.explained, plant.target).findings
        for number, finding in enumerate(found):
            ails = cause is not None and _ails(cause, number, finding, found)
            counts[kind if ails else "none"][finding.verdict] += 1
    return Confusion(plants, {
        cause: {verdict: row[verdict] for verdict in VERDICTS} for cause, row in counts.items()
    })  # fmt: skip


def _ails(cause: Cause, number: int, finding: Finding, found: tuple[Finding, ...]) -> bool:
    """Whether a machine is touched by a cause."""
    if cause.kind == "operator":
        return True
    if cause.kind == "sheet lot":
        return finding.line == found[cause.machine].line
    return number == cause.machine


def table(confusion: Confusion) -> str:
    """The matrix in Markdown: causes down, verdicts across, machines counted."""
    lines = ["| cause | " + " | ".join(VERDICTS) + " |", "| --- |" + " ---: |" * len(VERDICTS)]
    for cause, row in confusion.counts.items():
        lines.append(f"| {cause} | " + " | ".join(str(row[v]) for v in VERDICTS) + " |")
    return "\n".join(lines)
