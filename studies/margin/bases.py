"""Two bottoms, each at its own dimensions: which holds more, by how much, where that comes from.

What is uncertain about the level of the model is common to both and moves the difference by as
little as the two pressures are apart; what is left is the model's slope, in all and for each input
that differs, and the numerical error of each (JCGM 100:2008, 5.2, correlated inputs; value from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import chosen, inputs_of, of_pressure, slopes
from domemargin.fea.core.record import CAUTION, Growth, Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import Profile, derived
from domemargin.profiles.limits import shown
from domemargin.studies.margin.compare import differing
from domemargin.studies.readings.calibration import SLOPE_KNOWN
from domemargin.studies.verdict.answer import answer_of_record, numerical_part
from domemargin.studies.verdict.budget import COVERAGE, Answer, Verdict, verdict_of
from domemargin.studies.verdict.calibration import Calibration

# standard deviation, as a share, of what the model says that one input does: an estimate
EACH = 0.10


@dataclass(frozen=True)
class Source:
    """What one differing input does to the pressure: mm, radians, MPa; change in MPa, by the mean
    of the slopes at both bottoms."""

    name: str
    first: str
    second: str
    change: float | None


@dataclass(frozen=True)
class Bases:
    """Two bottoms.

    records, answers, verdicts : of both.  difference, standard : second less first, best
    estimate and standard uncertainty, MPa; None where a pressure is missing.  sources : what the
    differing inputs do; rest : of the modelled difference that their slopes do not explain.
    differing : all that differs, in words.  mass_g, volume_cm3 : of both (profiles/derived.py).
    """

    records: tuple[Record, Record]
    answers: tuple[Answer | None, Answer | None]
    verdicts: tuple[Verdict | None, Verdict | None]
    difference: float | None
    standard: float | None
    sources: tuple[Source, ...]
    rest: float | None
    differing: tuple[tuple[str, str, str], ...]
    mass_g: tuple[float, float]
    volume_cm3: tuple[float, float]
    caution: str = CAUTION

    @property
    def sure(self) -> bool:
        """Whether the sign of the difference is known: its interval leaves out nought."""
        if self.difference is None or self.standard is None:
            return False
        return abs(self.difference) > COVERAGE * self.standard

    def growth(self) -> list[tuple[Growth, Growth]]:
        """Growth of both at the pressures asked for."""
        return list(zip(self.records[0].growth, self.records[1].growth))


def bases(
    first: Profile,
    second: Profile,
    settings: Settings,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
    solve: Callable[..., Any] = reversal,
) -> Bases:
    """Compare two bottoms.

    calibration : by own tests.  known : standard uncertainty by input, internal units, of inputs
    that both share (the same gauge reading is wrong for both alike).
    """
    profiles = (first, second)
    records = [solve(profile, settings) for profile in profiles]
    both = [{one.name: one for one in inputs_of(profile)} for profile in profiles]
    changed = [
        name for name, one in both[0].items()
        if name in both[1] and both[1][name].value != one.value
    ]  # fmt: skip
    wanted = list(dict.fromkeys((*changed, *(known or ()))))
    found: list[dict[str, Any]] = [{}, {}]
    if all(record.reversal_pressure_mpa is not None for record in records):
        bare = replace(settings, growth_at=(), required=None)
        for i, profile in enumerate(profiles):
            inputs = chosen(profile, [name for name in wanted if name in both[i]])
            rows = slopes(profile, bare, inputs, records[i], solve)
            records[i] = replace(records[i], slopes=rows)
            found[i] = of_pressure(rows)
    sources, explained = [], 0.0
    for name in changed:
        one, other = both[0][name], both[1][name]
        pair = [found[i][name].slope if name in found[i] else None for i in (0, 1)]
        change = None
        if pair[0] is not None and pair[1] is not None:
            change = 0.5 * (pair[0] + pair[1]) * (other.value - one.value)
            explained += change
        sources.append(
            Source(name, shown(one.value, one.kind, 5), shown(other.value, other.kind, 5), change)
        )
    answers = [answer_of_record(record, calibration, known) for record in records]
    verdicts = [
        None if settings.required is None
        else verdict_of(answer, settings.required, "no reversal pressure was found")
        for answer in answers
    ]  # fmt: skip
    difference = standard = rest = None
    pressures = [record.reversal_pressure_mpa for record in records]
    if pressures[0] is not None and pressures[1] is not None:
        rest = pressures[1] - pressures[0] - explained
        changes = [source.change or 0.0 for source in sources]
        difference, standard = _difference(
            records, pressures, answers, calibration, found, known or {}, [*changes, rest]
        )
    figures = [derived(profile) for profile in profiles]
    return Bases(
        (records[0], records[1]), (answers[0], answers[1]), (verdicts[0], verdicts[1]),
        difference, standard,
        tuple(sorted(sources, key=lambda source: -abs(source.change or 0.0))), rest,
        differing(first, second), (figures[0].bottom_mass, figures[1].bottom_mass),
        (figures[0].bottom_volume, figures[1].bottom_volume),
    )  # fmt: skip


def _difference(
    records: list[Record],
    pressures: list[float | None],
    answers: list[Answer | None],
    calibration: Calibration | None,
    slopes_of: list[dict[str, Any]],
    known: Mapping[str, float],
    changes: list[float],
) -> tuple[float | None, float | None]:
    """Second less first and its standard uncertainty.

    changes : what each differing input does by the model, and the rest, MPa.
    """
    one, other = answers
    if one is None or other is None or pressures[0] is None or pressures[1] is None:
        return None, None
    difference = other.pressure - one.pressure
    apart = math.log(pressures[1] / pressures[0])
    mean = 0.5 * (one.pressure + other.pressure)
    valid = calibration if calibration is not None and not (one.notes or other.notes) else None
    if calibration is not None and bool(one.notes) != bool(other.notes):
        # one of the two is known by tests, the other is not: nothing is common
        return difference, math.hypot(one.standard, other.standard)
    level = valid.level_sd if valid is not None else _level_without(one)
    slope = valid.slope_sd if valid is not None else SLOPE_KNOWN
    parts = [level * difference, slope * apart * mean]
    parts += [EACH * change * mean / (0.5 * (pressures[0] + pressures[1])) for change in changes]
    parts += [
        numerical_part(p, r.step_correction_mpa, r.resolution).standard
        for p, r in zip(pressures, records)
        if p is not None
    ]
    for name, size in known.items():
        pair = [rows[name].slope if name in rows else 0.0 for rows in slopes_of]
        parts.append(((pair[1] or 0.0) - (pair[0] or 0.0)) * size)
    return difference, math.hypot(*parts)


def _level_without(answer: Answer) -> float:
    """Standard uncertainty of the level as a share, without own tests."""
    return next(p.standard for p in answer.parts if p.name == "model") / answer.computed
