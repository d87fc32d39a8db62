"""The evidence page, from rows to Markdown and to one self-contained HTML file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import jinja2
from evidence_rows import FAIL, GAP, KINDS, PASS, PHYSICS, Row

HERE = Path(__file__).parent
CAUTION = (
    "These checks are of the calculation, not of your cans: a reversal pressure stays a model "
    "estimate, to be confirmed by a reversal test on real cans."
)


@dataclass
class Group:
    """The rows of one field of physics; sources are numbered through the whole page."""

    physics: str
    rows: list[tuple[Row, int]] = field(default_factory=list)
    sources: dict[str, int] = field(default_factory=dict)

    def count(self, verdict: str) -> int:
        """Rows with a verdict."""
        return sum(row.verdict == verdict for row, _ in self.rows)


def grouped(rows: Sequence[Row]) -> list[Group]:
    """Rows by physics in its own order, and in that in which they come."""
    groups: dict[str, Group] = {}
    numbers: dict[str, int] = {}
    for row in sorted(rows, key=lambda row: PHYSICS.index(row.physics)):
        group = groups.setdefault(row.physics, Group(row.physics))
        number = numbers.setdefault(row.source, len(numbers) + 1)
        group.sources.setdefault(row.source, number)
        group.rows.append((row, number))
    return list(groups.values())


def verdict_of(rows: Sequence[Row]) -> str:
    """The page in a line."""
    count = Counter(row.verdict for row in rows)
    gaps = f", {count[GAP]} known gaps" if count[GAP] else ""
    failed = f"{count[FAIL]} of {len(rows)} checks FAIL" if count[FAIL] else ""
    return (failed or f"{count[PASS]} of {len(rows)} checks pass") + gaps


def kinds_of(rows: Sequence[Row]) -> str:
    """How many checks rest on which kind of source."""
    count = Counter(row.kind for row in rows)
    return ", ".join(f"{count[kind]} {kind}" for kind in KINDS if count[kind])


def pages(rows: Sequence[Row], version: str, date: str, built_with: str = "") -> tuple[str, str]:
    """The page as Markdown and as HTML.

    version : of this project.  date : of the run.  built_with : versions of libraries.
    """
    loader = jinja2.FileSystemLoader(HERE)
    values = {
        "groups": grouped(rows), "total": verdict_of(rows), "kinds": kinds_of(rows),
        "outside": sorted(
            (row for row in rows if row.verdict != PASS), key=lambda row: row.verdict != FAIL
        ), "version": version, "date": date,
        "built_with": built_with, "caution": CAUTION, "PASS": PASS, "GAP": GAP, "FAIL": FAIL,
    }  # fmt: skip
    out = []
    for name, escape in (("evidence.md.j2", False), ("evidence.html.j2", True)):
        environment = jinja2.Environment(
            loader=loader, autoescape=escape, trim_blocks=True, lstrip_blocks=True,
            undefined=jinja2.StrictUndefined, keep_trailing_newline=True,
        )  # fmt: skip
        environment.filters["cell"] = _cell
        out.append(environment.get_template(name).render(values))
    return out[0], out[1]


def _cell(text: str) -> str:
    """A text for a cell of a Markdown table."""
    return " ".join(str(text).split()).replace("|", "\\|")
