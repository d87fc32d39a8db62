"""Writing reports: one HTML file in the folder of a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from domemargin.studies.whole_files import write_whole

if TYPE_CHECKING:
    from domemargin.fea.core.record import Record
    from domemargin.fea.core.settings import Settings
    from domemargin.studies.report.page import Report


def write_report(report: Report, folder: Path) -> Path:
    """Write report.html and say where it lies."""
    from domemargin.studies.report.page import html_of

    path = folder / "report.html"
    write_whole(path, html_of(report))
    return path


def write_reversal_report(folder: Path, record: Record, settings: Settings, given: str) -> Path:
    """Write the report of a reversal, with its turning bottom where one was found.

    given : the profile as the command named it.
    """
    from domemargin.fea.bottom.frames import frames
    from domemargin.studies.report.reversal import reversal_report

    found = record.reversal_pressure_mpa is not None
    turned = frames(record.profile, settings) if found else None
    source = Path(given).name
    return write_report(reversal_report(record, turned, source), folder)
