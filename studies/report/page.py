"""A report as one HTML file: verdict first, then inputs, figures, tables, cautions.

All text is escaped by the template; figures are SVG within the page; nothing is loaded.
"""

from __future__ import annotations

import io
import re
import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_BYTES = 600_000  # of a report


@dataclass(frozen=True)
class Table:
    """A table: its caption, heads and rows of text; the first column is text, the others numbers
    where `numbers` says so."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: bool = True


@dataclass(frozen=True)
class Picture:
    """A figure as SVG text, what it shows in words for those who cannot see it, and a caption."""

    svg: str
    alt: str
    caption: str = ""


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it: paragraphs, tables, pictures, a turning bottom, and
    words as the command prints them, line by line."""

    title: str
    paragraphs: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()
    turning: dict[str, Any] | None = None
    words: str = ""


@dataclass(frozen=True)
class Report:
    """A report.

    title, about : what was asked, of which bottom.  headline : the answer, verdict : what it means;
    mood : "good", "bad", "doubt" or "none".  sections : in order.  cautions : sentences.
    command : what makes the report again.  versions : of the program and libraries.
    """

    title: str
    about: str
    headline: str
    verdict: str
    mood: str
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    command: str
    versions: dict[str, str] = field(default_factory=dict)


def svg_of(figure: Figure) -> str:
    """A matplotlib figure as SVG for the inside of a page, the same bits for the same figure."""
    import matplotlib

    from domemargin.studies.figures.style import styled

    drawn = io.StringIO()
    with styled(), matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "domemargin"}):
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None})
    text = drawn.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    # the page sets the width, the view box keeps the proportions
    text = re.sub(r'<svg ([^>]*?)height="[^"]*"', r"<svg \1", text, count=1)
    text = re.sub(r'<svg ([^>]*?)width="[^"]*"', r'<svg \1width="100%"', text, count=1)
    text = text.replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1)
    text = text.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif")
    return re.sub(r"\n\s*", "\n", text)


def distinct(pictures: Sequence[Picture]) -> list[Picture]:
    """The pictures with names of their parts that no other picture of the page has."""
    found = []
    for i, one in enumerate(pictures):
        svg = re.sub(r'(\bid=")', rf"\1g{i}-", one.svg)
        svg = re.sub(r"(url\(#|href=\"#)", rf"\1g{i}-", svg)
        found.append(Picture(svg, one.alt, one.caption))
    return found


def html_of(report: Report) -> str:
    """The report as the text of an HTML file."""
    home = resources.files("domemargin.studies.report")
    source = {name: (home / name).read_text(encoding="utf-8")
              for name in ("page.html.j2", "page.css", "turning.js")}  # fmt: skip
    pictures = iter(distinct([one for part in report.sections for one in part.pictures]))
    drawn = [[next(pictures) for _ in part.pictures] for part in report.sections]
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["trusted"] = Markup  # our own SVG, style and script
    return environment.from_string(source["page.html.j2"]).render(
        report=report,
        drawn=drawn,
        style=source["page.css"],
        script=source["turning.js"] if any(s.turning for s in report.sections) else "",
    )


def this_command() -> str:
    """The command line that runs now, as it would be typed."""
    return shlex.join(["domemargin", *sys.argv[1:]])
