"""Profile files: where they are found and how they are read.

A ready profile is read by its bare name: load_profile("north").  A path that exists wins
over a ready name.
"""

from __future__ import annotations

import os
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

from profiles.errors import InputError, brief
from profiles.profile import Profile


def ready_profiles() -> tuple[str, ...]:
    """Names of the ready profiles, sorted."""
    folder = resources.files("profiles") / "ready"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name[:-5] for name in names if name.endswith(".toml")))


def named_tempers() -> dict[str, dict[str, Any]]:
    """The named tempers of can sheet as [material] tables, with the source of their values."""
    text = (resources.files("profiles") / "tempers.toml").read_text(encoding="utf-8")
    return {name: {"name": name, **table} for name, table in tomllib.loads(text).items()}


def load_profile(path: str | os.PathLike[str]) -> Profile:
    """Read a profile from a TOML file, or a ready one by its name.

    path : a file; if there is none of that name, the name of a ready profile.
    Raises InputError (ShapeError if the dimensions do not close) in one sentence.
    """
    file = Path(path)
    if not file.is_file() and str(path) in ready_profiles():
        text = (resources.files("profiles") / "ready" / f"{path}.toml").read_text("utf-8")
        return parse_profile(text)
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        ready = ", ".join(ready_profiles())
        raise InputError(
            f"there is no profile file {str(path)!r}; the ready profiles are {ready}",
            value=repr(str(path)),
            allowed=ready,
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"profile file {str(path)!r} is not UTF-8 text") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"profile file {str(path)!r} cannot be read: {reason}") from None
    try:
        return parse_profile(text)
    except _NotTomlError as error:
        raise InputError(f"profile file {str(path)!r} is {error}") from None


class _NotTomlError(InputError):
    pass


def parse_profile(source: str | dict[str, Any]) -> Profile:
    """A profile from TOML text or from the tables of one.

    Raises InputError (ShapeError if the dimensions do not close) in one sentence.
    """
    if isinstance(source, str):
        try:
            source = tomllib.loads(source)
        except tomllib.TOMLDecodeError as error:
            raise _NotTomlError(f"not valid TOML: {' '.join(str(error).split())}") from None
        except RecursionError:
            raise _NotTomlError("not valid TOML: nested too deeply") from None
    from profiles.reading import profile_of, validated

    return profile_of(validated(with_temper(source)))


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
