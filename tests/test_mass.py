"""Mass of bottoms and cans, against rings and discs worked out by hand.

Source: Pappus' theorem (any geometry text), volume of a body of revolution of even thickness.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from domemargin.profiles import InputError, Sheet, load_profile
from domemargin.profiles.mass import mass_of

NORTH = load_profile("north")


def test_the_wall_above_is_a_cylinder() -> None:
    low, high = mass_of(NORTH, 60.0), mass_of(NORTH, 115.0)
    # 2 pi r t h rho: r 33 mm, t 0.1 mm, 2.72 g/cm3
    ring = 2.0 * math.pi * 33.0 * 0.1 * 55.0 * 2.72e-3
    assert high.can_g - low.can_g == pytest.approx(ring, rel=1e-9)
    assert high.bottom_g == low.bottom_g


def test_an_even_can_is_line_times_circle_times_gauge() -> None:
    can = replace(NORTH, sheet=Sheet(0.2, 0.2, 5.0))
    line = can.meridian
    s = np.linspace(0.0, line.length, 200_001)
    area = float(np.trapezoid(2.0 * math.pi * line.at(s).r, s))
    top = float(line.at(line.length).z)
    want = area * 0.2 * 2.72e-3 + 2.0 * math.pi * 33.0 * 0.2 * (115.0 - top) * 2.72e-3
    # Pappus with the mid line: curvature adds t^2 / 12 R^2, here less than 1e-3
    assert mass_of(can).can_g == pytest.approx(want, rel=1e-3)


def test_what_is_left_out_is_said() -> None:
    assert "no thicker wall at the neck, no flange, end" in mass_of(NORTH).includes
    with pytest.raises(InputError, match="can height is 5 mm; it must be 20 to 400 mm"):
        mass_of(NORTH, 5.0)
