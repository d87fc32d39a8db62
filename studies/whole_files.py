"""Files are written whole or not at all: an existing file is kept until the new one is complete."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterable, Iterator
from pathlib import Path

from domemargin.profiles.errors import InputError, brief_path

_START = "=+-@\t\r"  # what makes a spreadsheet read a cell as a formula


class UnwrittenError(InputError):
    """A file that could not be written; an existing file is unchanged."""


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file, text as UTF-8 without change of line ends; its folder is made if need be.

    Raises UnwrittenError, with the file as it was.
    """
    with whole_file(path) as temporary:
        temporary.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A file to write in place of `path`, in the same folder: it takes the place of `path` at the
    end, or is removed where anything goes wrong.

    A link is followed.  Raises UnwrittenError, with `path` as it was.
    """
    temporary: Path | None = None
    try:
        target = _target(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        temporary = unique_beside(target)
        # made here, so that it gets the rights that a new file gets
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        if target.exists():
            temporary.chmod(target.stat().st_mode & 0o777)
        yield temporary
        _flush(temporary)
        os.replace(temporary, target)
        temporary = None
        flush_folder(target.parent)
    except OSError as error:
        raise UnwrittenError(
            f"{brief_path(path)} cannot be written: {why(error)}; no part of it was left",
            "file",
            str(path),
        ) from None
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def _target(path: Path) -> Path:
    """Where a path leads; OSError for one that no file can have."""
    try:
        target = Path(os.path.realpath(path))
    except ValueError as error:  # a null character
        raise OSError(str(error)) from None
    if target.is_dir():
        raise IsADirectoryError(0, "it is a folder")
    return target


def can_be_file(path: Path) -> bool:
    """Whether the folder of a path is there and the path itself is no folder."""
    try:
        return path.parent.is_dir() and not path.is_dir()
    except (OSError, ValueError):  # no file can have that name
        return False


def unique_beside(path: Path) -> Path:
    """A name in the same folder that no other file has."""
    return path.with_name(f".{path.name[:80]}.{secrets.token_hex(8)}.tmp")


def why(error: Exception) -> str:
    """The reason of an error in a few words."""
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return " ".join(str(text).split())[:120]


def cells(row: Iterable[object]) -> list[object]:
    """The cells of a row of a CSV file, so that a spreadsheet takes no text for a formula.

    A text that starts with = + - @ and is no number gets an apostrophe before it: common practice,
    no source.
    """
    return [_plain(cell) for cell in row]


def _plain(cell: object) -> object:
    if not isinstance(cell, str) or not cell.startswith(tuple(_START)):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def flush_folder(folder: Path) -> None:
    """Write a folder's names to the disk, so that a power failure loses none.  Raises OSError."""
    _flush(folder)


def _flush(path: Path) -> None:
    """Have what was written on the disk before it is relied on."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        import errno

        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EROFS):
            raise  # some file systems cannot flush a folder
    finally:
        os.close(handle)
