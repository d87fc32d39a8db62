"""TOML files: where they are found, and what is said of one that cannot be read.

A path that is a file wins over a ready one of that name.
"""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from domemargin.profiles.errors import InputError, brief_path
from domemargin.profiles.files.contents import content_of

_SHOWN = 120  # characters of what the parser says: it may quote a whole key
# keys that only one kind of file has at its top
MARKS = {
    "profile": ("shape", "sheet"),
    "tooling": ("punch", "die", "clamp", "station"),
    "study": ("profile", "plan", "scatter", "required_pressure"),
    "doming study": ("cases",),
}
_NEEDED = {
    "profile": "[shape], [sheet] and material",
    "tooling": "[punch], [die], [clamp] and others",
    "study": "profile and [vary.<quantity>]",
    "doming study": "cases and [vary]",
}
_READY = {
    "profile": ("domemargin.profiles", "ready"),
    "tooling": ("domemargin.profiles", "ready_tooling"),
    "study": ("domemargin.studies", "ready"),
}


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
        return _names(self.package, self.folder)

    def read(self, path: str | os.PathLike[str]) -> str:
        """The text of a file, or of a ready one by its name.  Raises InputError in one sentence."""
        file, given = Path(path), brief_path(path)
        try:
            if not file.is_file() and str(path) in self.ready_names():
                folder = resources.files(self.package) / self.folder
                return (folder / f"{path}.toml").read_text("utf-8")
            raw = file.read_bytes()
        except FileNotFoundError:
            raise self._missing(str(path)) from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise InputError(f"{self.name} file {given} cannot be read: {reason}") from None
        found = content_of(raw)
        if found not in ("", "a TOML file"):
            raise InputError(
                f"{self.name} file {given} is {found}; it must be a {self.name} file, text in TOML",
                value=given,
                allowed="text in TOML",
            )
        try:
            return raw.decode("utf-8-sig")  # some editors put a mark before the text
        except UnicodeDecodeError:
            raise InputError(f"{self.name} file {given} is not UTF-8 text") from None

    def _missing(self, path: str) -> InputError:
        from difflib import get_close_matches

        given, names = brief_path(path), self.ready_names()
        ready, close = ", ".join(names), get_close_matches(path[:200].casefold(), names, n=1)
        meant = f"did you mean {close[0]}? " if close else ""
        for other, place in _READY.items():
            if other != self.name and path in _names(*place):
                meant = f"{given} is ready as a {other}; "
                break
        return InputError(
            f"there is no {self.name} file {given}; {meant}{self.ready} are {ready}",
            value=given,
            allowed=ready,
        )


def _names(package: str, folder: str) -> tuple[str, ...]:
    names = (entry.name for entry in (resources.files(package) / folder).iterdir())
    return tuple(sorted(name[:-5] for name in names if name.endswith(".toml")))


def check_kind(data: dict[str, Any], wanted: str, given: str = "this") -> None:
    """Reject, as InputError, the tables of another kind of file than the one wanted.

    wanted : one of MARKS.  given : begins the sentence.
    """
    counts = {kind: sum(key in data for key in keys) for kind, keys in MARKS.items()}
    found = max(counts, key=lambda kind: counts[kind])
    if counts[found] == 0 or counts[wanted] > 0:
        return
    has = ", ".join(key for key in MARKS[found] if key in data)
    raise InputError(
        f"{given} is a {found} file, since it has {has}; it must be a {wanted} file, "
        f"with {_NEEDED[wanted]}",
        value=f"a {found} file",
        allowed=f"a {wanted} file",
    )


def tables(text: str, subject: str = "") -> dict[str, Any]:
    """The tables of TOML text.

    subject : begins the sentence of the InputError raised, such as "the study file is ".
    """
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        # the parser writes the path to a table as Python does: ('vary', 'dome_depth')
        said = re.sub(r"\(('[^()]*'),?\)", lambda m: re.sub(r"', '", ".", m[1]), str(error))
        said = said.replace("Cannot overwrite a value", "a name is given twice, the second time")
        why = " ".join(said.split())[:_SHOWN] + _comma(text, said)
    except ValueError:  # Python reads no number of more than 4300 digits
        why = "it holds a number of thousands of digits"
    except RecursionError:
        why = "nested too deeply"
    raise InputError(f"{subject}not valid TOML: {why}")


def _comma(text: str, error: str) -> str:
    """A hint where the line that the parser stopped at has a decimal comma."""
    at = re.search(r"at line (\d+)", error)
    lines = text.splitlines()
    if at is None or not 0 < int(at[1]) <= len(lines):
        return ""
    comma = re.search(r"=\s*(\d+,\d+)", lines[int(at[1]) - 1])
    return f": {comma[1][:20]} has a decimal comma, it must be a point" if comma else ""
