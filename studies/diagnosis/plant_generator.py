"""Readings of an invented plant with known causes, to test the diagnosis and for demos."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.diagnosis.scatter import Explained, KnownScatter, Slopes, explained_spread
from domemargin.studies.readings.readings import Event, Labels, Readings, no_labels

CAUSES = ("none", "set offset", "spring relaxing", "drive play", "tool change", "sheet lot",
          "operator", "small step", "small drift", "small play")  # fmt: skip
LINES = ("Heron", "Plover", "Curlew", "Dunlin")
OPERATORS = ("early", "late", "night")


@dataclass(frozen=True)
class Habits:
    """Ordinary habits of plants that are not faults; by default none is present.

    changes : tool changes of a machine, on average.  reset : standard deviation of the level that
    each starts from, mm.  logged : share of them in the log.  tails : degrees of freedom of
    Student's t of the gauge's error (0: normal), of unchanged variance.  memory : correlation of a
    reading with the one before, beside lots and levels.  people : standard deviation between
    operators, mm.  who : whether it is recorded who measured; sheets : whether the lots are.
    decimals : of a reading in mm.  gaps : share of days without readings.  swing : amplitude of
    depth over a day, mm.  slips : share of readings far off.
    """

    changes: float = 0.0
    reset: float = 0.009
    logged: float = 1.0
    tails: int = 0
    memory: float = 0.0
    people: float = 0.0
    who: bool = True
    sheets: bool = True
    decimals: int = 3
    gaps: float = 0.0
    swing: float = 0.0
    slips: float = 0.0


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
    habits: Habits = field(default_factory=Habits)


def draw_habits(rng: np.random.Generator) -> Habits:
    """Random habits of a plant; each occurs in some plants only."""

    def some(share: float, value: float) -> float:
        return value if rng.random() < share else 0.0

    return Habits(
        changes=some(0.6, rng.choice([0.3, 1.0, 2.0, 4.0])), reset=rng.uniform(0.006, 0.01),
        logged=rng.choice([0.0, 0.5, 1.0, 1.0]), tails=int(some(0.4, rng.choice([3, 4, 6]))),
        memory=some(0.4, rng.uniform(0.1, 0.7)), people=some(0.4, rng.uniform(0.001, 0.005)),
        who=bool(rng.random() < 0.7), sheets=bool(rng.random() < 0.7),
        decimals=3 if rng.random() < 0.7 else 2, gaps=some(0.3, rng.uniform(0.05, 0.3)),
        swing=some(0.4, rng.uniform(0.001, 0.006)), slips=some(0.2, 0.002),
    )  # fmt: skip


@dataclass(frozen=True)
class Cause:
    """A fault of a machine (index), a line or, for an operator, the plant.

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
    """A cause of a kind with a size that matters to a plant."""
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
    if kind == "small step":
        return Cause(kind, machine, sign * rng.uniform(0.02, 0.035), rng.uniform(0.2, 0.8), False)
    if kind == "small drift":
        return Cause(kind, machine, -rng.uniform(0.02, 0.035))
    if kind == "small play":
        return Cause(kind, machine, rng.uniform(0.012, 0.025), shape=rng.choice([0.0, 0.5]))
    if kind == "sheet lot":
        return Cause(kind, machine, sign * rng.uniform(0.035, 0.08), rng.uniform(0.1, 0.8))
    return Cause(kind, machine, sign * rng.uniform(0.02, 0.06))


