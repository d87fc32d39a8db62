"""A reversal pressure by far finer mesh, layers and steps: what the usual ones leave."""

from __future__ import annotations

from domemargin.fea.bottom.reversal import (
    ELASTIC_STEP,
    Discretisation,
    plan_of,
    shell_view,
)
from domemargin.fea.core.limit import find_limit
from domemargin.fea.errors import SolveError
from domemargin.profiles.profile import Profile

DENSITY, LAYERS = 2.0, 32
RESOLUTION = 0.00025  # of the steps; an eighth of the usual one


def refined_limit(
    profile: Profile,
    ceiling: float,
    density: float = DENSITY,
    layers: int = LAYERS,
    resolution: float = RESOLUTION,
) -> float | None:
    """The axisymmetric limit with twice the elements and layers and shorter steps, MPa.

    ceiling : up to where it is looked for, MPa.  density, layers : of the mesh and through the
    gauge.  None where no limit was found or the path could not be carried on.
    """
    view = shell_view(profile, Discretisation(density, layers))
    start = view.start()
    try:
        plan = plan_of(profile, view.system, ELASTIC_STEP, ceiling)
    except SolveError:
        return None
    found = find_limit(view.system, start, plan, resolution, view.elastic)
    if found.path.limit is None or found.correction is None or found.unresolved:
        return None
    return found.path.limit.pressure + found.correction
