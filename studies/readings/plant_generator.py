"""Readings of an invented plant with known causes: to try the diagnosis on, and for demos."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from domemargin.studies.diagnosis.scatter import Explained, KnownScatter, Slopes, explained_spread
from domemargin.studies.readings.readings import Event, Floats, Ints, Labels, Readings

CAUSES = ("none", "set offset", "spring relaxing", "drive play", "tool change", "sheet lot",
          "operator")  # fmt: skip
LINES = ("Heron", "Plover", "Curlew", "Dunlin")
OPERATORS = ("early", "late", "night")


@dataclass(frozen=True)
class Plant:
    """Size and habits of a plant.

    machines : on each line.  per_day : readings of a machine in a day.  lot_days : days that a
    sheet lot lasts.  target : dome depth aimed at, mm.
    """

    lines: int = 2
    machines: int = 6
    days: int = 42
    per_day: int = 8
    lot_days: float = 3.5
    target: float = 10.2
    explained: Explained = field(default_factory=lambda: explained_spread(KnownScatter(), Slopes()))


@dataclass(frozen=True)
class Cause:
    """What ails a machine (index), a line or, for an operator, the plant.

    size : mm; of drive play the standard deviation, of the others a shift (+ deeper).
    at : when it starts, share of the record.  recorded : whether a tool change is in the log.
    shape : of drive play, how one can follows another (0 to 1); of a spring, its time constant
    as a share of the record (0: steady).
    """

    kind: str
    machine: int
    size: float
    at: float = 0.0
    recorded: bool = True
    shape: float = 0.0


def draw_cause(kind: str, plant: Plant, rng: np.random.Generator) -> Cause:
    """A cause of a kind with a size that matters: what a plant would want to know of."""
    machine = int(rng.integers(plant.lines * plant.machines))
    sign = -1.0 if rng.random() < 0.7 else 1.0
    if kind == "set offset":
        return Cause(kind, machine, sign * rng.uniform(0.06, 0.25))
    if kind == "spring relaxing":
        return Cause(kind, machine, -rng.uniform(0.06, 0.20), shape=rng.choice([0.0, 0.5]))
    if kind == "drive play":
        return Cause(kind, machine, rng.uniform(0.025, 0.08), shape=rng.choice([0.0, 0.5]))
    if kind == "tool change":
        return Cause(kind, machine, sign * rng.uniform(0.06, 0.20), rng.uniform(0.2, 0.8),
                     bool(rng.random() < 0.5))  # fmt: skip
    if kind == "sheet lot":
        return Cause(kind, machine, sign * rng.uniform(0.035, 0.08), rng.uniform(0.1, 0.8))
    return Cause(kind, machine, sign * rng.uniform(0.02, 0.06))


def generate(plant: Plant, causes: tuple[Cause, ...], rng: np.random.Generator) -> Readings:
    """Readings of a plant with these causes; all else as sheet, setting and gauge explain.

    Drive play makes every can come out as the slack happens to be taken up: scatter, and on the
    average a shallower dome, by up to as much as it scatters.
    """
    machines = plant.lines * plant.machines
    each = plant.days * plant.per_day
    machine = np.repeat(np.arange(machines), each)
    day = np.sort(rng.uniform(0.0, plant.days, (machines, each)), axis=1).ravel()
    known = plant.explained
    lots = int(np.ceil(plant.days / plant.lot_days))
    line = machine // plant.machines
    lot = line * lots + np.minimum((day / plant.lot_days).astype(int), lots - 1)
    operator = (day * 3.0).astype(int) % 3
    shift = rng.normal(0.0, known.lot, plant.lines * lots)
    setting = rng.normal(0.0, known.set, machines)
    reading = np.zeros(3)
    depth = plant.target + setting[machine] + rng.normal(0.0, known.seen, machine.size)
    events = []
    for cause in causes:
        mine = machine == cause.machine
        if cause.kind == "sheet lot":
            shift[cause.machine // plant.machines * lots + int(cause.at * lots)] += cause.size
        elif cause.kind == "operator":
            reading[int(rng.integers(3))] += cause.size
        elif cause.kind == "tool change":
            depth[mine] += cause.size * (day[mine] >= cause.at * plant.days)
            if cause.recorded:
                events.append(Event(cause.machine, cause.at * plant.days, "tool change"))
        else:
            depth[mine] += _along(cause, day[mine] / plant.days, rng)
    depth = np.round(depth + shift[lot] + reading[operator], 3)
    return _readings(plant, depth, day, machine, lot, operator, tuple(events))


def _along(cause: Cause, share: Floats, rng: np.random.Generator) -> Floats:
    """Depth that a cause adds to the readings of its machine; share : of the record, (n,)."""
    if cause.kind == "set offset":
        return np.full(share.size, cause.size)
    if cause.kind == "spring relaxing":
        if cause.shape == 0.0:
            return cause.size * share
        full = 1.0 - np.exp(-1.0 / cause.shape)
        return cause.size * (1.0 - np.exp(-share / cause.shape)) / full
    assert cause.kind == "drive play", cause.kind
    noise = rng.normal(0.0, 1.0, share.size)
    memory = cause.shape
    for i in range(1, noise.size if memory else 0):
        noise[i] = memory * noise[i - 1] + np.sqrt(1.0 - memory**2) * noise[i]
    return cause.size * (noise - rng.uniform(0.0, 1.0))


def _readings(
    plant: Plant, depth: Floats, day: Floats, machine: Ints, lot: Ints, operator: Ints,
    events: tuple[Event, ...],
) -> Readings:  # fmt: skip
    machines = plant.lines * plant.machines
    line_of = tuple(LINES[i // plant.machines] for i in range(machines))
    names = tuple(f"{line_of[i]} M{i % plant.machines + 1}" for i in range(machines))
    empty, rows = np.full(depth.size, np.nan), depth.size
    none = Labels(np.full(rows, -1), ())
    return Readings(
        depth=depth, day=day, start="2025-03-03T00:00:00+00:00",
        machine=Labels(machine, names), line_of=line_of,
        lot=Labels(lot, tuple(f"lot {i + 101}" for i in range(int(lot.max()) + 1))),
        tool=none, operator=Labels(operator, OPERATORS), can=none,
        spring_age=empty, reversal=empty, file_line=np.arange(2, rows + 2), events=events,
    )  # fmt: skip


def draw_plant(kind: str, rng: np.random.Generator, plant: Plant | None = None) -> tuple[
    Readings, Cause | None
]:  # fmt: skip
    """A plant with one cause of a kind, or none."""
    plant = plant or Plant()
    if kind == "none":
        return generate(plant, (), rng), None
    cause = draw_cause(kind, plant, rng)
    return generate(plant, (cause,), rng), cause
