"""Random profiles over the whole allowed range, and like cans, the same for the same seed.

Ranges of the can-like ones: around common practice, no source, with metals far beyond it (modulus,
kinematic share, no hardening), since inputs that no can has find what inputs that cans have hide.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from domemargin.profiles import Material, Profile, Shape, Sheet
from domemargin.profiles.errors import InputError
from domemargin.profiles.local import Zone
from domemargin.profiles.material import Linear, Swift, Voce

PARTS = ("dome", "shoulder", "inner_leg", "nose", "outer_leg", "heel")
KINDS = ("can", "wide")


def drawn(kind: str, seed: int) -> Profile:
    """The profile of a seed; draws that do not make a bottom are passed over."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    while True:
        try:
            return _can(rng) if kind == "can" else _wide(rng)
        except InputError:
            continue


def neighbour(kind: str, seed: int, share: float = 1e-3) -> tuple[Profile, Profile] | None:
    """A profile and one that differs in one input by a share; None where that makes no bottom."""
    one = drawn(kind, seed)
    rng = np.random.default_rng([seed, 7])
    names = [
        "stand_diameter", "dome_depth", "shoulder_radius", "nose_radius", "heel_radius",
        "body_diameter", "wall_height", "inner_leg_angle", "outer_leg_angle", "bottom_gauge",
        "wall_gauge", "transition_length", "elastic_modulus", "poisson_ratio",
    ]  # fmt: skip
    if one.material.yield_strength is not None:
        names.append("yield_strength")
    name = str(rng.choice(names))
    holder: Any = next(part for part in (one.shape, one.sheet, one.material) if hasattr(part, name))
    try:
        return one, one.replaced(**{name: getattr(holder, name) * (1.0 + share)})
    except InputError:
        return None


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def _metal(rng: np.random.Generator, wide: bool) -> Material:
    modulus = _log(rng, 3e3, 3e5) if wide else float(rng.uniform(60e3, 170e3))
    ratio = float(rng.uniform(0.0, 0.49) if wide else rng.uniform(0.25, 0.37))
    strength = _log(rng, 3.0, 2500.0) if wide else float(rng.uniform(230.0, 360.0))
    law = (
        Voce(float(rng.uniform(0.0, 2000.0 if wide else 80.0)), _log(rng, 3.0, 100.0)),
        Linear(0.0),
        Linear(_log(rng, 10.0, 3e3)),
        Swift(_log(rng, 1e-3, 0.03), float(rng.uniform(0.0, 0.3))),
    )[int(rng.integers(4))]
    share = float((0.0, 0.0, 0.3, 1.0, rng.uniform())[int(rng.integers(5))])
    if rng.uniform() < 0.06:
        return Material(modulus, ratio)
    return Material(modulus, ratio, strength, law, kinematic_share=share)


def _zones(rng: np.random.Generator, strength: float | None) -> tuple[Zone, ...]:
    zones = []
    for _ in range(int(rng.integers(0, 5)) if rng.uniform() < 0.4 else 0):
        given: dict[str, float] = {}
        if rng.uniform() < 0.3:
            given["gauge_factor"] = float(rng.uniform(0.85, 1.1))
        if strength is not None and rng.uniform() < 0.4:
            given["yield_strength"] = strength * float(rng.uniform(0.9, 1.25))
        if strength is not None and (rng.uniform() < 0.5 or not given):
            given["prior_strain"] = float(rng.uniform(0.0, rng.choice((0.02, 0.3))))
        if given:
            blend = float(rng.choice((0.5, rng.uniform(0.5, 5.0))))
            zones.append(Zone(part=str(rng.choice(PARTS)), blend=blend, **given))
    return tuple(zones)


def _can(rng: np.random.Generator) -> Profile:
    draw, count = rng.uniform, int(rng.integers(1, 4))
    stand = float(draw(42.5, 53.0))
    shape = Shape(
        radii_on=str(rng.choice(("mid", "inside", "outside"))),
        stand_diameter=stand,
        dome_depth=float(draw(8.0, 13.5)),
        dome_radius=tuple(sorted(draw(30.0, 60.0, count).tolist(), reverse=True)),
        dome_break_diameter=tuple(sorted(draw(10.0, stand - 16.0, count - 1).tolist())),
        shoulder_radius=float(draw(1.0, 3.0)),
        inner_leg_angle=math.radians(draw(-5.0, 12.0)),
        nose_radius=float(draw(1.0, 2.4)),
        outer_leg_angle=math.radians(draw(45.0, 66.0)),
        heel_radius=float(draw(4.0, 8.5)),
        body_diameter=float(draw(64.5, 68.0)),
        wall_height=float(draw(5.0, 40.0)),
    )
    gauge = float(draw(0.22, 0.35))
    sheet = Sheet(gauge, gauge * float(draw(0.3, 0.6)), float(draw(3.0, 12.0)), float(draw(-3, 5)))
    metal = _metal(rng, wide=False)
    return Profile("can-like", shape, sheet, metal, _zones(rng, metal.yield_strength))


def _wide(rng: np.random.Generator) -> Profile:
    draw, count = rng.uniform, int(rng.integers(1, 4))
    body = _log(rng, 20.0, 200.0)
    stand = body * float(draw(0.4, 0.95))
    shape = Shape(
        radii_on=str(rng.choice(("mid", "inside", "outside"))),
        stand_diameter=stand,
        dome_depth=stand * float(draw(0.03, 0.5)),
        dome_radius=tuple(_log(rng, 0.4 * stand, 5.0 * stand) for _ in range(count)),
        dome_break_diameter=tuple(sorted(draw(0.1 * stand, 0.8 * stand, count - 1).tolist())),
        shoulder_radius=_log(rng, 0.1, 10.0),
        inner_leg_angle=math.radians(draw(-30.0, 60.0)),
        nose_radius=_log(rng, 0.1, 10.0),
        outer_leg_angle=math.radians(draw(10.0, 88.0)),
        heel_radius=_log(rng, 0.1, 20.0),
        body_diameter=body,
        wall_height=_log(rng, 1.0, 300.0),
    )
    sheet = Sheet(
        _log(rng, 0.05, 2.0), _log(rng, 0.03, 2.0), _log(rng, 0.1, 100.0), float(draw(-20, 100))
    )
    metal = _metal(rng, wide=True)
    return Profile("wide", shape, sheet, metal, _zones(rng, metal.yield_strength))
