"""How much scatter of depth the sheet and the process can explain, from the doming model's slopes.

All of it is a model estimate.  The slopes are those of a first study of doming with a shell of
revolution and are to be replaced by a doming study of the bottom at hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Slopes:
    """Change of dome depth (mm, + deeper) by what changes in doming.

    gauge : by a share of the gauge.  yield_strength : by a share of the yield strength.
    friction : by the coefficient of friction.  set : by the set (mm), + towards the punch.
    source : where they come from.
    """

    gauge: float = 0.3
    yield_strength: float = -0.4
    friction: float = 0.24
    set: float = 1.0
    source: str = "model estimate: a first study of doming"


@dataclass(frozen=True)
class KnownScatter:
    """Scatter that sheet and process are known to have; standard deviations.

    gauge, yield_strength : shares.  friction : of the coefficient.  set : of the set a machine is
    given, mm.  between_lots : share of the variance of the sheet that lies between lots.
    gauge_reading : of the depth gauge itself, mm; from a gauge study where there is one.
    The defaults are common practice, no source.
    """

    gauge: float = 0.006
    yield_strength: float = 0.013
    friction: float = 0.02
    set: float = 0.01
    between_lots: float = 0.3
    gauge_reading: float = 0.004


@dataclass(frozen=True)
class Explained:
    """Standard deviations of depth that are explained, mm.

    lot : between sheet lots.  can : from can to can on one machine and lot.  reading : of the
    gauge.  set : between machines that are set alike.
    """

    lot: float
    can: float
    reading: float
    set: float

    @property
    def sheet(self) -> float:
        """Of sheet and process together."""
        return math.hypot(self.lot, self.can)

    @property
    def seen(self) -> float:
        """What a gauge should see from can to can on one machine and lot."""
        return math.hypot(self.can, self.reading)


def explained_spread(scatter: KnownScatter, slopes: Slopes) -> Explained:
    """Depth scatter that follows from known scatter, first order and independent causes."""
    variance = (
        (slopes.gauge * scatter.gauge) ** 2
        + (slopes.yield_strength * scatter.yield_strength) ** 2
        + (slopes.friction * scatter.friction) ** 2
    )
    return Explained(
        lot=math.sqrt(variance * scatter.between_lots),
        can=math.sqrt(variance * (1.0 - scatter.between_lots)),
        reading=scatter.gauge_reading,
        set=abs(slopes.set) * scatter.set,
    )
