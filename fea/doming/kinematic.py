"""The same for a bottom that is formed first: forming and reversal by each kinematic share."""

from __future__ import annotations

from dataclasses import replace

from domemargin.fea.bottom.kinematic import SHARES, KinematicBand
from domemargin.fea.doming.doming import solve
from domemargin.fea.doming.record import ALL
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.profiles.units import PSI


def formed_band(tooling: Tooling) -> KinematicBand:
    """Reversal pressure, and permanent growth at 60 psi, of a formed bottom over SHARES."""
    pressures: list[float | None] = []
    growths: list[float | None] = []
    for share in SHARES:
        metal = replace(tooling.material, kinematic_share=share, back_stress=None)
        _, record = solve(tooling.replaced(material=metal), waves=0)
        found = record.reversal.get(ALL)
        pressures.append(None if found is None else found.reversal_pressure_mpa)
        growths.append(None if found is None else found.permanent_mm)
    return KinematicBand(SHARES, tuple(pressures), 60 * PSI, tuple(growths))
