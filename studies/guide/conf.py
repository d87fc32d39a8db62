"""Sphinx settings of the guide: the plain theme, nothing fetched from anywhere."""

import re
from importlib.metadata import version as _version
from typing import Any

project = "domemargin"
author = "the domemargin authors"
version = release = _version("domemargin")
extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
myst_heading_anchors = 3
smartquotes = False  # options keep their two hyphens
default_role = "code"
autodoc_typehints = "signature"
autodoc_member_order = "bysource"
toc_object_entries = False
pygments_style = "vs"  # output of commands in full black
python_use_unqualified_type_names = True
add_module_names = False
html_theme = "alabaster"
html_title = "domemargin guide"
html_show_sourcelink = False
html_show_sphinx = False
html_show_copyright = False
html_copy_source = False
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_theme_options = {
    "description": "Reversal pressure and margin of can bottoms",
    "fixed_sidebar": False,
    "show_powered_by": False,
    "globaltoc_maxdepth": 2,
    "page_width": "1250px",
    "sidebar_width": "270px",
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "font_size": "16px",
    "body_max_width": "auto",
    "code_font_size": "13px",
}

_ENTRY = re.compile(r"(\w+(?:, \w+)*) : (.*)")


def plain_docstring(lines: list[str]) -> list[str]:
    """A docstring of this project as reStructuredText: `name : meaning` becomes a list entry."""
    out: list[str] = []
    listed = False
    for line in lines:
        entry, went_on = _ENTRY.match(line), line.startswith(" ")
        if listed != bool(entry or (listed and went_on)):
            out.append("")
        if entry:
            listed = True
            out.append(f"* `{entry[1]}`: {entry[2]}")
        elif listed and went_on:
            out.append(f"  {line.strip()}")
        else:
            listed = False
            out.append(line.strip())
    return out


def _docstring(app: Any, what: str, name: str, given: Any, options: Any, lines: list[str]) -> None:
    lines[:] = plain_docstring(lines)


def setup(app: Any) -> None:
    """Let Sphinx read the docstrings as they are written here."""
    app.connect("autodoc-process-docstring", _docstring)
