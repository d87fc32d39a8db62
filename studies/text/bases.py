"""Two bottoms against each other, and many in one table, in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from domemargin.profiles.units import PSI
from domemargin.profiles.unusual import unusual
from domemargin.studies.text.printing import narrow_console, plain_table, print_files, spaced
from domemargin.studies.text.verdict import COLOURS, answer_data, interval_psi
from domemargin.studies.text.words import kind_words, one_line
from domemargin.studies.verdict.answer import answer_of_record, verdict_of_record
from domemargin.studies.verdict.budget import COVERAGE, Verdict

if TYPE_CHECKING:
    from domemargin.fea.core.record import Growth, Record
    from domemargin.studies.margin.bases import Bases
    from domemargin.studies.verdict.calibration import Calibration


def _psi(value: float | None) -> str:
    return "-" if value is None else f"{value / PSI:.1f} psi"


def _word(verdict: Verdict | None) -> Text:
    if verdict is None:
        return Text("")
    return Text(verdict.word, style=f"bold {COLOURS.get(verdict.word, 'red')}")


def _grown(growth: Growth, name: str) -> float | None:
    found: float | None = getattr(growth, name)
    return found


def print_bases(found: Bases, files: Sequence[Path]) -> None:
    """Base against base: pressure, verdict, growth, mass, volume; then where it comes from."""
    console = narrow_console()
    for name, record in zip(("first: ", "second:"), found.records):
        console.print(Text(f"{name} {one_line(record.profile.name)}", style="bold"))
        for note in unusual(record.profile):
            console.print(Text(f"Unusual: {note}"))
    table = plain_table("left", "right", "right", "right")
    table.show_header = True
    for column, head in zip(table.columns, ("", "first", "second", "difference")):
        column.header = head
    pressures = [record.reversal_pressure_mpa for record in found.records]
    table.add_row(
        "reversal pressure",
        *map(_psi, pressures),
        _apart(pressures[0], pressures[1], PSI, 1, " psi"),
    )
    answers = found.answers
    if any(a is not None and a.pressure != a.computed for a in answers):
        table.add_row(
            "by own tests", *(_psi(None if a is None else a.pressure) for a in answers), ""
        )
    table.add_row(
        "95 % interval", *("-" if a is None else interval_psi(a) for a in answers), ""
    )  # fmt: skip
    if found.verdicts[0] is not None:
        table.add_row("verdict", *map(_word, found.verdicts), "")
    for one, other in found.growth():
        for name, words in (
            ("stand_growth_mm", "ring growth"),
            ("permanent_stand_growth_mm", "permanent ring growth"),
        ):
            a, b = _grown(one, name), _grown(other, name)
            table.add_row(
                f"{words} at {one.pressure_mpa / PSI:.4g} psi",
                *("-" if v is None else f"{v:.2f} mm" for v in (a, b)), _apart(a, b, 1, 2, " mm"),
            )  # fmt: skip
    volume = "room below the end of the heel"
    for words, (one_side, other_side), places, unit in (
        ("mass of the bottom", found.mass_g, 3, " g"),
        (volume, found.volume_cm3, 2, " cm3"),
    ):
        row = (f"{one_side:.{places}f}{unit}", f"{other_side:.{places}f}{unit}")
        table.add_row(words, *row, _apart(one_side, other_side, 1, places, unit))
    console.print(table)
    console.print()
    console.print(Text(difference_words(found), style="bold"))
    _print_sources(console, found)
    print_files(console, files)
    console.print(Text(found.caution, style="italic"))


def _apart(a: float | None, b: float | None, unit: float, places: int, words: str) -> str:
    return "-" if a is None or b is None else f"{(b - a) / unit:+.{places}f}{words}"


def difference_words(found: Bases) -> str:
    """The difference with its interval, and whether its sign is sure."""
    if found.difference is None or found.standard is None:
        return "No difference: a reversal pressure is missing"
    by, reach = found.difference / PSI, COVERAGE * found.standard / PSI
    text = f"The second holds {by:+.1f} ± {reach:.1f} psi (95 %); common errors cancel"
    return text if found.sure else f"{text}; which holds more is not known"


def _print_sources(console: Any, found: Bases) -> None:
    explained = {spaced(source.name) for source in found.sources}
    if found.sources:
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
        table.add_column("Where it comes from")
        for head in ("first", "second", "psi"):
            table.add_column(head, justify="right")
        for source in found.sources:
            change = "-" if source.change is None else f"{source.change / PSI:+.2f}"
            table.add_row(spaced(source.name), source.first, source.second, change)
        if found.rest is not None:
            table.add_row("the rest, and by both at once", "", "", f"{found.rest / PSI:+.2f}")
        console.print(table)
    others = [row for row in found.differing if row[0] not in explained]
    if others:
        table = plain_table("left", "right", "right")
        for row in others:
            table.add_row(*map(Text, row))
        console.print(Text("Also different"))
        console.print(table)


def bases_data(found: Bases) -> dict[str, Any]:
    """Two bottoms, ready for JSON; pressures in MPa."""
    sides = [
        record.to_dict() | answer_data(answer, verdict) | {"mass_g": mass, "volume_cm3": volume}
        for record, answer, verdict, mass, volume in zip(
            found.records, found.answers, found.verdicts, found.mass_g, found.volume_cm3
        )
    ]
    return {
        "first": sides[0],
        "second": sides[1],
        "difference_mpa": found.difference,
        "standard_uncertainty_mpa": found.standard,
        "sign_known": found.sure,
        "sources": [
            {"input": s.name, "first": s.first, "second": s.second, "change_mpa": s.change}
            for s in found.sources
        ],
        "rest_mpa": found.rest,
        "differing": [list(row) for row in found.differing],
        "caution": found.caution,
    }


def print_batch(
    records: Sequence[Record], calibration: Calibration | None, files: Sequence[Path]
) -> None:
    """Many bottoms in one table, a line each."""
    console = narrow_console()
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    table.add_column("bottom", max_width=24, no_wrap=True)
    for head in ("psi", "95 % interval", "margin"):
        table.add_column(head, justify="right")
    table.add_column("verdict")
    notes = []
    for record in records:
        answer = answer_of_record(record, calibration)
        verdict = verdict_of_record(record, calibration)
        margin = (
            "" if verdict is None or verdict.margin is None else f"{100 * verdict.margin:+.1f} %"
        )
        name = one_line(record.profile.name, 60)
        notes += [f"{name}: unusual: {note}" for note in unusual(record.profile)]
        if answer is None or answer.least:
            notes.append(f"{name}: {kind_words(record)}")
        psi = "-" if answer is None or answer.least else f"{answer.pressure / PSI:.1f}"
        interval = "-" if answer is None else interval_psi(answer).removesuffix(" psi")
        table.add_row(name, psi, interval, margin, _word(verdict))
        notes += [f"{name}: {note}" for note in (answer.notes if answer is not None else ())]
    console.print(table)
    for note in notes:
        console.print(Text(note))
    print_files(console, files)
    console.print(Text(records[0].caution, style="italic"))
