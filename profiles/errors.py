"""What is raised for an invalid input: one sentence that names field, value and range."""

from __future__ import annotations

from datetime import date, time


class InputError(ValueError):
    """An invalid input.  The message is one sentence.

    field : dotted name of the input, such as "shape.dome_depth" ("" if it is a whole file).
    value : what was given, as text.
    allowed : what would be accepted, as text.
    """

    def __init__(self, message: str, field: str = "", value: str = "", allowed: str = ""):
        super().__init__(" ".join(message.split()))
        self.field = field
        self.value = value
        self.allowed = allowed


def brief(value: object) -> str:
    """A value as given, short enough for a sentence."""
    try:
        text = value.isoformat() if isinstance(value, date | time) else repr(value)
    except ValueError:  # Python writes no number of more than 4300 digits
        return "a number of thousands of digits"
    return text if len(text) <= 60 else f"{text[:57]}..."


def brief_path(path: object) -> str:
    """A path for a sentence, its middle left out where it is long."""
    text = str(path)
    return repr(text if len(text) <= 120 else f"{text[:40]}...{text[-60:]}")


class ShapeError(InputError):
    """Dimensions that are each in range but do not close to a tangent chain."""
