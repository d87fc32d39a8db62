"""A record in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studies.units import PSI

if TYPE_CHECKING:
    from fea.record import Record

KIND_WORDS = {
    "limit": "limit: the pressure turns, the bottom cannot take more",
    "bifurcation": "bifurcation: a second shape opens while the pressure rises",
}


def pressures(mpa: float) -> str:
    """A pressure in psi, MPa and bar."""
    return f"{mpa / PSI:.1f} psi   {mpa:.4f} MPa   {10.0 * mpa:.2f} bar"


def kind_words(record: Record) -> str:
    """What ended the path, in plain words."""
    if record.kind in KIND_WORDS:
        return KIND_WORDS[record.kind]
    if record.kind == "none_below_ceiling":
        return f"none found up to the ceiling of {record.ceiling_mpa / PSI:.1f} psi"
    return f"not known: {record.reason}"


def margin_words(record: Record) -> str:
    """Whether the bottom holds the required pressure and by how much; "" if none is required."""
    required, margin = record.required_pressure_mpa, record.margin
    if required is None:
        return ""
    if margin is None:
        if record.kind == "none_below_ceiling" and record.ceiling_mpa >= required:
            least = record.ceiling_mpa / required - 1.0
            return f"SAFE, margin above {100.0 * least:+.1f} %"
        if record.kind == "none_below_ceiling":
            return "NOT KNOWN, the ceiling lies below it"
        return "NOT KNOWN, no reversal pressure was found"
    word = "SAFE" if margin >= 0.0 else "NOT SAFE"
    text = f"{word}, margin {100.0 * margin:+.1f} %"
    if abs(margin) < record.resolution:
        text += f" (less than the resolution, {100.0 * record.resolution:g} %)"
    return text


def one_line(text: str, length: int = 200) -> str:
    """A text on one line, cut to a length, without what a terminal or a font cannot show."""
    text = "".join(c for c in " ".join(text.split()) if c.isprintable())
    return text if len(text) <= length else text[: length - 1] + "…"
