"""TOML files: where they are found, and what is said of one that cannot be read.

A path that is a file wins over a ready one of that name.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from profiles.errors import InputError

_SHOWN = 120  # characters of what the parser says: it may quote a whole key


@dataclass(frozen=True)
class Kind:
    """A kind of file and the folder of its ready ones.

    name : "profile" and the like.  ready : how a sentence calls the ready ones.
    package, folder : where they lie.
    """

    name: str
    ready: str
    package: str
    folder: str

    def ready_names(self) -> tuple[str, ...]:
        """Names of the ready files, sorted."""
        names = (entry.name for entry in (resources.files(self.package) / self.folder).iterdir())
        return tuple(sorted(name[:-5] for name in names if name.endswith(".toml")))

    def read(self, path: str | os.PathLike[str]) -> str:
        """The text of a file, or of a ready one by its name.  Raises InputError in one sentence."""
        file, given = Path(path), repr(str(path))
        if not file.is_file() and str(path) in self.ready_names():
            folder = resources.files(self.package) / self.folder
            return (folder / f"{path}.toml").read_text("utf-8")
        try:
            return file.read_text(encoding="utf-8")
        except FileNotFoundError:
            from difflib import get_close_matches

            names = self.ready_names()
            ready, close = ", ".join(names), get_close_matches(str(path).casefold(), names, n=1)
            meant = f"did you mean {close[0]}? " if close else ""
            raise InputError(
                f"there is no {self.name} file {given}; {meant}{self.ready} are {ready}",
                value=given,
                allowed=ready,
            ) from None
        except UnicodeDecodeError:
            raise InputError(f"{self.name} file {given} is not UTF-8 text") from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise InputError(f"{self.name} file {given} cannot be read: {reason}") from None


def tables(text: str, subject: str = "") -> dict[str, Any]:
    """The tables of TOML text.

    subject : begins the sentence of the InputError raised, such as "the study file is ".
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        why = " ".join(str(error).split())[:_SHOWN]
    except RecursionError:
        why = "nested too deeply"
    raise InputError(f"{subject}not valid TOML: {why}")
