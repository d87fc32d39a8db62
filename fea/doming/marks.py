"""Marks embossed in the bottom's centre: an estimate of whether a stroke forms them.

Two conditions are needed.  The centre must be carried: the die must touch the whole circle that
contains the marks, which it does from the centre outward as it rises.  And the metal must be
pressed over the marks.  On a one-sided die it is pressed by its own tension alone, 2 T / R,
whatever force the station has: once carried, more stroke or force changes nothing there.

The pressure for a mark is that of a strip of its width, clamped at both sides, pressed in by its
height: 16 M / w^2 with M = Y' t^2 / 4, the plastic moment in plane strain, times 1 + (h/t)^2
up to h = t and 2 h/t beyond, for the strip is stretched too (Haythornthwaite, Engineering 183,
1957, for a load in the middle: from memory; here taken for an even one).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from domemargin.fea.doming.readings import centre_pressure, centre_strain
from domemargin.fea.doming.record import Embossing
from domemargin.fea.metal.materials import yield_curve
from domemargin.fea.stroke.press import FormingSettings
from domemargin.fea.stroke.stages import Formed, form
from domemargin.fea.stroke.stroke import NEAR, Moment
from domemargin.profiles.tooling.parts import Marks, Spring
from domemargin.profiles.tooling.tooling import Tooling

if TYPE_CHECKING:
    from numpy.typing import NDArray

RIGID = 1e6  # N, a station that does not yield before nose and flange meet


def pressure_needed(marks: Marks, gauge: float, strength: float) -> float:
    """Pressure (MPa) that presses sheet of a gauge (mm) and yield stress (MPa) over a mark."""
    plane = 2.0 / math.sqrt(3.0) * strength
    ratio = marks.height / gauge
    stretched = 1.0 + ratio**2 if ratio <= 1.0 else 2.0 * ratio
    return 4.0 * plane * (gauge / marks.width) ** 2 * stretched


def embossing(
    tooling: Tooling, formed: Formed, settings: FormingSettings | None = None
) -> Embossing | None:
    """Whether the stroke forms the marks; None where its end was not reached.

    A stroke that ends before the centre is carried is solved on, on a rigid station.
    """
    stages = dict(formed.stages)
    if "stroke" not in stages or not formed.moments:
        return None
    end, marks = stages["stroke"], tooling.marks
    radius = 0.5 * marks.diameter
    gauge = tooling.blank.gauge
    strength = yield_curve(formed.press.shell.material, centre_strain(formed, end, radius))[0]
    needed = pressure_needed(marks, gauge, strength)
    last = formed.moments[-1]
    pressure = centre_pressure(formed, end, radius)
    counter = 0.0
    if marks.counter_diameter > 0.0:
        # at most: what the flange takes, all of it on the counter-face
        counter = max(last.flange_n, 0.0) / (0.25 * math.pi * marks.counter_diameter**2)
    carried = carried_at(formed.moments, radius)
    if carried is None:
        rigid = tooling.replaced(spring=Spring("constant", RIGID), set=-NEAR)
        carried = carried_at(form(rigid, settings).moments, radius)
    best = max(pressure, counter)
    if carried is None:
        return Embossing(pressure, counter, needed, best / needed, last.carried_mm,
                         None, None, None, None, None)  # fmt: skip
    place, force, depth = carried
    over = tooling.spring.overtravel(force)
    return Embossing(
        pressure,
        counter,
        needed,
        best / needed,
        last.carried_mm,
        float(place - formed.touch_mm),
        float(last.die_mm - place),
        force,
        place - formed.bottom_mm + over if math.isfinite(over) else None,
        last.depth_mm - depth,
    )


def carried_at(moments: tuple[Moment, ...], radius: float) -> tuple[float, float, float] | None:
    """Place of the die, its force and the loaded depth from which on the die touches all of a
    circle; None if it does not at the end."""
    columns: NDArray[np.float64] = np.array([(m.die_mm, m.die_n, m.depth_mm) for m in moments])
    touched = np.array([m.carried_mm for m in moments])
    if touched[-1] < radius:
        return None
    short = np.flatnonzero(touched < radius)
    if short.size == 0:
        row = columns[0]
    else:
        i = int(short[-1])
        share = (radius - touched[i]) / (touched[i + 1] - touched[i])
        row = columns[i] + share * (columns[i + 1] - columns[i])
    return float(row[0]), float(row[1]), float(row[2])
