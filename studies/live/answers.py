"""What the page shows of a record: verdict, rows with differences, notes; plain data for JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from domemargin.fea.bottom.slopes import ranked
from domemargin.fea.core.record import Record, Slope
from domemargin.profiles import metal_mass
from domemargin.profiles.units import PSI
from domemargin.studies.live.fields import label_of
from domemargin.studies.text.bottom.slopes import number_words
from domemargin.studies.text.verdict import interval_psi
from domemargin.studies.text.words import kind_words, margin_words, stability_sentences
from domemargin.studies.verdict.answer import answer_of_record


@dataclass(frozen=True)
class Quantity:
    """A number of a record: label, value, unit and decimals shown."""

    label: str
    value: float
    unit: str
    digits: int

    @property
    def words(self) -> str:
        """The value with its unit."""
        return f"{self.value:.{self.digits}f} {self.unit}"


def quantities_of(record: Record) -> list[Quantity]:
    """The numbers of a record that are compared, in the units of the trade."""
    found = []
    if record.reversal_pressure_mpa is not None:
        found.append(Quantity("Reversal pressure", record.reversal_pressure_mpa / PSI, "psi", 1))
    if record.margin is not None:
        found.append(Quantity("Margin", 100.0 * record.margin, "%", 1))
    stability = record.stability
    if stability is not None:
        if stability.axisymmetric_limit_mpa is not None:
            limit = stability.axisymmetric_limit_mpa / PSI
            found.append(Quantity("Limit all round", limit, "psi", 1))
        for name, mode in (
            ("Waves, flow theory", stability.flow),
            ("Waves, deformation theory", stability.deformation),
        ):
            if mode is not None and mode.before_limit:
                found.append(Quantity(name, mode.pressure_mpa / PSI, "psi", 1))
    if record.first_yield is not None:
        found.append(Quantity("First yield", record.first_yield.pressure_mpa / PSI, "psi", 1))
    for growth in record.growth:
        at = f" at {growth.pressure_mpa / PSI:.3g} psi"
        for name, value in (
            ("Stand ring growth", growth.stand_growth_mm),
            ("Stand ring, permanent", growth.permanent_stand_growth_mm),
            ("Dome centre growth", growth.centre_travel_mm),
            ("Dome centre, permanent", growth.permanent_centre_travel_mm),
        ):
            if value is not None:
                found.append(Quantity(f"{name}{at}", value, "mm", 3))
    found.append(Quantity("Mass of the bottom", metal_mass(record.profile), "g", 3))
    return found


def rows_of(record: Record, pinned: Record | None) -> list[list[str]]:
    """[label, now, pinned, difference] of every number; the last two empty without a pin."""
    others = {} if pinned is None else {one.label: one for one in quantities_of(pinned)}
    rows = []
    for one in quantities_of(record):
        other = others.get(one.label)
        if other is None:
            rows.append([one.label, one.words, "", ""])
        else:
            apart = f"{one.value - other.value:+.{one.digits}f} {one.unit}"
            rows.append([one.label, one.words, other.words, apart])
    return rows


def verdict_of(record: Record, whole: bool) -> tuple[str, str]:
    """The verdict in words and its mood: "good", "bad", "doubt" or "none"."""
    words = margin_words(record)
    if not words:
        return "no requirement given", "none"
    if not whole and words.startswith("SAFE"):
        # the quick answer has not looked at waves
        return f"{words}, if no waves come first", "doubt"
    mood = {"SAFE": "good", "NOT SAFE": "bad"}.get(words.split(",")[0], "doubt")
    return words, mood


def notes_of(record: Record, whole: bool, spent_ms: float) -> list[str]:
    """What ended the path, waves, the uncertainty and what was spent, a sentence each."""
    notes = [kind_words(record)]
    if whole:
        notes += [f"waves: {line}" for line in stability_sentences(record)]
        notes += [
            f"growth at {one.pressure_mpa / PSI:.3g} psi: {one.reason}"
            for one in record.growth
            if one.reason
        ]
    else:
        notes.append(
            f"a quick look, to about {100.0 * record.resolution:g} %, all round only; the whole "
            "answer with waves and growth follows when the slider rests"
        )
    sure = answer_of_record(record)
    if sure is not None:
        notes.append(
            f"95 % interval {interval_psi(sure)}, without own reversal tests; the command "
            "reversal takes them by --calibration"
        )
    notes.append(f"solved in {spent_ms:.0f} ms")
    return notes


def answer_data(record: Record, pinned: Record | None, whole: bool) -> dict[str, Any]:
    """Everything the page writes of a record, ready for JSON."""
    found = record.reversal_pressure_mpa
    verdict, mood = verdict_of(record, whole)
    about = "" if whole else "≈ "
    return {
        "pressure": "no reversal pressure" if found is None else f"{about}{found / PSI:.1f} psi",
        "metric": "" if found is None else f"{found:.4f} MPa · {10.0 * found:.2f} bar",
        "verdict": verdict,
        "mood": mood,
        "whole": whole,
        "rows": rows_of(record, pinned),
        "pinned": None if pinned is None else pinned.profile.name,
        "notes": notes_of(record, whole, 1000.0 * record.seconds),
        "caution": record.caution,
    }


def slope_rows(found: Iterable[Slope]) -> list[list[str]]:
    """[input, psi with error, per what] of the slopes of the reversal pressure, largest first."""
    rows = []
    for one in ranked(found):
        assert one.change is not None
        assert one.error is not None
        value, error = number_words(one.change / PSI, one.error * one.per / PSI)
        rows.append([label_of(one.name), f"{value} {error} psi", f"per {one.per_words}"])
    return rows
