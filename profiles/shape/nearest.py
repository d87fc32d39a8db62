"""Where points lie beside a meridian: foot, distance and side, in closed form."""

from __future__ import annotations

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


def nearest(meridian: Meridian, r: Floats, z: Floats, lift: Floats | float = 0.0) -> Feet:
    """The feet of points r, z (n,) in mm on a meridian.

    lift : where a face lies over the line, mm (a number or (n_segments,)): the distance to it
    decides between segments, so that points of a face find the arc that it belongs to.
    """
    lifts = np.broadcast_to(np.asarray(lift, dtype=float), (len(meridian.segments),))
    best = np.full(r.shape, np.inf)
    s, away, phi = (np.zeros(r.shape) for _ in range(3))
    number = np.zeros(r.shape, dtype=np.int64)
    beyond = np.zeros(r.shape)
    last = len(meridian.segments) - 1
    for i, (segment, start) in enumerate(zip(meridian.segments, meridian.breaks)):
        along, angle, off, past = _on(segment, r, z)
        # past an interior junction the neighbour has a nearer foot
        cost = np.hypot(off - lifts[i], past)
        here = cost < best
        best = np.where(here, cost, best)
        s = np.where(here, start + along, s)
        away, phi = np.where(here, off, away), np.where(here, angle, phi)
        number = np.where(here, i, number)
        at_end = (i == 0) & (along <= 0.0) | (i == last) & (along >= segment.length)
        beyond = np.where(here, np.where(at_end, past, 0.0), beyond)
    return Feet(s, away, phi, number, beyond)


def _on(segment: Segment, r: Floats, z: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Foot on one segment, its tangent angle, offset along the normal and what lies past an end."""
    dr, dz = r - segment.r, z - segment.z
    cos, sin = np.cos(segment.phi), np.sin(segment.phi)
    ahead, left = dr * cos + dz * sin, dz * cos - dr * sin
    k = segment.curvature
    if k == 0.0:
        along = ahead
    else:
        # turned by which a point is seen from the centre, in the frame of the segment's start
        turn = np.arctan2(ahead, np.sign(k) * (1.0 / k - left)) * np.sign(k)
        along = turn / k
        # what lies behind the start by less than half a turn is not ahead by more
        round_once = 2.0 * np.pi / abs(k)
        middle = 0.5 * segment.length
        along = along - round_once * np.round((along - middle) / round_once)
    foot = np.clip(along, 0.0, segment.length)
    at = segment.at(foot)
    off_r, off_z = r - at.r, z - at.z
    cos, sin = np.cos(at.phi), np.sin(at.phi)
    off, past = off_z * cos - off_r * sin, off_r * cos + off_z * sin
    past = np.where(foot == along, 0.0, np.abs(past))
    return foot, at.phi, off, past
