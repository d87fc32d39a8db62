"""Tooling files: where they are found and how they are read.

Ready tooling is read by its bare name: load_tooling("north").  A file that exists wins.
"""

from __future__ import annotations

import os
import tomllib
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from profiles.errors import InputError

if TYPE_CHECKING:
    from profiles.tooling import Tooling


def ready_tooling() -> tuple[str, ...]:
    """Names of the ready tooling files, sorted."""
    folder = resources.files("profiles") / "ready_tooling"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name[:-5] for name in names if name.endswith(".toml")))


def load_tooling(path: str | os.PathLike[str]) -> Tooling:
    """Read tooling from a TOML file, or ready tooling by its name.

    Raises InputError in one sentence.
    """
    file = Path(path)
    if not file.is_file() and str(path) in ready_tooling():
        folder = resources.files("profiles") / "ready_tooling"
        return parse_tooling((folder / f"{path}.toml").read_text("utf-8"))
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        ready = ", ".join(ready_tooling())
        raise InputError(
            f"there is no tooling file {str(path)!r}; the ready ones are {ready}",
            value=repr(str(path)),
            allowed=ready,
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"tooling file {str(path)!r} is not UTF-8 text") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"tooling file {str(path)!r} cannot be read: {reason}") from None
    return parse_tooling(text)


def parse_tooling(source: str | dict[str, Any]) -> Tooling:
    """Tooling from TOML text or from the tables of one.  Raises InputError in one sentence."""
    if isinstance(source, str):
        try:
            source = tomllib.loads(source)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            reason = " ".join(str(error).split())
            raise InputError(f"the tooling file is not valid TOML: {reason}") from None
    from profiles.tooling_reading import tooling_of

    return tooling_of(source)
