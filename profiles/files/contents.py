"""What a file holds, by its first bytes: a file of the wrong kind is named as what it is."""

from __future__ import annotations

import re
import tomllib

STORE = "the store of a study's run"
_MAGIC = {  # each as its format's specification gives it
    b"SQLite format 3\0": STORE,
    b"PAR1": "a Parquet table",
    b"PK\x03\x04": "a spreadsheet or an archive (zip)",
    b"\xd0\xcf\x11\xe0": "an office document",
    b"\x1f\x8b": "a compressed file (gzip)",
    b"\x89PNG": "a picture (PNG)",
    b"\xff\xd8\xff": "a picture (JPEG)",
    b"GIF8": "a picture (GIF)",
    b"%PDF": "a PDF document",
    b"ISO-10303-21": "a solid model (STEP)",
    b"{": "a JSON file",
    b"<?xml": "an XML file",
    b"<svg": "a picture (SVG)",
    b"<VTKFile": "a mesh (VTU)",
}
_DRAWING = re.compile(rb"\s*(0|999)\s*\r?\n[^\n]*(\r?\n\s*0\s*\r?\n)?\s*SECTION")
_MOST = 200_000  # bytes looked at


def content_of(raw: bytes) -> str:
    """What the bytes of a file are, with its article; "" where it is not known.

    TOML text is "a TOML file", lines of as many fields as the first are "a table of columns (CSV)".
    """
    raw = raw.removeprefix(b"\xef\xbb\xbf")[:_MOST]
    start = raw[:64].lstrip()
    for magic, name in _MAGIC.items():
        if raw.startswith(magic) or (magic[:1].isascii() and start.startswith(magic)):
            return name
    if _DRAWING.match(raw[:400]):
        return "a drawing (DXF)"
    text = raw.decode("utf-8", errors="replace")
    if _is_toml(text):
        return "a TOML file"
    lines = [line for line in text.splitlines()[:20] if line.strip()]
    for mark in ",;\t":
        # the last line may be cut
        count = lines[0].count(mark) if len(lines) > 1 else 0
        whole = lines[:-1] if len(lines) > 3 else lines
        if count and lines[0][0] not in "#[" and "=" not in lines[0]:
            if any(line.count(mark) != count for line in whole):
                continue
            return "a table of columns (CSV)"
    return ""


def _is_toml(text: str) -> bool:
    try:
        return bool(tomllib.loads(text))
    except (ValueError, RecursionError):
        return False
