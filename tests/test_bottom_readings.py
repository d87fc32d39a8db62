"""What is read off a bottom, against its dimensions, moved by hand, and against thin rings."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from shells import revolve, tube

from domemargin.fea.bottom.observe import ShellView
from domemargin.fea.bottom.readings import carried_to_faces, curve, lowest, zones
from domemargin.fea.bottom.reversal import discretisation, reversal, shell_view
from domemargin.fea.bottom.solid_reversal import solid_view
from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, compliance, pressure_control
from domemargin.fea.core.record import Record
from domemargin.fea.metal.materials import EP
from domemargin.profiles import Along, Profile, Zone, load_profile
from domemargin.profiles.material import Linear, Material
from domemargin.profiles.shape.meridian import Meridian, Segment

G = load_profile(Path(__file__).parent / "data" / "open_case_g.toml")
ELASTIC = G.replaced(material=Material(69e3, 0.33))
FINE = discretisation(0.002)


@lru_cache(maxsize=1)
def solved() -> Record:
    return reversal(G, growth_at=(0.3, 0.5))


# --- heights and travel --------------------------------------------------------------------------


def test_the_shell_has_the_depth_of_the_bottom() -> None:
    """Depth is measured on the outside: the centre's middle lies half a gauge higher."""
    view = shell_view(G, FINE)
    (centre, stand) = view.heights([view.start()])[0]
    assert stand == pytest.approx(0.0, abs=1e-4)
    assert centre - stand == pytest.approx(10.5 + 0.5 * 0.27, abs=1e-4)


def test_the_solid_has_the_depth_of_the_bottom() -> None:
    view = solid_view(G, 0.005)
    (centre, stand) = view.heights([view.start()])[0]
    assert stand == pytest.approx(0.0, abs=1e-3)
    assert centre - stand == pytest.approx(10.5, abs=1e-3)


def test_a_bottom_moved_down_has_travelled_and_grown_by_that() -> None:
    view = shell_view(G, FINE)
    start = view.start()
    down = start.x - np.array([0.0, 0.1, 0.0])
    moved = replace(start, x=down, pressure=0.2, volume=start.volume + 3.0)
    path = curve(view, [start, moved], [1])
    np.testing.assert_allclose(path.centre_travel_mm, [0.0, 0.1], atol=1e-12)
    np.testing.assert_allclose(path.stand_growth_mm, [0.0, 0.1], atol=1e-12)
    # volumes are per radian
    np.testing.assert_allclose(path.swept_volume_mm3, [0.0, 6.0 * math.pi], rtol=1e-12)
    assert path.pressure_mpa.tolist() == [0.0, 0.2]
    assert path.negative_pivots.tolist() == [0, 1]
    # only the nose moved: the dome's centre has not travelled
    nose = np.abs(view.system.s - sum(G.meridian.span("nose")) / 2) < 6.0
    partly = np.where(nose[:, None], down, start.x)
    path = curve(view, [start, replace(start, x=partly)], [0])
    assert path.centre_travel_mm[1] == 0.0
    assert path.stand_growth_mm[1] == pytest.approx(0.1, abs=1e-12)


def test_lowest_of_lines_is_that_of_their_parabola() -> None:
    """Closed form z = c + a (s - s0)^2 with uneven nodes; a line has its lowest node."""
    s = np.array([0.0, 1.0, 1.7, 3.0, 4.5])
    for at, height in ((1.9, -2.0), (1.2, 0.4), (2.8, 1.0)):
        assert lowest(s, height + 0.3 * (s - at) ** 2) == pytest.approx(height, abs=1e-12)
    both = lowest(s, np.stack((1.0 + (s - 2.0) ** 2, 5.0 - (s - 2.0) ** 2)))
    assert both[0] == pytest.approx(1.0, abs=1e-12)
    assert both[1] == pytest.approx(5.0 - 6.25)


# --- growth that stays ---------------------------------------------------------------------------


