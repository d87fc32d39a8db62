"""Slopes and remedies from a doming study: what `domemargin doming TOOLING --budget` wrote."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief_path
from domemargin.studies.diagnosis.scatter import Slopes
from domemargin.studies.text.readings_words import Remedy


@dataclass(frozen=True)
class DomingStudy:
    """Slopes of depth, and ways to win depth with their cost; notes: what it does not give."""

    slopes: Slopes
    remedies: tuple[Remedy, ...]
    notes: tuple[str, ...]


def load_doming(path: Path | str) -> DomingStudy:
    """Read a doming.json that holds a depth budget.

    The set and the height of the flange (by a spacer) both place the die over the punch; where the
    flange already holds the nose only the height does, so the larger of their slopes is taken.
    Raises InputError.
    """
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8-sig"), parse_constant=_no_number)
        budget = data["budget"]
        rows = {row["knob"]: row for row in budget["slopes"]}
        ways = [_remedy(way, _finite(budget["wanted_mm"])) for way in budget["ways"]
                if way["change"] is not None]  # fmt: skip
        slopes, notes = _slopes(rows)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"--doming is {brief_path(path)}, which cannot be read: {why}") from None
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        needed = "a doming.json that `domemargin doming TOOLING --budget` wrote"
        raise InputError(
            f"--doming is {brief_path(path)}; it must be {needed}", "--doming", str(path), needed
        ) from None
    tooling = data.get("tooling")
    named = tooling.get("name") if isinstance(tooling, dict) else None
    name = str(named or "the tooling given")[:60]
    slopes = replace(slopes, source=f"model estimate: doming study of {name}")
    return DomingStudy(slopes, tuple(ways), tuple(notes))


def _finite(value: Any) -> float:
    """A number of a size that a slope or a cost can have; ValueError for another."""
    number = float(value)
    if not abs(number) < 1e6:
        raise ValueError(f"{number} is too large")
    return number


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _slopes(rows: dict[str, Any]) -> tuple[Slopes, list[str]]:
    known = Slopes()
    notes = []

    def rate(knob: str, times: float, default: float) -> float:
        found = rows[knob]["depth_mm"]
        if found is None:
            notes.append(
                f"The doming study has no slope for {knob}; that of a first study is used."
            )
            return default
        return _finite(found) * times

    # gauge and yield strength count by shares of themselves
    slopes = Slopes(
        gauge=rate("gauge", _finite(rows["gauge"]["value"]), known.gauge),
        yield_strength=rate(
            "yield strength", _finite(rows["yield strength"]["value"]), known.yield_strength
        ),
        friction=rate("friction", 1.0, known.friction),
        set=max(
            rate("set", 1.0, known.set),
            rate("flange height (spacer)", 1.0, 0.0) if "flange height (spacer)" in rows else 0.0,
            key=abs,
        ),
    )
    return slopes, notes


def _remedy(way: dict[str, Any], depth: float) -> Remedy:
    costs = [
        f"{_finite(way[name]):+.2f} {unit}"
        for name, unit in (("reversal_psi", "psi in all"), ("peak_force_kn", "kN of force"),
                           ("thinning_points", "points of thinning"))
        if way[name] is not None
    ]  # fmt: skip
    remark = f"; {way['remark']}" if way["remark"] else ""
    name = f"{way['knob']} {_finite(way['change']):+.3g} {way['unit']}".removesuffix(" -")
    return Remedy(name, depth, ", ".join(costs) + remark)
