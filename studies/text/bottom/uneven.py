"""What an uneven bottom holds, as a person reads it and as plain data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from rich.table import Table
from rich.text import Text

from domemargin.fea.around.tolerable import MOST, TolerableUneven
from domemargin.fea.around.uneven import EvenBottom, RingGrowth, UnevenRecord
from domemargin.fea.core.record import CAUTION
from domemargin.profiles.around import Around
from domemargin.profiles.units import PSI
from domemargin.studies.text.bottom.summary import print_head
from domemargin.studies.text.printing import narrow_console
from domemargin.studies.text.words import pressures

WORDS = {
    "dome_tilt": "dome tilt",
    "dome_offset": "dome offset",
    "ovality": "ovality",
    "gauge_difference": "gauge difference",
    "yield_difference": "yield difference",
}


def amount_words(name: str, value: float) -> str:
    """An amount with its unit."""
    if name == "dome_tilt":
        return f"{math.degrees(value):.3g} deg"
    if name.endswith("difference"):
        return f"{100.0 * value:.3g} %"
    return f"{value:.3g} mm"


def around_words(around: Around) -> str:
    """What is uneven, in one line."""
    parts = [
        f"{words} {amount_words(name, getattr(around, name))}"
        for name, words in WORDS.items()
        if getattr(around, name)
    ]
    parts += [f"{w.waves:.0f} waves of {1000.0 * w.height:.3g} um" for w in around.wave]
    parts += [f"dent of {dent.depth:.3g} mm" for dent in around.dent]
    if around.scan is not None:
        parts.append("measured shape")
    return ", ".join(parts) or "nothing"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100.0 * value:.2f} %"


def print_uneven(
    even: EvenBottom,
    found: Sequence[UnevenRecord],
    varied: str | None,
    tolerable: TolerableUneven | None,
) -> None:
    """Pressure against an amount, the stand ring, the tolerable amount."""
    console = narrow_console()
    print_head(console, even.profile)
    console.print()
    pressure = even.record.reversal_pressure_mpa
    answer = pressures(pressure) if pressure is not None else even.record.reason
    console.print(Text(f"Even bottom: reversal pressure  {answer}"))
    last = found[-1]
    if varied is None and not last.around.is_even:
        console.print(Text(f"Uneven: {around_words(last.around)}"))
    console.print()
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for name in (WORDS[varied] if varied else "", "pressure", "lost", "small-wave estimate"):
        table.add_column(name, justify="right")
    for entry in found:
        reached = entry.pressure_mpa
        table.add_row(
            amount_words(varied, getattr(entry.around, varied)) if varied else "uneven",
            f"{reached / PSI:.1f} psi" if reached is not None else entry.kind.replace("_", " "),
            _share(entry.share_lost),
            "-" if entry.estimate_mpa is None else f"{entry.estimate_mpa / PSI:.1f} psi",
        )
    console.print(table)
    for entry in found:
        if entry.pressure_mpa is None:
            console.print(Text(entry.reason))
    rings = [ring for ring in last.growth if ring.growth_mm is not None]
    if rings:
        console.print()
        which = f" at {amount_words(varied, getattr(last.around, varied))}" if varied else ""
        console.print(Text(f"Stand ring{which}:"))
        for ring in rings:
            console.print(Text(ring_words(ring)))
    for ring in last.growth:
        if ring.reason:
            console.print(Text(f"  {ring.pressure_mpa / PSI:.0f} psi: {ring.reason}"))
    if tolerable is not None:
        console.print()
        console.print(Text(tolerable_words(tolerable)))
    if last.estimate_mpa is not None:
        console.print()
        console.print(
            Text("The small-wave estimate takes the shape as made without stretching the metal.")
        )
    console.print(Text(CAUTION, style="italic"))


def ring_words(ring: RingGrowth) -> str:
    """Growth by angle and whether the bottom still stands, in one line."""
    assert ring.growth_mm is not None
    assert ring.permanent_mm is not None
    return (
        f"  {ring.pressure_mpa / PSI:.0f} psi: grows {ring.growth_mm.min():.3f} to "
        f"{ring.growth_mm.max():.3f} mm round the can, keeps {ring.permanent_mm.min():.3f} to "
        f"{ring.permanent_mm.max():.3f} mm;\n"
        f"    then leans by {ring.lean_deg:.3f} deg and departs from a plane by "
        f"{1000.0 * (ring.rock_mm or 0.0):.0f} um (as made "
        f"{1000.0 * (ring.rock_before_mm or 0.0):.0f} um)"
    )


def tolerable_words(found: TolerableUneven) -> str:
    """How much is tolerated, in one sentence."""
    words, held = WORDS[found.name], f"{found.held_mpa / PSI:.1f} psi"
    if found.amount is not None:
        return f"It holds {held} up to a {words} of {amount_words(found.name, found.amount)}."
    if found.reason.startswith("more"):
        most = amount_words(found.name, MOST[found.name])
        return f"It holds {held} with a {words} of {most}, the most that was looked at."
    return f"No {words} is tolerated at {held}: {found.reason}."


def uneven_data(
    even: EvenBottom, found: Sequence[UnevenRecord], tolerable: TolerableUneven | None
) -> dict[str, Any]:
    """One JSON object."""
    return {
        "name": even.profile.name,
        "even": {
            "kind": even.record.kind,
            "reason": even.record.reason,
            "reversal_pressure_mpa": even.record.reversal_pressure_mpa,
        },
        "uneven": [_plain(asdict(entry)) for entry in found],
        "tolerable": None if tolerable is None else asdict(tolerable),
        "caution": CAUTION,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    return value.item() if isinstance(value, np.generic) else value