def test_growth_at_a_pressure_is_that_of_the_path_read_by_hand() -> None:
    """A path of its own, centre and stand read off nodes: loaded, and let off again."""
    record = solved()
    view = shell_view(G, FINE)
    half = 0.5 * 0.27
    plan = Plan(0.1, 400.0, 400.0 / compliance(view.system, view.start()), 4.0, newton=Newton(1e-6))
    state, found = view.start(), []
    for pressure in np.linspace(0.0, 0.5, 61)[1:]:
        state = pressure_control(view.system, state, float(pressure), plan)
    off = pressure_control(view.system, state, 0.0, plan, steps=3)
    for one in (view.start(), state, off):
        low = one.x[:, 1] - half * np.cos(one.x[:, 2])
        found.append((one.x[0, 1], float(low[one.x[:, 0] < 27.0].min())))
    at = record.growth[-1]
    assert at.pressure_mpa == pytest.approx(0.5)
    names = ("centre_travel_mm", "stand_growth_mm")
    for i, name in enumerate(names):
        for head, after in (("", 1), ("permanent_", 2)):
            by_hand = found[0][i] - found[after][i]
            found_here = getattr(at, head + name)
            assert found_here == pytest.approx(by_hand, rel=0.02, abs=5e-4), head + name
    # both stay lower than they were, the centre by more
    assert at.permanent_centre_travel_mm > 1.2 * at.permanent_stand_growth_mm > 0.0
    # below yield nothing stays (Hooke)
    low = reversal(G, waves=0, growth_at=(0.1,)).growth[0]
    assert low.centre_travel_mm > 0.0
    assert abs(low.permanent_centre_travel_mm) < 1e-3 * low.centre_travel_mm
    assert abs(low.permanent_stand_growth_mm) < 1e-3 * low.centre_travel_mm


@pytest.mark.parametrize("metal", ["yields", "elastic"])
def test_the_band_of_theories_ends_at_the_answer(metal: str) -> None:
    """An elastic bottom lets go in waves at four fifths of its limit all round; G all round."""
    record = solved() if metal == "yields" else reversal(ELASTIC, growth_at=())
    assert record.kind == ("limit" if metal == "yields" else "bifurcation")
    assert record.stability is not None
    assert record.stability.theory_band_mpa is not None
    low, high = record.stability.theory_band_mpa
    assert high == record.reversal_pressure_mpa
    onsets = [record.stability.axisymmetric_limit_mpa]
    for mode in (record.stability.flow, record.stability.deformation):
        if mode is not None and mode.before_limit:
            onsets.append(mode.pressure_mpa)
    assert low == min(onsets)


# --- first yield and thinning of a tube ----------------------------------------------------------

MODULUS, NU, YIELD, HARD = 70e3, 0.3, 250.0, 900.0
RADIUS, GAUGE, LENGTH = 50.0, 0.1, 4.0


def ring() -> tuple[ShellView, Plan]:
    """A tube held along the axis at one end; pressure pulls at the other as at a closed end."""
    line = tube(RADIUS, LENGTH)
    shell = revolve(
        line, Material(MODULUS, NU, YIELD, Linear(HARD)), GAUGE, 4, end="phi", start="z phi"
    )
    return ShellView(shell, Meridian((line,))), Plan(
        0.1, 100.0, 0.5, 5.0, newton=Newton(1e-9, 1e-5)
    )


def pressure_of(plastic: float) -> float:
    """Of a closed tube with a plastic hoop strain: axial stress is half the hoop stress, so the
    equivalent stress is sqrt 3 / 2 of it and the metal flows without axial strain (textbook).

    Virtual work, p d(r^2 l / 2) = R L t (tau d(log r) + tau / 2 d(log l)); Hooke.
    """
    hoop = 2.0 / math.sqrt(3.0) * (YIELD + HARD * plastic * 2.0 / math.sqrt(3.0))
    strain = plastic + (1.0 - 0.5 * NU) * hoop / MODULUS
    axial = (0.5 - NU) * hoop / MODULUS
    return hoop * GAUGE / RADIUS / math.exp(2.0 * strain + axial)


def test_first_yield_of_a_closed_tube() -> None:
    """p = 2 / sqrt 3 sigma_y t / R with the stretch at yield; steps are longer than the way to it.

    At a distance y from the middle hoop strain is larger by y / R of what it is less the strain of
    the gauge, (1 + nu) sigma / E in all, so at the inside stress by y / (R (1 - nu)); axial stress
    does not tell, for the equivalent stress has its least there.
    """
    view, plan = ring()
    states = [view.start()]
    for share in (0.7, 1.01):
        states.append(pressure_control(view.system, states[-1], share * pressure_of(0.0), plan))
    assert states[-1].layers[EP].max() > 0.0
    found = view.first_yield(states, plan)
    assert found is not None
    more = 0.5 * GAUGE / RADIUS / (1.0 - NU)
    assert found.pressure_mpa == pytest.approx(pressure_of(0.0) * (1.0 - more), rel=2e-5)
    assert (found.place.part, found.place.face) == ("sidewall", "inside")
    assert view.first_yield(states[:2], plan) is None