def generate(plant: Plant, causes: tuple[Cause, ...], rng: np.random.Generator) -> Readings:
    """Readings of a plant with these causes; all other scatter is explained.

    With drive play every can depends on how the slack is taken up: scatter, and on average a
    shallower dome, by up to the size of the scatter.
    """
    machines, habits = plant.lines * plant.machines, plant.habits
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
    noise = rng.normal(0.0, known.seen, machine.size)
    events: list[Event] = []
    if habits != Habits():
        noise = _noise(habits, known, (machines, each), rng)
        noise += _changes(habits, plant, machine, day, events, rng)
        reading = rng.normal(0.0, habits.people, 3)
        noise += habits.swing * np.sin(2.0 * np.pi * (day - rng.random()))
    depth = plant.target + setting[machine] + noise
    for cause in causes:
        mine = machine == cause.machine
        if cause.kind == "sheet lot":
            shift[cause.machine // plant.machines * lots + int(cause.at * lots)] += cause.size
        elif cause.kind == "operator":
            reading[int(rng.integers(3))] += cause.size
        elif cause.kind in ("tool change", "small step"):
            depth[mine] += cause.size * (day[mine] >= cause.at * plant.days)
            if cause.recorded:
                events.append(Event(cause.machine, cause.at * plant.days, "tool change"))
        else:
            depth[mine] += _along(cause, day[mine] / plant.days, rng)
    depth = depth + shift[lot] + reading[operator]
    if habits.slips:
        far = rng.random(depth.size) < habits.slips
        depth = depth + far * rng.choice([-1.0, 1.0], depth.size) * rng.uniform(
            0.1, 1.0, depth.size
        )
    made = _readings(
        plant, np.round(depth, habits.decimals), day, machine, lot, operator, tuple(events)
    )
    if habits.gaps:
        open_ = rng.random(plant.days + 1) >= habits.gaps
        open_[0] = True
        made = made.at(open_[day.astype(int)])
    return made


def _noise(
    habits: Habits, known: Explained, shape: tuple[int, int], rng: np.random.Generator
) -> Floats:
    """Scatter from reading to reading of the variance that is known, with tails and memory."""
    gauge = rng.normal(0.0, 1.0, shape)
    if habits.tails:
        gauge = rng.standard_t(habits.tails, shape) * np.sqrt(1.0 - 2.0 / habits.tails)
    noise = known.can * rng.normal(0.0, 1.0, shape) + known.reading * gauge
    memory = habits.memory
    for i in range(1, shape[1] if memory else 0):
        noise[:, i] = memory * noise[:, i - 1] + np.sqrt(1.0 - memory**2) * noise[:, i]
    return noise.ravel()


def _changes(
    habits: Habits, plant: Plant, machine: Ints, day: Floats, events: list[Event],
    rng: np.random.Generator,
) -> Floats:  # fmt: skip
    """Levels between tool changes, (n,); the changes in the log are added to the events."""
    level = np.zeros(machine.size)
    for one in range(plant.lines * plant.machines):
        mine = machine == one
        at = np.sort(rng.uniform(0.0, plant.days, rng.poisson(habits.changes)))
        levels = rng.normal(0.0, habits.reset, at.size + 1)
        levels[0] = 0.0  # the machine's own setting
        level[mine] = levels[np.searchsorted(at, day[mine], side="right")]
        events += [Event(one, float(t), "tool change") for t in at if rng.random() < habits.logged]
    return level


def _along(cause: Cause, share: Floats, rng: np.random.Generator) -> Floats:
    """Depth that a cause adds to the readings of its machine; share : of the record, (n,)."""
    if cause.kind == "set offset":
        return np.full(share.size, cause.size)
    if cause.kind == "spring relaxing":
        if cause.shape == 0.0:
            return cause.size * share
        full = 1.0 - float(np.exp(-1.0 / cause.shape))
        return cause.size * (1.0 - np.exp(-share / cause.shape)) / full
    if cause.kind == "small drift":
        return cause.size * share
    assert cause.kind in ("drive play", "small play"), cause.kind
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
    none = no_labels(rows)
    sheets = Labels(lot, tuple(f"lot {i + 101}" for i in range(int(lot.max()) + 1)))
    people = Labels(operator, OPERATORS)
    return Readings(
        depth=depth, day=day, start="2025-03-03T00:00:00+00:00",
        machine=Labels(machine, names), line_of=line_of,
        lot=sheets if plant.habits.sheets else none, tool=none,
        operator=people if plant.habits.who else none, can=none,
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
