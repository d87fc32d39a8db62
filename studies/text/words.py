"""A record in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from domemargin.profiles.units import PSI

if TYPE_CHECKING:
    from domemargin.fea.bottom.onsets import WaveRecord
    from domemargin.fea.core.record import Record, WaveMode
    from domemargin.studies.verdict.budget import Verdict

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
        return f"{text}\nby deformation theory, the theory check; none by flow theory"
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
        return [*lines, "theory check: no earlier onset by deformation theory"]
    found = stability.theory_band_mpa
    below = ""
    if found is not None and found[1] > 0.0:
        below = f"{100.0 * (1.0 - second.pressure_mpa / found[1]):.0f} % lower, "
    return [
        *lines,
        f"theory check, deformation theory: {mode_words(second)},",
        f"{below}not counted (why: guide, What the model covers)",
    ]


def stability_sentences(record: Record) -> list[str]:
    """The same as stability_words, without its line breaks."""
    out: list[str] = []
    for line in stability_words(record):
        if out and out[-1].endswith(","):
            out[-1] += f" {line}"
        else:
            out.append(line)
    return out


def margin_words(record: Record, verdict: Verdict | None = None) -> str:
    """Whether the bottom holds the required pressure and by how much; "" if none is required.

    verdict : with own tests or known inputs; by default that of the record alone.
    """
    from domemargin.studies.text.verdict import verdict_words
    from domemargin.studies.verdict.answer import verdict_of_record

    found = verdict_of_record(record) if verdict is None else verdict
    return "" if found is None else verdict_words(found)


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
