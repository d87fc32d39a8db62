"""Where points lie beside a meridian: foot, distance and side, in closed form."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.shape.meridian import Meridian, Segment


class Feet(NamedTuple):
    """The nearest places of a meridian to points; every field (n,).

    s : arc length of the foot, mm.  away : distance along the normal, positive into the can, mm.
    phi : tangent angle at the foot, radians.  segment : number of the segment it lies on.
    beyond : distance of the point past an end of the line, along the line, mm; 0 beside it.
    """

    s: Floats
    away: Floats
    phi: Floats
    segment: Ints
    beyond: Floats


def nearest(meridian: Meridian, r: Floats, z: Floats, lift: float = 0.0) -> Feet:
    """The feet of points r, z (n,) in mm on a meridian.

    lift : where a face lies over the line, mm: the distance to that face decides between
    segments, so that points of a face find the arc that it belongs to.
    """
    best = np.full(r.shape, np.inf)
    number = np.zeros(r.shape, dtype=np.int64)
    for i, segment in enumerate(meridian.segments):
        cost = _distance(segment, r, z, lift)
        here = cost < best
        best[here], number[here] = cost[here], i
    s, away, phi, beyond = (np.zeros(r.shape) for _ in range(4))
    last = len(meridian.segments) - 1
    for i, (segment, start) in enumerate(zip(meridian.segments, meridian.breaks)):
        here = number == i
        if not np.any(here):
            continue
        along, _ = _along(segment, r[here], z[here])
        foot = np.clip(along, 0.0, segment.length)
        at = segment.at(foot)
        off_r, off_z = r[here] - at.r, z[here] - at.z
        cos, sin = np.cos(at.phi), np.sin(at.phi)
        s[here], phi[here] = start + foot, at.phi
        away[here] = off_z * cos - off_r * sin
        # past an interior junction the neighbour has a nearer foot
        ends = (along < 0.0) & (i == 0) | (along > segment.length) & (i == last)
        beyond[here] = np.where(ends, np.abs(off_r * cos + off_z * sin), 0.0)
    return Feet(s, away, phi, number, beyond)


def _along(segment: Segment, r: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Place along one segment, not clipped, and offset along the normal there."""
    dr, dz = r - segment.r, z - segment.z
    cos, sin = math.cos(segment.phi), math.sin(segment.phi)
    ahead, left = dr * cos + dz * sin, dz * cos - dr * sin
    k = segment.curvature
    if k == 0.0:
        return ahead, left
    # as seen from the centre, in the frame of the segment's start
    sign = math.copysign(1.0, k)
    toward = sign * (1.0 / k - left)
    along = np.arctan2(ahead, toward) / abs(k)
    # what lies behind the start by less than half a turn is not ahead by more
    whole, middle = 2.0 * math.pi / abs(k), 0.5 * segment.length
    along = along - whole * np.round((along - middle) / whole)
    return along, sign * (1.0 / abs(k) - np.hypot(ahead, toward))


def _distance(segment: Segment, r: Floats, z: Floats, lift: float) -> Floats:
    """Distance of points from a segment's line at the height `lift` over it."""
    along, off = _along(segment, r, z)
    cost = np.abs(off - lift)
    for past, place in ((along < 0.0, 0.0), (along > segment.length, segment.length)):
        if np.any(past):
            end = segment.at(place)
            end_r = float(end.r) - lift * math.sin(float(end.phi))
            end_z = float(end.z) + lift * math.cos(float(end.phi))
            cost[past] = np.hypot(r[past] - end_r, z[past] - end_z)
    return cost
