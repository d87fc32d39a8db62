"""The formed state of a bottom's metal, layer by layer: hardening and residual stress."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import check

Floats = NDArray[np.float64]
Rows = tuple[tuple[float, ...], ...]

LAYERED = (
    "plastic_strain",
    "yield_factor",
    "back_meridian",
    "back_hoop",
    "stress_meridian",
    "stress_hoop",
)


@dataclass(frozen=True)
class FormedState:
    """The state of formed metal at rest.

    arc_length : (n,) from the axis along the meridian, increasing, mm.  place : (m,) through the
    gauge, increasing, -1 on the outside to 1 on the inside.  Rows, one per arc length, with one
    entry per place: plastic_strain : equivalent.  yield_factor : on the yield curve (spread.py).
    back_meridian, back_hoop : back stress, MPa.  stress_meridian, stress_hoop : residual, MPa.

    Raises InputError for a value out of range or rows that do not match.
    """

    arc_length: tuple[float, ...]
    place: tuple[float, ...]
    plastic_strain: Rows
    yield_factor: Rows
    back_meridian: Rows
    back_hoop: Rows
    stress_meridian: Rows
    stress_hoop: Rows

    def __post_init__(self) -> None:
        for name in ("arc_length", "place"):
            values = getattr(self, name)
            for i, value in enumerate(values):
                check(f"formed.{name}", value, f"formed.{name}[{i + 1}]")
            if len(values) < 2 or any(b <= a for a, b in pairwise(values)):
                raise InputError(
                    f"formed.{name} has {len(values)} entries; it needs at least two, increasing",
                    f"formed.{name}",
                    str(len(values)),
                    "at least two, increasing",
                )
        shape = (len(self.arc_length), len(self.place))
        for name in LAYERED:
            rows = getattr(self, name)
            if len(rows) != shape[0] or any(len(row) != shape[1] for row in rows):
                raise InputError(
                    f"formed.{name} has {len(rows)} rows; it needs {shape[0]} rows of "
                    f"{shape[1]} entries, one per arc_length and place",
                    f"formed.{name}",
                    f"{len(rows)} rows",
                    f"{shape[0]} rows of {shape[1]}",
                )
            for row in rows:
                for value in row:
                    check(f"formed.{name}", value)

    def at(self, s: Floats, place: Floats) -> dict[str, Floats]:
        """Values at arc lengths s and places, all of one shape: straight lines between entries,
        held beyond the ends of the meridian, carried on to the faces."""
        lengths, places = np.array(self.arc_length), np.array(self.place)
        i, a = _between(lengths, np.clip(s, lengths[0], lengths[-1]))
        j, b = _between(places, place)
        out = {}
        for f in fields(self):
            if f.name not in LAYERED:
                continue
            v = np.array(getattr(self, f.name))
            out[f.name] = (1.0 - a) * ((1.0 - b) * v[i, j] + b * v[i, j + 1]) + a * (
                (1.0 - b) * v[i + 1, j] + b * v[i + 1, j + 1]
            )
        out["plastic_strain"] = np.maximum(out["plastic_strain"], 0.0)
        return out


def _between(x: Floats, at: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Number of the entry before each place, and the share of the way to the next."""
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    return i, (at - x[i]) / (x[i + 1] - x[i])
