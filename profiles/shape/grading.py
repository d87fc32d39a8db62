"""Where the elements of a meridian end.

Counts are fixed for each part, so a mesh follows a changing dimension smoothly and a sweep has
no jumps.  The dome is fine towards its edge and the sidewall towards the heel, over the length
in which bending dies out, sqrt(R t); the parts that the hinge travels through are even.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.shape.meridian import Meridian

# elements at density 1; see the convergence table in tests/test_open_cases.py
COUNTS = {
    "dome": 6,
    "shoulder": 3,
    "inner_leg": 7,
    "nose": 8,
    "outer_leg": 5,
    "heel": 3,
    "sidewall": 3,
}
# share of the part's length at share x of its elements: fine at the end (dome), the start (wall)
_SPACING: dict[str, Callable[[Floats], Floats]] = {
    "dome": lambda x: 1.0 - (1.0 - x) ** 1.6,
    "sidewall": lambda x: x**1.6,
}


def element_ends(meridian: Meridian, density: float = 1.0) -> Floats:
    """(n + 1,) arc lengths at which elements end, mm; every junction of the chain is one.

    density : elements relative to COUNTS; each segment keeps at least two.
    """
    ends = [0.0]
    for part in dict.fromkeys(segment.part for segment in meridian.segments):
        first, last = meridian.span(part)
        cuts = [b for b in meridian.breaks if first - 1e-12 <= b <= last + 1e-12]
        # a part of several arcs (dome zones): its spacing law runs over the whole part
        count = max(2 * (len(cuts) - 1), round(density * COUNTS.get(part, 16)))
        law: Callable[[Floats], Floats] = _SPACING.get(part, lambda x: x)
        even = np.linspace(0.0, 1.0, 401)
        share = np.interp((np.array(cuts) - first) / (last - first), law(even), even)
        for low, high in pairwise(share):
            n = max(2, round(count * (high - low)))
            inner = law(np.linspace(low, high, n + 1))
            ends.extend(first + (last - first) * inner[1:])
        ends[-1] = last
    return np.array(ends)
