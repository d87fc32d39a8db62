"""The report of a reversal: what is in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from domemargin.profiles import Profile, named_tempers
from domemargin.profiles.units import PSI
from domemargin.studies.figures.drawing import profile_figure
from domemargin.studies.figures.reversal import reversal_figure
from domemargin.studies.report.page import Picture, Report, Section, Table, svg_of, this_command
from domemargin.studies.report.turning import turning_data
from domemargin.studies.text.bottom.summary import derived_rows, given_rows
from domemargin.studies.text.printing import spaced
from domemargin.studies.text.verdict import BUDGET_HEADS, budget_rows, interval_psi
from domemargin.studies.text.words import kind_words, margin_words, pressures, stability_sentences
from domemargin.studies.verdict.answer import answer_of_record, verdict_of_record

if TYPE_CHECKING:
    from domemargin.fea.bottom.frames import Frames
    from domemargin.fea.core.record import Record
    from domemargin.studies.verdict.budget import Answer
    from domemargin.studies.verdict.calibration import Calibration

_MOODS = {"SAFE": "good", "NOT SAFE": "bad"}
_WALL = 6.0  # mm of the sidewall that the turning bottom shows
_INCH = 25.4  # mm


def reversal_report(
    record: Record,
    frames: Frames | None,
    source: str,
    command: str | None = None,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> Report:
    """The report of a record.

    frames : of the reversal in 3D, or None.  source : where the inputs come from, such as the name
    of the profile file.  command : what makes it again; by default the one that runs.
    calibration, known : as verdict/answer.py takes them.
    """
    profile = record.profile
    sure = answer_of_record(record, calibration, known)
    verdict = margin_words(record, verdict_of_record(record, calibration, known))
    mood = _MOODS.get(verdict.split(",")[0], "doubt") if verdict else "none"
    found = record.reversal_pressure_mpa
    headline = (
        "No reversal pressure" if found is None else " · ".join(pressures(found).split("   "))
    )
    sections = [
        Section("Answer", (_first(kind_words(record)),), (_answers(record), *_growth(record)),
                (_picture(record),)),
        Section("Uncertainty", tuple(_uncertainty(record, sure)), _budget(sure)),
    ]  # fmt: skip
    if frames is not None:
        sections.append(_turning(profile, frames))
    if record.slopes:
        sections.append(Section("What moves the reversal pressure", (), (_slopes(record),)))
    sections.append(_inputs(profile, source))
    return Report(
        "Reversal pressure",
        profile.name,
        headline,
        _verdict(record, verdict),
        mood,
        tuple(sections),
        (record.caution,),
        command or this_command(),
        record.versions,
    )


def _first(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _verdict(record: Record, words: str) -> str:
    required = record.required_pressure_mpa
    if required is None:
        return "no required pressure was given"
    return f"{words}, against the required {required / PSI:.1f} psi ({required:.4f} MPa)"


def _answers(record: Record) -> Table:
    rows = []
    stability = record.stability
    for name, mpa in (
        ("Reversal pressure", record.reversal_pressure_mpa),
        ("Limit all round", None if stability is None else stability.axisymmetric_limit_mpa),
        ("Required", record.required_pressure_mpa),
        ("First yield", None if record.first_yield is None else record.first_yield.pressure_mpa),
    ):
        if mpa is not None:
            rows.append((name, f"{mpa / PSI:.1f}", f"{mpa:.4f}", f"{10.0 * mpa:.2f}"))
    return Table("Pressures", ("", "psi", "MPa", "bar"), tuple(rows))


def _growth(record: Record) -> tuple[Table, ...]:
    rows = []
    for one in record.growth:
        values = (one.stand_growth_mm, one.permanent_stand_growth_mm, one.centre_travel_mm,
                  one.permanent_centre_travel_mm)  # fmt: skip
        cells = ["-" if value is None else f"{value:.3f}" for value in values]
        rows.append((f"{one.pressure_mpa / PSI:.1f} psi", *cells, one.reason))
    if not rows:
        return ()
    heads = ("At", "stand ring", "permanent", "dome centre", "permanent", "")
    return (Table("Growth (mm)", heads, tuple(rows)),)


def _picture(record: Record) -> Picture:
    found, profile = record.reversal_pressure_mpa, record.profile
    what = "no reversal found" if found is None else f"reversal at {found / PSI:.1f} psi"
    travel = record.curve.centre_travel_mm
    alt = (
        f"Section of {profile.name} unloaded, at reversal and after, and pressure against travel "
        f"of dome centre and stand ring: {what}; dome centre travels up to {travel.max():.1f} mm."
    )
    return Picture(svg_of(reversal_figure(record)), alt)


def _uncertainty(record: Record, sure: Answer | None) -> list[str]:
    lines = [f"Waves round the can: {line}." for line in stability_sentences(record)]
    if sure is not None:
        best = f"{sure.pressure / PSI:.1f} psi, 95 % interval {interval_psi(sure)}"
        lines = [f"Best estimate {best}.", *(_first(note) for note in sure.notes), *lines]
    return lines


def _budget(sure: Answer | None) -> tuple[Table, ...]:
    if sure is None:
        return ()
    return (Table("What the uncertainty comes from", BUDGET_HEADS, budget_rows(sure)),)


def _turning(profile: Profile, frames: Frames) -> Section:
    depth = profile.shape.dome_depth
    text = ["The bottom at true scale along its path, through the drop after the reversal. Parts "
            "that would touch each other are not held apart."]  # fmt: skip
    if frames.rest:
        text.append(
            f"At rest after the reversal the dome depth is {frames.depth_mm[-1]:.2f} mm, of "
            f"{depth:.2f} mm before."
        )
    data = turning_data(frames, profile.chain.heel_height + _WALL)
    return Section("The reversal in 3D", tuple(text), turning=data)


def _slopes(record: Record) -> Table:
    from domemargin.fea.bottom.slopes import ranked
    from domemargin.studies.text.bottom.slopes import number_words

    rows = []
    for one in ranked(record.slopes or ()):
        assert one.change is not None
        assert one.error is not None
        value, error = number_words(one.change / PSI, one.error * one.per / PSI)
        rows.append((spaced(one.name), value, error, f"per {one.per_words}"))
    return Table("Change of the reversal pressure (psi), largest first",
                 ("input", "change", "", "for"), tuple(rows))  # fmt: skip


def _inputs(profile: Profile, source: str) -> Section:
    def rows(given: list[tuple[str, float | str, str]]) -> tuple[tuple[str, ...], ...]:
        return tuple(
            (spaced(name), f"{float(value):.3f}", unit,
             f"{float(value) / _INCH:.4f} in" if unit == "mm" else "")
            for name, value, unit in given
        )  # fmt: skip

    material = profile.material
    metal = [("elastic modulus", f"{material.elastic_modulus:.6g}", "MPa", ""),
             ("Poisson ratio", f"{material.poisson_ratio:.4g}", "", "")]  # fmt: skip
    if material.yield_strength is not None:
        metal.append(("yield strength", f"{material.yield_strength:.5g}", "MPa", ""))
    law = material.hardening
    for name, value in vars(law).items():
        if isinstance(value, float):
            metal.append(
                (f"hardening ({type(law).__name__}) {spaced(name)}", f"{value:.5g}", "", "")
            )
    texts = [
        f"Dimensions and gauges as in {source}; radii on the {profile.shape.radii_on} surface."
    ]
    temper = named_tempers().get(material.name)
    if temper is not None and "source" in temper:
        texts.append(f"Metal: {material.name}; source: {temper['source']}")
    else:
        texts.append(f"Metal: {material.name}, as in {source}.")
    if profile.zones or profile.along is not None or profile.formed is not None:
        texts.append("Gauge or metal vary along the meridian as well, as the profile file says.")
    heads = ("", "value", "unit", "inches")
    derived = [(name, value, unit) for name, value, unit in derived_rows(profile)]
    alt = f"Half section of {profile.name} with its dimensions, and the nose magnified."
    return Section(
        "Inputs",
        tuple(texts),
        (
            Table("Given", heads, rows(given_rows(profile))),
            Table("Metal", ("", "value", "unit", ""), tuple(metal)),
            Table("What follows", heads, rows(list(derived))),
        ),
        (Picture(svg_of(profile_figure(profile)), alt),),
    )