def test_thinning_of_a_closed_tube() -> None:
    """It thins by what it widens, and hardens by 2 / sqrt 3 of that (constant volume, Mises)."""
    view, plan = ring()
    state, plastic = view.start(), 0.02
    for share in (0.5, 0.9, 1.0):
        state = pressure_control(view.system, state, share * pressure_of(0.0), plan)
    for one in np.linspace(0.0, plastic, 9)[1:]:
        state = pressure_control(view.system, state, pressure_of(float(one)), plan)
    onset = view.onset(state)
    assert onset.largest_thinning == pytest.approx(1.0 - math.exp(-plastic), rel=0.01)
    assert onset.peak_plastic_strain == pytest.approx(plastic * 2.0 / math.sqrt(3.0), rel=0.01)
    (zone,) = onset.fully_plastic
    assert (zone.part, zone.from_mm, zone.to_mm) == ("sidewall", 0.0, LENGTH)
    assert view.onset(view.start()).fully_plastic == ()


def test_values_are_carried_to_the_faces_in_a_straight_line() -> None:
    """A straight line through the gauge is met at both faces, whatever its points."""
    rng = np.random.default_rng(1)
    xi = np.sort(rng.uniform(-0.95, 0.95, (6, 4)), axis=1)
    level, slope = rng.standard_normal((2, 6, 1))
    found = carried_to_faces(level + slope * xi, xi)
    np.testing.assert_allclose(found, np.hstack((level - slope, level + slope)), rtol=1e-9)
    # each face looks at its own side only
    bent = np.array([[1.0, 1.0, 5.0, 6.0]])
    places = np.array([[-0.8, -0.4, 0.4, 0.8]])
    np.testing.assert_allclose(carried_to_faces(bent, places), [[1.0, 6.5]])


def test_plastic_stretches_reach_half_way_to_the_neighbours() -> None:
    parts = ("dome", "shoulder")
    line = Meridian(tuple(
        Segment(part, 10.0 * i, 0.0, 0.0, 10.0, 0.0) for i, part in enumerate(parts)
    ))  # fmt: skip
    s = np.array([1.0, 4.0, 8.0, 11.0, 15.0, 19.0])
    found = zones(line, s, np.array([True, True, False, True, False, True]))
    assert [(z.part, z.from_mm, z.to_mm) for z in found] == [
        ("dome", 0.0, 6.0), ("shoulder", 9.5, 13.0), ("shoulder", 17.0, 20.0)
    ]  # fmt: skip
    # a later stretch of two points is one
    found = zones(line, s, np.array([True, False, False, False, True, True]))
    assert [(z.part, z.from_mm, z.to_mm) for z in found] == [
        ("dome", 0.0, 2.5), ("shoulder", 13.0, 20.0)
    ]  # fmt: skip
    # one stretch over a junction is one for each part
    found = zones(line, s, np.array([False, False, True, True, False, False]))
    assert [(z.part, z.from_mm, z.to_mm) for z in found] == [
        ("dome", 6.0, 9.5), ("shoulder", 9.5, 13.0)
    ]  # fmt: skip


# --- measured shape and gauge --------------------------------------------------------------------


def measured() -> Profile:
    return G.replaced(along=Along((0.0, 4.0, 12.0, 20.0), offset=(0.05, 0.10, -0.15, 0.0)))


def test_a_measured_offset_goes_into_the_can_in_the_shell() -> None:
    """Positive is into the can: up on the dome.  On a sphere of radius R, whose normal into the
    can points away from its centre, a constant offset d makes one of radius R + d."""
    lifted = G.replaced(along=Along((0.0, 60.0), offset=(0.08, 0.08)))
    shell = shell_view(lifted, FINE).system
    dome = shell.s < 0.9 * G.meridian.span("dome")[1]
    bare = shell_view(G, FINE).system
    radius, centre = G.shape.dome_radii[0], float(bare.reference[0, 1]) - G.shape.dome_radii[0]
    r, z, phi = shell.reference[dome].T
    np.testing.assert_allclose(np.hypot(r, z - centre), radius + 0.08, rtol=1e-12)
    np.testing.assert_allclose(np.tan(-phi), r / (z - centre), atol=1e-12)
    assert z[0] == pytest.approx(float(bare.reference[0, 1]) + 0.08, abs=1e-12)


