"""Files are written whole or not at all: a file that stood there stays until the new one is."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from profiles import InputError


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file, text as UTF-8 without change of line ends.  Raises InputError."""
    with whole_file(path) as temporary:
        temporary.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A file to write in place of `path`: it takes the place of `path` at the end, or is removed
    where anything goes wrong.  Raises InputError, with `path` as it was."""
    temporary = path.with_name(f".{secrets.token_hex(4)}{path.suffix}")
    try:
        yield temporary
        with temporary.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(temporary, path)
        flush_folder(path.parent)
    except OSError as error:
        raise InputError(
            f"{str(path)!r} cannot be written: {error.strerror or error}; "
            "what stood there before is kept",
            "file",
            str(path),
        ) from None
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def flush_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
