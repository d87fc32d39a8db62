"""Tooling files: where they are found and how they are read.

Ready tooling is read by its bare name: load_tooling("north").  A file that exists wins.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from domemargin.profiles.errors import brief_path
from domemargin.profiles.files.toml_files import Kind, check_kind, tables

if TYPE_CHECKING:
    from domemargin.profiles.tooling.tooling import Tooling

_KIND = Kind("tooling", "the ready ones", "domemargin.profiles", "ready_tooling")


def ready_tooling() -> tuple[str, ...]:
    """Names of the ready tooling files, sorted."""
    return _KIND.ready_names()


def load_tooling(path: str | os.PathLike[str]) -> Tooling:
    """Read tooling from a TOML file, or ready tooling by its name.

    Raises InputError in one sentence.
    """
    given = brief_path(path)
    data = tables(_KIND.read(path), f"tooling file {given} is ")
    check_kind(data, "tooling", given)
    return parse_tooling(data)


def parse_tooling(source: str | dict[str, Any]) -> Tooling:
    """Tooling from TOML text or from the tables of one.  Raises InputError in one sentence."""
    from domemargin.profiles.tooling.reading import tooling_of

    given = tables(source, "the tooling file is ") if isinstance(source, str) else source
    check_kind(given, "tooling")
    return tooling_of(given)
