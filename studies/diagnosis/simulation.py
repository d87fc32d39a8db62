"""How often a verdict is right: generated plants with known causes and ordinary habits.

`python -m domemargin.studies.diagnosis.simulation` measures again and writes the table that is
quoted.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from domemargin.studies.diagnosis.diagnosis import (
    IN_CONTROL,
    NOT_ENOUGH,
    VERDICTS,
    Diagnosis,
    diagnose,
)
from domemargin.studies.diagnosis.plant_generator import (
    Cause,
    Habits,
    Plant,
    draw_cause,
    draw_habits,
    generate,
)
from domemargin.studies.diagnosis.rates import RIGHT

MACHINE_CAUSES = ("set offset", "spring relaxing", "drive play", "small play", "tool change",
                  "small step", "small drift")  # fmt: skip
_SEVERAL = 0.15  # share of the faulty machines with a second cause


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


def draw(
    rng: np.random.Generator, ailing: float = 0.1, usual: bool = True
) -> tuple[Plant, tuple[Cause, ...]]:
    """A plant of 1 or 2 lines with 3 to 8 machines, 14 to 84 days, 1 to 16 readings a machine and
    day, and what ails it.

    ailing : share of faulty machines, all causes equally likely, some machines with two; one plant
    in ten has an odd lot, one in ten an operator who reads differently.  usual : with the habits of
    ordinary plants.
    """
    plant = Plant(
        lines=int(rng.integers(1, 3)), machines=int(rng.integers(3, 9)),
        days=int(rng.choice([14, 28, 42, 84])), per_day=int(rng.choice([1, 2, 4, 8, 16])),
        lot_days=float(rng.choice([1.5, 3.5, 7.0])),
        habits=draw_habits(rng) if usual else Habits(),
    )  # fmt: skip
    causes = []
    for machine in range(plant.lines * plant.machines):
        if rng.random() < ailing:
            many = 2 if rng.random() < _SEVERAL else 1
            for kind in rng.choice(MACHINE_CAUSES, many, replace=False):
                causes.append(replace(draw_cause(str(kind), plant, rng), machine=machine))
    causes += [
        draw_cause(kind, plant, rng) for kind in ("sheet lot", "operator") if rng.random() < 0.1
    ]
    return plant, tuple(causes)


def simulate(
    plants: int, seed: int = 20250301, ailing: float = 0.1, usual: bool = True
) -> Confusion:
    """Diagnose generated plants; the target is known.  A machine with two causes counts by the one
    that the verdict names, else by the first."""
    rng = np.random.default_rng(seed)
    counts: dict[str, Counter[str]] = {cause: Counter() for cause in RIGHT}
    for _ in range(plants):
        plant, causes = draw(rng, ailing, usual)
        readings = generate(plant, causes, rng)
        found = diagnose(readings, plant.explained, plant.target)
        for number, kinds in enumerate(_ails(causes, found, plant)):
            verdict = found.findings[number].verdict
            named = [kind for kind in kinds if verdict in RIGHT[kind]]
            counts[(named or kinds)[0]][verdict] += 1
    return Confusion(plants, {
        cause: {verdict: row[verdict] for verdict in VERDICTS} for cause, row in counts.items()
    })  # fmt: skip


def _ails(causes: tuple[Cause, ...], found: Diagnosis, plant: Plant) -> list[tuple[str, ...]]:
    """Causes that affect each machine: its own first, then lots of its line and operators."""
    touched = []
    for number in range(len(found.findings)):
        mine = [c.kind for c in causes if c.kind in MACHINE_CAUSES and c.machine == number]
        mine += [
            c.kind for c in causes
            if c.kind == "sheet lot" and c.machine // plant.machines == number // plant.machines
        ]  # fmt: skip
        mine += [c.kind for c in causes if c.kind == "operator"]
        touched.append(tuple(mine) or ("none",))
    return touched


def table(confusion: Confusion) -> str:
    """The matrix in Markdown: causes down, verdicts across, machines counted."""
    lines = ["| cause | " + " | ".join(VERDICTS) + " |", "| --- |" + " ---: |" * len(VERDICTS)]
    for cause, row in confusion.counts.items():
        lines.append(f"| {cause} | " + " | ".join(str(row[v]) for v in VERDICTS) + " |")
    return "\n".join(lines)


_MODULE = '''"""Machines by cause and verdict: {plants:,} simulated plants, {ailing:.0%} ailing.

Written by `python -m domemargin.studies.diagnosis.simulation`.
"""

from __future__ import annotations

PLANTS = {plants}
COUNTS: dict[str, dict[str, int]] = {{
{rows}}}
'''


def main(plants: int = 4000, ailing: float = 0.15) -> None:
    """Measure and write diagnosis_counts.py beside this file."""
    done = simulate(plants, ailing=ailing)
    rows = ""
    for cause, row in done.counts.items():
        pairs = [f'"{name}": {count}' for name, count in row.items() if count]
        rows += f'    "{cause}": {{\n        ' + ",\n        ".join(pairs) + ",\n    },\n"
    text = _MODULE.format(plants=plants, ailing=ailing, rows=rows)
    Path(__file__).with_name("counts.py").write_text(text, encoding="utf-8")
    print(table(done))


if __name__ == "__main__":
    main()
