"""What the commands print, at most 80 columns wide."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from domemargin.profiles import Profile, derived
from domemargin.profiles.units import PSI
from domemargin.profiles.unusual import unusual
from domemargin.studies.text.bottom.metal_notes import RESTS
from domemargin.studies.text.printing import narrow_console, plain_table, print_files, spaced
from domemargin.studies.text.words import (
    drawn_words,
    judge_words,
    kind_words,
    one_line,
    pressures,
    stability_words,
)

if TYPE_CHECKING:
    from domemargin.fea.around.waviness import Waviness
    from domemargin.fea.bottom.onsets import WaveRecord
    from domemargin.fea.core.record import Growth, Onset, Place, Record
    from domemargin.profiles.mass import Mass
    from domemargin.studies.verdict.calibration import Calibration
    from domemargin.studies.verdict.growth import GrowthVerdict

_ON = {"inside": "inside surface", "mid": "mid surface", "outside": "outside surface"}
_INCH = 25.4  # mm
# unit of each derived dimension by how its name ends
_UNITS = {"_diameter": "mm", "_length": "mm", "_height": "mm", "_angle": "deg", "_mass": "g",
          "_volume": "cm3"}  # fmt: skip


def print_unusual(console: Console, profile: Profile) -> None:
    """A line on each value that is unusual, where there are some."""
    for note in unusual(profile):
        console.print(Text(f"Unusual: {note}", style="dark_orange3"))


def print_head(console: Console, profile: Profile) -> None:
    """Name, sizes and metal of a bottom."""
    shape, sheet = profile.shape, profile.sheet
    dome = " / ".join(f"{radius:.4g}" for radius in shape.dome_radii)
    console.print(Text(one_line(profile.name), style="bold"))
    sizes = (
        f"stand diameter {shape.stand_diameter:.5g}, dome depth {shape.dome_depth:.5g}, "
        f"dome radius {dome}, nose radius {shape.nose_radius:.4g}, "
        f"gauge {sheet.bottom_gauge:.4g} mm; {profile.material.name}"
    )
    console.print(Text(sizes))
    print_unusual(console, profile)


def print_reversal(
    record: Record,
    files: Sequence[Path],
    judge: Record | None = None,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
    with_slopes: bool = True,
    grown: Sequence[GrowthVerdict] = (),
    notes: Sequence[tuple[str, str]] = (),
) -> None:
    """The summary of a reversal solve.

    judge : the same bottom by the solid.  calibration, known : as verdict/answer.py takes them.
    with_slopes : whether slopes are printed, where there are some.  grown : verdicts on growth.
    notes : rows on its metal, those with the word estimate in red.
    """
    from domemargin.studies.text.verdict import (
        COLOURS,
        interval_psi,
        print_budget,
        verdict_words,
    )
    from domemargin.studies.verdict.answer import answer_of_record
    from domemargin.studies.verdict.budget import verdict_of

    sure = answer_of_record(record, calibration, known)
    console = narrow_console()
    print_head(console, record.profile)
    console.print()
    answer = plain_table("left", "left")
    found = record.reversal_pressure_mpa
    if found:
        answer.add_row("Reversal pressure", Text(pressures(found), style="bold"))
    answer.add_row("" if found else "Reversal pressure", Text(kind_words(record)))
    if sure is not None and found:
        if calibration is not None and not sure.notes:
            answer.add_row("By own tests", Text(pressures(sure.pressure), style="bold"))
        answer.add_row("", f"95 % interval {interval_psi(sure)}")
    if record.required_pressure_mpa is not None:
        answer.add_row("Required", pressures(record.required_pressure_mpa))
        verdict = verdict_of(sure, record.required_pressure_mpa, "no reversal pressure was found")
        colour = COLOURS.get(verdict.word, "red")
        answer.add_row("", Text(verdict_words(verdict), style=f"bold {colour}"))
        if record.stability is None:
            answer.add_row("", "waves were not checked and may come first")
    console.print(answer)
    if sure is not None and found:
        console.print()
        print_budget(console, sure)
    console.print()
    rests = dict(notes).get(RESTS, "") if notes else ""
    _print_growth(console, record.growth, rests)
    if grown:
        from domemargin.studies.text.verdict import print_growth_verdicts

        print_growth_verdicts(console, grown)
    metal = plain_table("left", "left")
    if record.first_yield is not None:
        first = record.first_yield
        metal.add_row(
            "First yield", f"at {first.pressure_mpa / PSI:.1f} psi, {_where(first.place)}"
        )
    else:
        stopped = record.kind == "not_converged" and record.profile.material.yield_strength
        words = "up to where the solve stopped" if stopped else "the metal stays elastic"
        metal.add_row("First yield", f"none: {words}")
    if record.onset is not None:
        _add_onset(metal, record.onset)
    for i, line in enumerate(stability_words(record)):
        metal.add_row("" if i else "Waves", line)
    for title, words in (note for note in notes if note[0] != RESTS):
        metal.add_row(title, Text(words, style="red" if "estimate" in words else ""))
    mesh = record.mesh
    through = f", {mesh.layers} layers" if mesh.model == "shell" else " of a solid"
    metal.add_row(
        "Solved",
        f"{mesh.elements} elements{through}, {record.iterations} iterations, "
        f"{record.seconds:.2f} s, resolution {100 * record.resolution:g} %",
    )
    if judge is not None:
        metal.add_row("Solid", judge_words(record, judge))
    console.print(metal)
    if record.slopes and with_slopes:
        from domemargin.studies.text.bottom.slopes import print_slopes  # loads the solver

        print_slopes(console, record)
    print_files(console, files)
    console.print(Text(record.caution, style="italic"))


def print_waves(record: WaveRecord, files: Sequence[Path]) -> None:
    """The summary of wave onsets."""
    console = narrow_console()
    console.print(Text(one_line(record.profile.name), style="bold"))
    table = plain_table("left", "left")
    found = record.reversal_pressure_mpa
    failed = "not known: " if record.kind == "not_converged" else ""
    words = pressures(found) if found else f"{failed}{record.reason}"
    table.add_row("Reverses at", Text(words, style="bold"))
    for i, line in enumerate(stability_words(record)):
        table.add_row("" if i else "Waves", line)
    for i, line in enumerate(drawn_words(record).split("\n")):
        table.add_row("" if i else "Drawn", line)
    console.print(table)
    print_files(console, files)
    console.print(Text(record.caution, style="italic"))


def _where(place: Place) -> str:
    return f"{spaced(place.part)}, {place.face} face, at r {place.r_mm:.2f} mm"


def _add_onset(table: Table, onset: Onset) -> None:
    parts = ", ".join(dict.fromkeys(spaced(zone.part) for zone in onset.fully_plastic)) or "nowhere"
    table.add_row("At onset", f"plastic through the gauge: {parts}")
    if onset.peak_plastic_strain > 0.0:
        table.add_row(
            "", f"plastic strain up to {100 * onset.peak_plastic_strain:.1f} %, "
            f"{_where(onset.peak_place)}",
        )  # fmt: skip
        table.add_row("", f"thinning up to {100 * onset.largest_thinning:.1f} %")


def _print_growth(console: Console, growth: Sequence[Growth], rests: str) -> None:
    if not growth:
        return
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    table.add_column("Growth (mm)")
    for name in ("stand ring", "dome centre", "ring, permanent", "centre, permanent"):
        table.add_column(name, justify="right")
    rejected = []
    for row in growth:
        values = (row.stand_growth_mm, row.centre_travel_mm,
                  row.permanent_stand_growth_mm, row.permanent_centre_travel_mm)  # fmt: skip
        name = f"at {row.pressure_mpa / PSI:.4g} psi"
        if row.reason:
            rejected.append(f"{name}: {row.reason}")
        else:
            table.add_row(name, *("-" if v is None else f"{v:.2f}" for v in values))
    if table.row_count:
        console.print(table)
    for line in rejected:
        console.print(Text(f"Growth {line}"))
    if rests:
        console.print(Text(f"Growth rests on {rests}."))
    console.print()


def given_rows(profile: Profile) -> list[tuple[str, float | str, str]]:
    """(name, value, unit) of the dimensions a profile was given; lengths mm, angles degrees."""
    shape, sheet = profile.shape, profile.sheet
    rows: list[tuple[str, float | str, str]] = []
    for name in ("stand_diameter", "dome_depth"):
        rows.append((name, getattr(shape, name), "mm"))
    many = len(shape.dome_radii) > 1
    for i, radius in enumerate(shape.dome_radii):
        rows.append((f"dome_radius_{i + 1}" if many else "dome_radius", radius, "mm"))
    for i, diameter in enumerate(shape.dome_break_diameter):
        rows.append((f"dome_break_diameter_{i + 1}", diameter, "mm"))
    rows.append(("shoulder_radius", shape.shoulder_radius, "mm"))
    rows.append(("inner_leg_angle", math.degrees(shape.inner_leg_angle), "deg"))
    rows.append(("nose_radius", shape.nose_radius, "mm"))
    rows.append(("outer_leg_angle", math.degrees(shape.outer_leg_angle), "deg"))
    for name in ("heel_radius", "body_diameter", "wall_height"):
        rows.append((name, getattr(shape, name), "mm"))
    for name in ("bottom_gauge", "wall_gauge", "transition_length", "transition_start"):
        rows.append((name, getattr(sheet, name), "mm"))
    return rows


def derived_rows(profile: Profile) -> list[tuple[str, float, str]]:
    """(name, value, unit) of the dimensions that follow."""
    rows = []
    for name, value in asdict(derived(profile)).items():
        unit = next(unit for end, unit in _UNITS.items() if name.endswith(end))
        rows.append((name, math.degrees(value) if unit == "deg" else value, unit))
    return rows


def profile_data(profile: Profile, mass: Mass) -> dict[str, Any]:
    """The profile as in its file, and what follows from it, ready for JSON."""
    import tomllib

    from domemargin.profiles.files.writing import dump_profile

    follows = {f"{name}_{unit}": value for name, value, unit in derived_rows(profile)}
    inputs = tomllib.loads(dump_profile(profile))
    return {
        "inputs": inputs,
        "derived": follows,
        "mass": asdict(mass),
        "unusual": list(unusual(profile)),
    }


def print_profile(
    profile: Profile, mass: Mass, files: Sequence[Path], mesh_words: str = ""
) -> None:
    """Given and derived dimensions of a profile."""
    console = narrow_console()
    console.print(Text(one_line(profile.name), style="bold"))
    material = profile.material
    strength = material.yield_strength
    console.print(Text(
        f"radii on the {_ON[profile.shape.radii_on]}; {material.name}, "
        + ("elastic" if strength is None else f"yield strength {strength:.4g} MPa")
    ))  # fmt: skip
    print_unusual(console, profile)
    for title, rows in (("Given", given_rows(profile)), ("Derived", derived_rows(profile))):
        console.print()
        console.print(Text(title, style="bold"))
        table = plain_table("left", "right", "left", "right", "left")
        for name, value, unit in rows:
            inches = f"{float(value) / _INCH:.4f}" if unit == "mm" else ""
            table.add_row(spaced(name), f"{float(value):.3f}", unit, inches, "in" if inches else "")
        console.print(table)
    console.print()
    console.print(Text("Mass", style="bold"))
    table = plain_table("left", "right", "left", "right", "left")
    for name, grams in (("bottom", mass.bottom_g), ("can body", mass.can_g)):
        table.add_row(name, f"{grams:.3f}", "g", f"{grams:.2f}", "kg per 1,000 cans")
    console.print(table)
    console.print(Text(f"Can body: {mass.includes}."))
    if profile.zones or profile.along is not None:
        console.print(Text("Gauge or metal vary along the meridian as well (zones, table)."))
    print_files(console, files)
    if mesh_words:
        console.print(Text(f"Section mesh: {mesh_words}"))


def print_profiles(ready: Mapping[str, Profile]) -> None:
    """The ready profiles, one line each."""
    console = narrow_console()
    table = plain_table("left", "left", "right", "right")
    table.show_header = True
    for column, head in zip(table.columns, ("name", "bottom", "depth (mm)", "gauge (mm)")):
        column.header = head
    for name, profile in ready.items():
        table.add_row(
            name, Text(one_line(profile.name)), f"{profile.shape.dome_depth:.2f}",
            f"{profile.sheet.bottom_gauge:.3f}",
        )  # fmt: skip
    console.print(table)


def print_waviness(profile: Profile, found: Sequence[Waviness]) -> None:
    """The pressure lost by waves of some heights."""
    console = narrow_console()
    first = found[0]
    # of waves whose cost was found
    assert first.reversal_pressure_mpa is not None
    assert first.growth is not None
    print_head(console, profile)
    console.print()
    console.print(Text(f"Reversal pressure  {pressures(first.reversal_pressure_mpa)}"))
    waves = "1 wave" if first.waves == 1 else f"{first.waves} waves"
    console.print(Text(f"With {waves} round the can, in the softest shape of that number:"))
    console.print()
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for name in ("height, zero to peak", "pressure", "lost"):
        table.add_column(name, justify="right")
    for entry in found:
        assert entry.pressure_mpa is not None
        assert entry.share_lost is not None
        lost = 100.0 * entry.share_lost
        table.add_row(
            f"{1000.0 * entry.amplitude_mm:.4g} um",
            f"{entry.pressure_mpa / PSI:.1f} psi",
            "below 0.01 %" if lost < 0.01 else f"{lost:.2f} %",
        )
    console.print(table)
    console.print()
    change = "grows" if first.growth > 1.0 else "shrinks"
    console.print(Text(f"Up to reversal such a wave {change} to {first.growth:.2g} of its height."))
    console.print(
        Text("An estimate of second order in the height, valid for losses up to about 10 %.")
    )
    console.print(Text(first.caution, style="italic"))
