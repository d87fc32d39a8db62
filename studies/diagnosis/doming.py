"""Slopes and remedies from a doming study: what `domemargin doming TOOLING --budget` wrote."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from domemargin.profiles import InputError
from domemargin.profiles.errors import brief_path
from domemargin.studies.diagnosis.scatter import KnownScatter, Slopes, scatter_parts


@dataclass(frozen=True)
class Remedy:
    """A remedy for a low depth, and its cost; a model estimate of a first study.

    depth : gained, mm.  cost : in force and thinning, in words.
    """

    name: str
    depth: float
    cost: str


# sheet and process scatter depth by about 0.007 mm in the first study of doming: four times as much
# would pass play for sheet.  A die moves the dome by about as much as it is moved itself.
MOST_EXPLAINED, MUCH_EXPLAINED = 0.03, 0.015  # mm: rejected beyond, and warned of
LEAST_SET, MOST_SET = 0.3, 1.5  # mm of depth by mm of set


@dataclass(frozen=True)
class DomingStudy:
    """Slopes of depth, and ways to gain depth with their cost; notes: what the study lacks."""

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


def checked_slopes(slopes: Slopes, scatter: KnownScatter, path: Path | str) -> tuple[str, ...]:
    """Notes on slopes that explain a large part of the scatter.

    Raises InputError where they explain so much that play or an offset would be taken for sheet or
    setting, as with a tooling whose spring yields before the flange bottoms.
    """
    parts = scatter_parts(scatter, slopes)
    name, largest = max(parts.items(), key=lambda one: one[1])
    whole = math.hypot(*parts.values())
    if whole > MOST_EXPLAINED:
        raise InputError(
            f"--doming is {str(path)!r}; its slopes explain {whole:.3f} mm of scatter, {name} "
            f"alone {largest:.3f} mm, which would hide play; it must be at most "
            f"{MOST_EXPLAINED:g} mm: see whether the spring of that tooling holds",
            "--doming", f"{whole:.3f} mm", f"at most {MOST_EXPLAINED:g} mm",
        )  # fmt: skip
    if not LEAST_SET <= abs(slopes.set) <= MOST_SET:
        raise InputError(
            f"--doming is {str(path)!r}; by it the dome moves {slopes.set:.3g} mm for 1 mm of set; "
            f"it must be {LEAST_SET:g} to {MOST_SET:g} mm",
            "--doming", f"{slopes.set:.3g}", f"{LEAST_SET:g} to {MOST_SET:g}",
        )  # fmt: skip
    if whole > MUCH_EXPLAINED:
        return (
            f"WARNING: the doming study explains {whole:.4f} mm of scatter, {name} alone "
            f"{largest:.4f} mm: play of that size is not seen.",
        )
    return ()
