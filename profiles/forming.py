"""What forming would leave in the metal of a bottom, estimated from its own dimensions.

Equivalent plastic strain of each part, mean through the gauge, by the bend of its radii and the
stretch that the dome asks for:

    bend B = (2 / sqrt 3) t / (4 radius), the mean of plane-strain bending through the gauge t
    nose       -0.204 + 0.53 B(nose) + 0.81 depth / stand radius
    inner leg  -0.194 + 1.48 B(nose) + 0.67 depth / stand radius     (bent and unbent on the nose)
    outer leg  -0.134 + 0.54 depth / stand radius
    shoulder    0.028 + 1.15 B(shoulder)
    dome 0.031, heel 0.033

fitted to the doming model on 54 random tools (nose radius 1.3 to 1.8 mm, gauge 0.24 to 0.29 mm,
depth over stand radius 0.41 to 0.46, no kinematic share); it leaves 0.002 to 0.007 of strain.  Half
of it is taken as prior strain: the other half makes up for residual stress, which this estimate
does not hold.  On 50 other random tools, the estimate against the whole formed state, on the
formed line (tests/test_formed_estimate.py): limit +1.1 % in the mean, standard deviation 5.8 %,
from -4 to +25 %; permanent growth at 60 psi +0.02 mm, standard deviation 0.06 mm, where metal that
is not formed has 0.32 mm too much.
"""

from __future__ import annotations

import math

from domemargin.profiles.local import Zone
from domemargin.profiles.shape.shape import Shape, Sheet

TAKEN = 0.5  # of the strain that forming leaves
LARGEST = 0.3  # of that strain
# what was measured against the doming model, see above: shown beside the estimate
LIMIT_ERROR, GROWTH_ERROR, TOOLS = 0.06, 0.06, 50


def forming_strains(shape: Shape, sheet: Sheet) -> dict[str, float]:
    """Equivalent plastic strain that forming leaves in each part, mean through the gauge."""

    def bend(radius: float) -> float:
        return 2.0 / math.sqrt(3.0) * sheet.bottom_gauge / (4.0 * radius)

    nose, shoulder = bend(shape.nose_radius), bend(shape.shoulder_radius)
    rise = shape.dome_depth / (0.5 * shape.stand_diameter)
    strains = {
        "dome": 0.0305,
        "shoulder": 0.0278 + 1.149 * shoulder,
        "inner_leg": -0.1939 + 1.480 * nose + 0.6748 * rise,
        "nose": -0.2035 + 0.5345 * nose + 0.8054 * rise,
        "outer_leg": -0.1337 + 0.5360 * rise,
        "heel": 0.0325,
    }
    return {part: min(max(strain, 0.0), LARGEST) for part, strain in strains.items()}


def forming_zones(shape: Shape, sheet: Sheet) -> tuple[Zone, ...]:
    """The estimate as zones of prior strain."""
    strains = forming_strains(shape, sheet)
    return tuple(
        Zone(part=part, prior_strain=round(TAKEN * strain, 5)) for part, strain in strains.items()
    )
