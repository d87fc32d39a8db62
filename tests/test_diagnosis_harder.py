"""Plants that are not as the diagnosis takes them to be: what it still says, and what it does not.

Shares measured on 60 plants each are in the comments; the tests take fewer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from evidence_rows import COMPUTED, READINGS, About

from domemargin.studies.diagnosis.diagnosis import IN_CONTROL, OFFSET, SPREAD, diagnose
from domemargin.studies.readings.plant_generator import Cause, Plant, generate
from domemargin.studies.readings.readings import Readings

ABOUT = About(READINGS, "Plants generated unlike the diagnosis takes them to be", COMPUTED)
PLANT = Plant()
KNOWN = PLANT.explained
Change = Callable[[Readings, np.random.Generator], Readings]


def verdicts(
    causes: Callable[[np.random.Generator], tuple[Cause, ...]] = lambda rng: (),
    change: Change = lambda readings, rng: readings,
    plant: Plant = PLANT,
    plants: int = 10,
    ailing: tuple[int, ...] = (),
) -> tuple[Counter[str], Counter[str]]:
    """Verdicts on the healthy machines and on those that ail."""
    rng = np.random.default_rng(5)
    healthy: Counter[str] = Counter()
    ill: Counter[str] = Counter()
    for _ in range(plants):
        found = causes(rng)
        bad = {*ailing, *(cause.machine for cause in found)}
        readings = change(generate(plant, found, rng), rng)
        for number, one in enumerate(diagnose(readings, KNOWN, plant.target).findings):
            (ill if number in bad else healthy)[one.verdict] += 1
    return healthy, ill


def share(count: Counter[str], verdict: str) -> float:
    return 100.0 * count[verdict] / count.total()


def test_scatter_a_sixth_larger_than_stated(evidence: Callable[..., None]) -> None:
    more = replace(KNOWN, can=1.15 * KNOWN.can, lot=1.15 * KNOWN.lot, reading=1.15 * KNOWN.reading)
    healthy, _ = verdicts(plant=Plant(explained=more))
    # measured: 0 %; at 1.3 times 1.4 %, at 1.5 times 91 %, which is then a true statement
    evidence("false alarms, all scatter 1.15 times what is stated",
             computed=100.0 - share(healthy, IN_CONTROL), most=1.0, unit="%")  # fmt: skip


@pytest.mark.parametrize("digits", [2, 3])
def test_heavy_tails_and_coarse_readings(digits: int, evidence: Callable[..., None]) -> None:
    def change(readings: Readings, rng: np.random.Generator) -> Readings:
        wild = KNOWN.seen * rng.standard_t(4, len(readings)) / np.sqrt(2.0)  # variance 1
        return replace(readings, depth=np.round(readings.depth + wild, digits))

    bare = replace(KNOWN, can=1e-6, reading=0.0)
    healthy, _ = verdicts(change=change, plant=Plant(explained=bare))
    evidence(f"false alarms, heavy tails (Student's t, 4), {digits} decimals",
             computed=100.0 - share(healthy, IN_CONTROL), most=1.0, unit="%")  # fmt: skip


def test_play_that_comes_and_goes(evidence: Callable[..., None]) -> None:
    def now_and_then(readings: Readings, rng: np.random.Generator) -> Readings:
        loose = (readings.machine.codes == 3) & (rng.random(len(readings)) < 0.1)
        return replace(readings, depth=readings.depth - 0.08 * loose)

    def by_day(readings: Readings, rng: np.random.Generator) -> Readings:
        slack = rng.normal(-0.03, 0.04, PLANT.days + 1)[readings.day.astype(int)]
        return replace(readings, depth=readings.depth + slack * (readings.machine.codes == 3))

    for name, change in (("of one can in ten", now_and_then), ("that changes by the day", by_day)):
        healthy, ill = verdicts(change=change, ailing=(3,))
        evidence(f"play {name} called 'set'", computed=share(ill, OFFSET), most=5.0, unit="%")
        assert share(ill, SPREAD) > 90.0
        assert share(healthy, IN_CONTROL) > 99.0


def test_play_with_another_cause(evidence: Callable[..., None]) -> None:
    def with_offset(rng: np.random.Generator) -> tuple[Cause, ...]:
        return (Cause("drive play", 3, rng.uniform(0.025, 0.08)),
                Cause("set offset", 3, -rng.uniform(0.05, 0.2)))  # fmt: skip

    def with_trend(rng: np.random.Generator) -> tuple[Cause, ...]:
        return (Cause("drive play", 3, rng.uniform(0.025, 0.08)),
                Cause("spring relaxing", 3, -rng.uniform(0.05, 0.2)))  # fmt: skip

    for name, causes in (("a set that is off", with_offset), ("a relaxing spring", with_trend)):
        _, ill = verdicts(causes)
        evidence(f"play with {name} called 'set'", computed=share(ill, OFFSET), most=5.0, unit="%")
        assert share(ill, SPREAD) > 90.0


def test_two_machines_alone() -> None:
    healthy, ill = verdicts(
        lambda rng: (Cause("drive play", 1, rng.uniform(0.025, 0.08)),),
        plant=Plant(lines=1, machines=2),
    )
    assert share(healthy, IN_CONTROL) == 100.0
    assert share(ill, SPREAD) == 100.0
