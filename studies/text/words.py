"""A record in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from domemargin.profiles.units import PSI

if TYPE_CHECKING:
    from domemargin.fea.bottom.onsets import WaveRecord
    from domemargin.fea.core.record import Record, WaveMode

KIND_WORDS = {
    "limit": "limit: the pressure reaches its maximum and falls",
    "bifurcation": "bifurcation: it buckles in waves before the pressure reaches its maximum",
}


def pressures(mpa: float) -> str:
    """A pressure in psi, MPa and bar."""
    return f"{mpa / PSI:.1f} psi   {mpa:.4f} MPa   {10.0 * mpa:.2f} bar"


def kind_words(record: Record) -> str:
    """How the path ended, in plain words."""
    if record.kind in KIND_WORDS:
        return KIND_WORDS[record.kind]
    if record.kind == "none_below_ceiling":
        return f"none found up to the ceiling of {record.ceiling_mpa / PSI:.1f} psi"
    return f"not known: {record.reason}"


def judge_words(record: Record, judge: Record) -> str:
    """The answer of the solid beside that of the shell, in one line."""
    ours, theirs = record.reversal_pressure_mpa, judge.reversal_pressure_mpa
    if theirs is None:
        return f"finds none: {judge.reason}"
    if ours is None:
        return f"{theirs / PSI:.1f} psi, where the shell finds none"
    apart = 100.0 * (ours / theirs - 1.0)
    side = "above" if apart > 0.0 else "below"
    return f"{theirs / PSI:.1f} psi; the shell lies {abs(apart):.2f} % {side} it"


def waves_words(n: int) -> str:
    """The shape of a mode with n circumferential waves."""
    return {0: "all round", 1: "tilting (1 wave)"}.get(n, f"in {n} waves")


def mode_words(mode: WaveMode) -> str:
    """Shape and pressure of an onset."""
    return f"{waves_words(mode.waves)} at {mode.pressure_mpa / PSI:.1f} psi"


def drawn_words(record: WaveRecord) -> str:
    """Which mode is drawn, and whether the bottom reverses before it."""
    mode = record.mode
    if mode is None:
        return "No wave mode found"
    text = f"First wave mode: {mode_words(mode)}"
    if record.theory == "deformation":
        return f"{text}\nby deformation theory, the second opinion; none by flow theory"
    if not mode.before_limit:
        return f"{text}\nafter the limit, while the pressure falls"
    return f"{text}, before the limit"


def stability_words(record: Record | WaveRecord) -> list[str]:
    """Effect of circumferential waves on the reversal pressure, in up to three lines."""
    stability = record.stability
    if stability is None or stability.waves_checked == 0:
        return ["not checked"]
    limit, flow, second = (
        stability.axisymmetric_limit_mpa, stability.flow, stability.deformation
    )  # fmt: skip
    if flow is not None and flow.before_limit:
        lines = [f"{mode_words(flow)}, quoted"]
        if limit is not None:
            lines[0] += f" (all round at {limit / PSI:.1f} psi)"
    else:
        end = "on this path" if limit is None else "before the limit"
        lines = [f"none of 1 to {stability.waves_checked} waves {end}"]
    if record.profile.material.yield_strength is None:
        return lines  # elastic metal: both theories are the same
    lines[0] += " (flow theory)" if flow is None or not flow.before_limit else ""
    if second is None or not second.before_limit:
        return [*lines, "second opinion, deformation theory: no earlier onset"]
    lines.append(f"second opinion, deformation theory: {mode_words(second)}")
    if stability.model_band_mpa is not None:
        low, high = (pressure / PSI for pressure in stability.model_band_mpa)
        lines.append(f"model uncertainty {low:.1f} to {high:.1f} psi, low end known as pessimistic")
    return lines


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
    word = "NOT SAFE" if margin < 0.0 else "IN DOUBT" if inside_model_band(record) else "SAFE"
    text = f"{word}, margin {100.0 * margin:+.1f} %"
    if abs(margin) < record.resolution:
        text += f" (less than the resolution, {100.0 * record.resolution:g} %)"
    return text


def inside_model_band(record: Record) -> bool:
    """Whether a bottom holds only by the theory that is quoted."""
    band = record.stability.model_band_mpa if record.stability is not None else None
    required = record.required_pressure_mpa
    return band is not None and required is not None and band[0] < required <= band[1]


def one_line(text: str, length: int = 200) -> str:
    """A text on one line, cut to a length, without what a terminal or a font cannot show."""
    text = "".join(c for c in " ".join(text.split()) if c.isprintable())
    return text if len(text) <= length else text[: length - 1] + "…"


def duration(seconds: float) -> str:
    """Seconds, minutes or hours, whichever reads well."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    if seconds < 5400.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"
