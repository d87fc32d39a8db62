"""A bottom with all its values as a text that fits in a link, and back.

The text is the profile file, deflated (RFC 1951, by zlib) and in the URL-safe alphabet of RFC 4648.
"""

from __future__ import annotations

import base64
import binascii
import zlib

from domemargin.profiles import InputError, Profile, dump_profile, parse_profile

LONGEST_LINK = 16_000  # letters: what a browser's address bar takes in any case
MOST_BYTES = 256_000  # of a profile file that is uploaded or unpacked


def packed(profile: Profile) -> str | None:
    """The bottom as text for a link; None where it would be longer than LONGEST_LINK."""
    text = base64.urlsafe_b64encode(zlib.compress(dump_profile(profile).encode(), 9)).decode()
    return text.rstrip("=") if len(text) <= LONGEST_LINK else None


def unpacked(text: str) -> Profile:
    """The bottom of a link's text.  Raises InputError where the text is damaged or too long."""
    broken = InputError("the link's bottom is damaged; copy the whole link", "bottom")
    if len(text) > LONGEST_LINK:
        raise broken
    try:
        raw = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
        opened = zlib.decompressobj()
        whole = opened.decompress(raw, MOST_BYTES)
        if opened.unconsumed_tail or not opened.eof:
            raise broken
        return uploaded(whole.decode())
    except (binascii.Error, zlib.error, UnicodeDecodeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise broken from None


def uploaded(text: str) -> Profile:
    """The bottom of an uploaded profile file's text.

    Raises InputError where it is too long or no profile.
    """
    if len(text) > MOST_BYTES:
        size = f"{len(text) / 1000:.0f} kB"
        allowed = f"at most {MOST_BYTES / 1000:.0f} kB"
        raise InputError(f"the file has {size}; it must have {allowed}", "file", size, allowed)
    return parse_profile(text)
