"""Profile files: where they are found and how they are read.

A ready profile is read by its bare name: load_profile("north").  A path that exists wins
over a ready name.
"""

from __future__ import annotations

import os
import tomllib
from importlib import resources
from typing import Any

from domemargin.profiles.errors import InputError, brief, brief_path
from domemargin.profiles.files.toml_files import Kind, check_kind, tables
from domemargin.profiles.profile import Profile

_KIND = Kind("profile", "the ready profiles", "domemargin.profiles", "ready")


def ready_profiles() -> tuple[str, ...]:
    """Names of the ready profiles, sorted."""
    return _KIND.ready_names()


def named_tempers() -> dict[str, dict[str, Any]]:
    """The named tempers of can sheet as [material] tables, with the source of their values."""
    text = (resources.files("domemargin.profiles") / "tempers.toml").read_text(encoding="utf-8")
    return {name: {"name": name, **table} for name, table in tomllib.loads(text).items()}


def load_profile(path: str | os.PathLike[str]) -> Profile:
    """Read a profile from a TOML file, or a ready one by its name.

    path : a file; if there is none of that name, the name of a ready profile.
    Raises InputError (ShapeError if the dimensions do not close) in one sentence.
    """
    given = f"profile file {brief_path(path)}"
    data = tables(_KIND.read(path), f"{given} is ")
    check_kind(data, "profile", brief_path(path))
    return parse_profile(data)


def parse_profile(source: str | dict[str, Any]) -> Profile:
    """A profile from TOML text or from the tables of one.

    Raises InputError (ShapeError if the dimensions do not close) in one sentence.
    """
    from domemargin.profiles.files.reading import profile_of, validated

    given = tables(source) if isinstance(source, str) else source
    check_kind(given, "profile")
    return profile_of(validated(with_temper(given)))


def with_temper(data: dict[str, Any]) -> dict[str, Any]:
    """The tables of a file with a named temper put in as its [material]."""
    name = data.get("material")
    if not isinstance(name, str):
        return data
    tempers = named_tempers()
    if name not in tempers:
        known = ", ".join(tempers)
        raise InputError(
            f"material is {brief(name)}; it must be a [material] table or one of {known}",
            "material",
            brief(name),
            known,
        )
    table = {key: value for key, value in tempers[name].items() if key != "source"}
    return {**data, "material": table}
