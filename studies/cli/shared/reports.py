"""Writing reports: one HTML file in the folder of a run."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from domemargin.studies.whole_files import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from domemargin.fea.core.record import Record
    from domemargin.fea.core.settings import Settings
    from domemargin.studies.report.page import Report
    from domemargin.studies.verdict.calibration import Calibration

ReportOption = Annotated[
    bool, typer.Option("--report", help="Also one HTML file to pass on: report.html.")
]


def write_report(report: Report, folder: Path) -> Path:
    """Write report.html and say where it lies."""
    from domemargin.studies.report.page import html_of

    path = folder / "report.html"
    write_whole(path, html_of(report))
    return path


def write_reversal_report(
    folder: Path,
    record: Record,
    settings: Settings,
    given: str,
    calibration: Calibration | None = None,
    known: Mapping[str, float] | None = None,
) -> Path:
    """Write the report of a reversal, with its turning bottom where one was found.

    given : the profile as the command named it.  calibration, known : as verdict/answer.py takes
    them.
    """
    from domemargin.fea.bottom.frames import frames
    from domemargin.studies.report.reversal import reversal_report

    found = record.reversal_pressure_mpa is not None
    turned = frames(record.profile, settings) if found else None
    source = Path(given).name
    report = reversal_report(record, turned, source, None, calibration, known)
    return write_report(report, folder)


def write_words_report(
    folder: Path,
    head: tuple[str, str, str],
    verdict: tuple[str, str],
    show: Callable[[], None],
    figures: Sequence[tuple[Figure, str]],
    caution: str,
) -> Path:
    """Write the report of a command that says its answer in words and figures.

    head : what was asked, of what, and the answer.  verdict : in words, and its mood (page.py).
    show : prints the words.  figures : with what they show in words.
    """
    from importlib.metadata import version

    from domemargin.studies.report.page import Picture, Report, Section, svg_of, this_command

    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        show()
    lines = [line.rstrip() for line in printed.getvalue().strip().splitlines()]
    pictures = tuple(Picture(svg_of(figure), alt) for figure, alt in figures)
    parts = (Section("In words", words="\n".join(lines)), Section("Figures", pictures=pictures))
    versions = {name: version(name) for name in ("domemargin", "numpy", "scipy")}
    return write_report(
        Report(*head, *verdict, parts, (caution,), this_command(), versions), folder
    )
