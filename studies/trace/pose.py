"""How a trace lies: which end is up, where the axis is, one side or both; first dimensions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError
from domemargin.profiles.limits import LIMITS
from domemargin.profiles.shape.chain import Chain, solve
from domemargin.profiles.shape.shape import Shape, Sheet

_EDGE = 0.72  # share of the stand radius within which the dome is looked for


class Pose(NamedTuple):
    """From the frame of the file to that of a bottom.

    across, up : 1 or -1, the file's axes turned round or not.  both : whether points lie on both
    sides of the axis.  axis : x of the axis, floor : z of the stand plane, in the turned frame, mm.
    tilt : of the bottom's axis against the file's, radians.
    """

    across: int
    up: int
    both: bool
    axis: float
    floor: float
    tilt: float = 0.0

    def placed(self, x: Floats, z: Floats) -> tuple[Floats, Floats]:
        """Signed distance from the axis and height over the stand plane, (n,) mm each."""
        dx, dz = self.across * x - self.axis, self.up * z - self.floor
        cos, sin = math.cos(self.tilt), math.sin(self.tilt)
        return cos * dx + sin * dz, cos * dz - sin * dx


class Start(NamedTuple):
    """A pose and closed dimensions to start a fit from."""

    pose: Pose
    shape: Shape


def starts(x: Floats, z: Floats, base: Shape, sheet: Sheet, lift: float) -> Iterator[Start]:
    """Ways in which the points (n,) may be a bottom, with closed chains near each.

    base : what cannot be read off.  lift : of the traced face over the mid surface, mm.
    """
    for up in (1, -1):
        for pose in _poses(x, up * z, up):
            read = _read_off(*pose.placed(x, z), pose, base, lift)
            if read is None:
                continue
            found, shape = read
            for closed in _closed(shape, base, sheet):
                yield Start(found, closed)


def _poses(x: Floats, z: Floats, up: int) -> Iterator[Pose]:
    """z : turned already.  Axis in the middle, at the left, at the right."""
    low, high = float(np.min(x)), float(np.max(x))
    floor = float(np.quantile(z, 0.002))
    middle = 0.5 * (low + high)
    rings = []
    for side in (x < middle, x >= middle):
        at = np.flatnonzero(side)
        if at.size < 10:
            break
        deep = at[z[at] <= np.quantile(z[at], 0.01)]
        rings.append((float(np.median(x[deep])), float(np.median(z[deep]))))
    height = float(np.ptp(z))
    if len(rings) == 2 and abs(rings[0][1] - rings[1][1]) < 0.3 * height:
        (x0, _), (x1, _) = rings
        centre = z[np.abs(x - 0.5 * (x0 + x1)) < 0.1 * (x1 - x0)]
        if centre.size and np.median(centre) - floor > 0.05 * (x1 - x0):
            yield Pose(1, up, True, 0.5 * (x0 + x1), floor)
    yield Pose(1, up, False, low, floor)
    yield Pose(-1, up, False, -high, floor)


def circle(x: Floats, z: Floats) -> tuple[float, float, float]:
    """Centre and radius of the circle nearest to points, robustly.

    Algebraic least squares (Kasa 1976), points far off left out in three rounds.
    """
    keep = np.ones(x.size, dtype=bool)
    centre = (0.0, 0.0, 0.0)
    for _ in range(4):
        rows = np.stack((x[keep], z[keep], np.ones(np.count_nonzero(keep))), axis=1)
        a, b, c = np.linalg.lstsq(rows, x[keep] ** 2 + z[keep] ** 2, rcond=None)[0]
        radius = math.sqrt(max(c + 0.25 * (a * a + b * b), 1e-9))
        centre = (0.5 * a, 0.5 * b, radius)
        off = np.abs(np.hypot(x - centre[0], z - centre[1]) - radius)
        keep = off <= max(3.0 * float(np.median(off)), 1e-6)
        if np.count_nonzero(keep) < 6:
            break
    return float(centre[0]), float(centre[1]), float(centre[2])


def _read_off(
    u: Floats, h: Floats, pose: Pose, base: Shape, lift: float
) -> tuple[Pose, Shape] | None:
    """Pose and dimensions as the placed points show them; None where they show no bottom."""
    r = np.abs(u)
    near_floor = r[h < max(0.02 * float(np.ptp(h)), float(np.quantile(h, 0.01)))]
    if near_floor.size < 3:
        return None
    ring = float(np.median(near_floor))
    dome = r < _EDGE * ring
    if ring < 5.0 or np.count_nonzero(dome) < 20:
        return None
    centre, up, radius = circle(u[dome], h[dome])
    depth = up + radius
    if depth < 0.4 or up > h[dome].min() or radius > 450.0 or abs(centre) > 0.3 * ring:
        return None
    pose = pose._replace(axis=pose.axis + centre)
    r = np.abs(u - centre)
    ring = float(np.median(r[h < max(0.02 * float(np.ptp(h)), float(np.quantile(h, 0.01)))]))
    # the dome goes on to where the circle and the points part
    leg = (h > 0.25 * depth) & (h < 0.55 * depth) & (r < ring) & (r > _EDGE * ring)
    inner = _lean(r[leg], h[leg], -1.0)
    wall_r = float(np.quantile(r, 0.998))
    outer_leg = (r > ring + base.nose_radius) & (r < ring + 0.6 * (wall_r - ring))
    outer = _lean(r[outer_leg], h[outer_leg], 1.0)
    foot = (np.abs(r - ring) < 0.8) & (h < 0.5)
    nose = base.nose_radius
    if np.count_nonzero(foot) >= 8:
        nose = min(max(circle(r[foot], h[foot])[2], 0.3), 5.0) + lift
    body = base.body_diameter + 2.0 * ring - base.stand_diameter
    steep = r > wall_r - 0.3
    if wall_r > ring + 2.0 and np.ptp(h[steep]) > 1.0:
        body = 2.0 * wall_r
    changes: dict[str, Any] = {
        "stand_diameter": 2.0 * ring,
        "dome_depth": depth,
        "dome_radius": radius,
        "dome_break_diameter": (),
        "nose_radius": max(nose, 0.3),
        "body_diameter": body,
    }
    if inner is not None:
        changes["inner_leg_angle"] = inner
    if outer is not None:
        changes["outer_leg_angle"] = outer
    shape = changed(base, changes)
    return None if shape is None else (pose, shape)


def _lean(r: Floats, h: Floats, side: float) -> float | None:
    """Angle from vertical of a leg that goes outward going down (side -1) or up (side 1)."""
    if r.size < 6 or np.ptp(h) < 0.3:
        return None
    slopes = np.diff(r)[np.abs(np.diff(h)) > 0.02] / np.diff(h)[np.abs(np.diff(h)) > 0.02]
    if side < 0:
        fit = np.polyfit(h, r, 1)[0]
        return math.atan(-float(fit))
    rise = np.polyfit(r, h, 1)[0] if np.ptp(r) > 0.3 else 1.0 / float(np.median(slopes))
    return 0.5 * math.pi - math.atan(float(rise))


def changed(shape: Shape, changes: dict[str, Any]) -> Shape | None:
    """The shape with some dimensions changed; None where one is out of range."""
    try:
        return replace(shape, **changes)
    except InputError:
        return None


def _closed(shape: Shape, base: Shape, sheet: Sheet) -> Iterator[Shape]:
    """Up to three closed chains near a shape."""
    count = 0
    for shoulder in (base.shoulder_radius, 1.0, 2.2):
        for inner in (shape.inner_leg_angle, base.inner_leg_angle, 0.0, 0.08, -0.08):
            for nose in (shape.nose_radius, base.nose_radius):
                for heel in (base.heel_radius, 0.7 * base.heel_radius):
                    for outer in (shape.outer_leg_angle, base.outer_leg_angle):
                        tried = changed(shape, {
                            "shoulder_radius": shoulder, "inner_leg_angle": inner,
                            "nose_radius": nose, "heel_radius": heel, "outer_leg_angle": outer,
                        })  # fmt: skip
                        if tried is not None and isinstance(solve(tried, sheet), Chain):
                            yield tried
                            count += 1
                            break
                    if count >= 3:
                        return


def within(name: str, value: float) -> bool:
    """Whether a value is one that profiles/limits.py allows."""
    _, low, high = LIMITS[f"shape.{name}"]
    return low <= value <= high