def test_the_slope_of_a_measured_offset_turns_the_tangent() -> None:
    """The tangent angle is that of the line itself, by differences of its points (numpy)."""
    profile = measured()
    nodes = shell_view(profile, FINE).system
    # away from the junction of dome and shoulder
    inner = (nodes.s > 0.1) & (nodes.s < 0.98 * G.meridian.span("dome")[1])

    def line(x: np.ndarray) -> np.ndarray:
        on = G.meridian.at(x)
        off, _ = profile.offset(x)
        return np.stack((on.r - off * np.sin(on.phi), on.z + off * np.cos(on.phi)))

    s = nodes.s[inner]
    change = (line(s + 1e-5) - line(s - 1e-5)) / 2e-5
    np.testing.assert_allclose(nodes.reference[inner, :2].T, line(s), atol=1e-12)
    angle = np.arctan2(change[1], change[0])
    assert np.abs(nodes.reference[inner, 2] - angle).max() < 1e-6
    # it differs from the chain's by the slope, which is up to 0.04 here
    assert np.abs(angle - G.meridian.at(s).phi).max() > 0.03


def test_a_measured_offset_goes_into_the_can_in_the_solid() -> None:
    profile = measured()
    view = solid_view(profile, 0.005)
    inside, outside = view.faces(view.start())
    middle = 0.5 * (inside + outside)
    bare = solid_view(G, 0.005)
    first = 0.5 * sum(bare.faces(bare.start()))
    assert middle[0, 1] - first[0, 1] == pytest.approx(0.05, abs=1e-6)
    for s, off in ((4.0, 0.10), (12.0, -0.15)):
        on = G.meridian.at(s)
        point = np.array([on.r - off * np.sin(on.phi), on.z + off * np.cos(on.phi)])
        gap = np.linalg.norm(middle - point, axis=1).min()
        near = middle[np.argsort(np.linalg.norm(middle - point, axis=1))[:2]]
        along = (near[1] - near[0]) / np.linalg.norm(near[1] - near[0])
        off_line = (point - near[0]) - along * float((point - near[0]) @ along)
        assert np.linalg.norm(off_line) < 0.004, (s, gap)


def test_a_blended_zone_ends_as_it_begins() -> None:
    """Half a cosine wave at either end, point for point, and the mirror of each other."""
    first, last = 10.0, 12.0
    zone = Zone(start=first, stop=last, prior_strain=0.1, blend=0.6)
    profile = G.replaced(zones=(zone,))
    for distance in (-0.4, -0.3, -0.15, 0.0, 0.2, 0.3, 0.5):
        inside = min(max(distance / 0.6 + 0.5, 0.0), 1.0)
        weight = 0.5 * (1.0 - math.cos(math.pi * inside))
        at_start, at_end = profile.prior_strain([first + distance, last - distance])
        assert at_start == pytest.approx(0.1 * weight, abs=1e-12)
        assert at_end == pytest.approx(0.1 * weight, abs=1e-12)
    edges = zone.edges(G.meridian)
    assert edges == pytest.approx((9.7, 10.3, 11.7, 12.3))


def test_the_gauge_begins_to_change_where_it_is_said_to() -> None:
    """Middle of the heel plus transition_start; half of the change half way (cosine)."""
    first, last = G.meridian.span("heel")
    for start in (-1.5, 0.0, 3.0):
        profile = G.replaced(transition_start=start)
        begin = 0.5 * (first + last) + start
        t0, t1 = 0.27, 0.11
        assert profile.transition == pytest.approx((begin, begin + 8.0))
        found = profile.thickness([begin - 0.5, begin, begin + 4.0, begin + 8.0, begin + 9.0])
        np.testing.assert_allclose(found, [t0, t0, 0.5 * (t0 + t1), t1, t1], rtol=1e-12)
        gauge = shell_view(profile, FINE).system
        expected = [float(profile.thickness(s)) for s in gauge.point_s]
        np.testing.assert_allclose(gauge.gauge, expected, rtol=1e-12)
