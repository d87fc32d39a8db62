"""The axisymmetric solid of a bottom as reversal.py solves it: the judge of the shell."""

from __future__ import annotations

from domemargin.fea.bottom.solid_observe import POINTS_THROUGH, SolidView
from domemargin.fea.solid.solid import SolidBottom, bottom_solid


def elements_through(resolution: float) -> int:
    """Elements through the gauge that a resolution takes; tests/test_solid_bottoms.py."""
    return 2 if resolution > 0.004 else 4 if resolution >= 0.001 else 6


def solid_view(profile: SolidBottom, resolution: float = 0.002) -> SolidView:
    """The solid of a profile for a resolution (share of the reversal pressure).

    Raises InputError for a metal that it cannot represent, and GmshUnavailableError.
    """
    through = elements_through(resolution)
    solid = bottom_solid(profile, through, quadrature=(2, POINTS_THROUGH))
    return SolidView(solid, profile.meridian, through * POINTS_THROUGH)
