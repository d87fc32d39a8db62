"""The uneven shell against the even shell, the waves' second variation, differences and symmetry.

Sources: the even shell and its waves, which have their own references (tests of fea/shell and
fea/waves); central differences; logm and rotations of scipy; invariance of space.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import logm
from scipy.spatial.transform import Rotation

from domemargin.fea.bottom.reversal import Discretisation, shell_of
from domemargin.fea.core.path import Control, Newton, take_step
from domemargin.fea.metal.layers import LANES, layer_stresses
from domemargin.fea.metal.materials import encode
from domemargin.fea.shell.shell import Shell
from domemargin.fea.uneven import rotation
from domemargin.fea.uneven.given import STATE, STRESSES
from domemargin.fea.uneven.harmonics import Round
from domemargin.fea.uneven.layers import OWN_LANES, SUMS, layer_sums
from domemargin.fea.uneven.mirror import leaves_symmetry, whole_state
from domemargin.fea.uneven.shape import is_mirrored, moved_nodes, shell_around
from domemargin.fea.uneven.shell import UnevenShell, uneven_shell
from domemargin.fea.waves.waves import held, wave_tangent
from domemargin.profiles import Around, Material, Voce, Wave, load_profile
from domemargin.profiles.arrays import Floats

NORTH = load_profile("north")
COARSE = Discretisation(0.5, 6)
TIGHT = Newton(tolerance=1e-9, iterations=25)
ELASTIC = Material(name="elastic", elastic_modulus=70000.0, poisson_ratio=0.33)
YIELDING = Material(
    name="yielding",
    elastic_modulus=70000.0,
    poisson_ratio=0.33,
    yield_strength=250.0,
    hardening=Voce(60.0, 20.0),
    kinematic_share=0.3,
)
VOLUME, PRESSURE = 700.0, 1.0  # scales of the steps below


def north(elastic: bool) -> Shell:
    return shell_of(replace(NORTH, material=ELASTIC) if elastic else NORTH, COARSE)


def steps(shell: Shell | UnevenShell, count: int, length: float = 60.0) -> list:
    """States by swept volume, each a step from the one before."""
    states = [shell.start()]
    for _ in range(count):
        control = Control(1.0, 0.0, VOLUME, PRESSURE, length / VOLUME)
        states.append(take_step(shell, states[-1], control, TIGHT).state)
    return states


def product(band: Floats, vector: Floats) -> Floats:
    """A symmetric lower band times a vector."""
    width = band.shape[1] - 1
    out = band[:, width] * vector
    for k in range(width):
        shift = width - k
        out[shift:] += band[shift:, k] * vector[:-shift]
        out[:-shift] += band[shift:, k] * vector[shift:]
    return out


def dense(band: Floats) -> Floats:
    n, width = band.shape[0], band.shape[1] - 1
    full = np.zeros((n, n))
    for k in range(width + 1):
        rows = np.arange(width - k, n)
        full[rows, rows - width + k] = band[rows, k]
    return full + np.tril(full, -1).T


@pytest.mark.parametrize("half", [True, False])
def test_even_bottom_follows_the_path_of_the_even_shell(half: bool) -> None:
    even = north(elastic=False)
    states = steps(even, 4)
    uneven = steps(uneven_shell(even, Round(2, 6, half)), 4)
    assert states[-1].layers[0].max() > 0.005  # metal yields
    for one, other in zip(states[1:], uneven[1:]):
        assert other.pressure == pytest.approx(one.pressure, rel=1e-10)
        assert np.abs(other.x[:, :3, 0] - one.x).max() < 1e-10
        assert np.abs(other.x[:, :, 1:]).max() < 1e-10
        assert np.abs(other.stress[0, :3] - one.stress).max() < 1e-7


@pytest.mark.parametrize("elastic", [True, False])
def test_tangent_is_the_derivative_of_the_forces(elastic: bool) -> None:
    even = north(elastic)
    shape = Around(dome_tilt=0.03, offset_angle=0.7, dome_offset=0.2, gauge_difference=0.1)
    shell = shell_around(even, NORTH.meridian, shape, Round(2, 7, False))
    state = steps(shell, 2)[-1]
    rng = np.random.default_rng(3)
    free = np.ones(shell.n, dtype=bool)
    free[shell.body.fixed] = False
    u = state.x.ravel() + 2e-3 * rng.normal(size=shell.n) * free
    way = rng.normal(size=shell.n) * free
    found = shell.evaluate(u, 0.4, state)
    h = 1e-7
    up, down = shell.evaluate(u + h * way, 0.4, state), shell.evaluate(u - h * way, 0.4, state)
    slope = (up.residual - down.residual) / (2.0 * h)
    exact = product(found.band, way) * free
    assert np.abs(slope - exact).max() < 3e-7 * np.abs(exact).max()
    assert (up.volume - down.volume) / (2.0 * h) == pytest.approx(
        float(found.gradient @ way), rel=1e-6
    )


def test_forces_are_the_derivative_of_elastic_energy() -> None:
    """Work round a closed way is nothing."""
    even = north(elastic=True)
    shell = shell_around(even, NORTH.meridian, Around(dome_tilt=0.02), Round(2, 8))
    start = shell.start()
    rng = np.random.default_rng(5)
    free = np.ones(shell.n, dtype=bool)
    free[shell.body.fixed] = False
    corners = [start.x.ravel() + 1e-2 * rng.normal(size=shell.n) * free for _ in range(3)]
    x, w = np.polynomial.legendre.leggauss(12)
    work, size = 0.0, 0.0
    for a, b in zip(corners, corners[1:] + corners[:1]):
        parts = [
            0.5 * weight * float(shell.evaluate(at, 0.3, start).residual @ (b - a))
            for at, weight in zip((a + 0.5 * (1.0 + xi) * (b - a) for xi in x), w)
        ]
        work += sum(parts)
        size += sum(abs(part) for part in parts)
    assert abs(work) < 1e-9 * size


def test_elastic_tangent_about_an_even_state_is_that_of_the_waves() -> None:
    even = north(elastic=True)
    shell = uneven_shell(even, Round(3, 8))
    before, state = steps(even, 3)[-2:]
    uneven_before, uneven_state = steps(shell, 3)[-2:]
    # the waves are counted from the state itself, with the layers where the step had them
    there = replace(uneven_before, x=uneven_state.x, director=uneven_state.director)
    found = shell.evaluate(uneven_state.x.ravel(), uneven_state.pressure, there)
    full = dense(found.band).reshape(*uneven_state.x.shape, *uneven_state.x.shape)
    tangent = wave_tangent(even, before, state)
    for n in range(4):
        ours = full[:, :, n][:, :, :, :, n].reshape(5 * len(even.s), -1) * (2.0 if n else 1.0)
        theirs = dense(tangent.band(n))
        free = np.ones(len(ours), dtype=bool)
        free[held(even, n)] = False
        ours, theirs = ours[free][:, free], theirs[free][:, free]
        kind = np.tile(np.arange(5), len(even.s))[free]
        for a in range(5):
            for b in range(a + 1):
                block = np.ix_(kind == a, kind == b)
                if theirs[block].size and np.abs(theirs[block]).max() > 0.0:
                    scale = math.sqrt(
                        np.abs(theirs[np.ix_(kind == a, kind == a)]).max()
                        * np.abs(theirs[np.ix_(kind == b, kind == b)]).max()
                    )
                    assert np.abs(ours[block] - theirs[block]).max() < 1e-10 * scale
    # harmonics do not act on each other about an even state
    assert np.abs(full[:, :, 1][:, :, :, :, 2]).max() < 1e-9 * np.abs(full).max()


def test_plastic_tangent_tends_to_that_of_the_waves_with_short_steps() -> None:
    """The waves take the elastic shear modulus, the step's own is that of the return map."""
    even = north(elastic=False)
    shell = uneven_shell(even, Round(2, 6))
    far = []
    for length in (20.0, 2.0):
        base, uneven_base = steps(even, 4)[-1], steps(shell, 4)[-1]
        control = Control(1.0, 0.0, VOLUME, PRESSURE, length / VOLUME)
        state = take_step(even, base, control, TIGHT).state
        other = take_step(shell, uneven_base, control, TIGHT).state
        found = shell.evaluate(other.x.ravel(), other.pressure, uneven_base)
        full = dense(found.band).reshape(*other.x.shape, *other.x.shape)
        ours = 2.0 * full[:, :, 2][:, :, :, :, 2].reshape(5 * len(even.s), -1)
        theirs = dense(wave_tangent(even, base, state).band(2))
        far.append(np.abs(ours - theirs).max() / np.abs(theirs).max())
    assert far[1] < 0.2 * far[0] < 0.02


def tilted(even: Shell, angle: float, round_: Round) -> Floats:
    """The whole can turned by an angle about a line across it, in full."""
    count = 64
    theta = 2.0 * np.pi * np.arange(count) / count
    r, z = even.reference[:, 0, None], even.reference[:, 1, None]
    cos, sin = math.cos(angle), math.sin(angle)
    dx, dz = r * np.cos(theta) * (cos - 1.0) - z * sin, r * np.cos(theta) * sin + z * (cos - 1.0)
    moved = np.zeros((len(even.s), 5, round_.count))
    for field, values, table in (
        (0, dx * np.cos(theta), np.cos), (3, -dx * np.sin(theta), np.sin), (1, dz, np.cos),
    ):  # fmt: skip
        for n in range(round_.harmonics + 1):
            share = (1.0 if n == 0 else 2.0) / count
            moved[:, field, n] = share * values @ table(n * theta)
    moved[:, 2, 1] = angle
    return moved


def test_rigid_tilt_of_the_whole_can_changes_nothing() -> None:
    even = north(elastic=False)
    round_ = Round(3, 12)
    straight = uneven_shell(even, round_)
    leaning = uneven_shell(even, round_, tilted(even, 0.1, round_))
    # the tilt is no strain, and the metal has the same area
    assert np.abs(leaning.body.layer_weight / straight.body.layer_weight - 1.0).max() < 1e-12
    # nor is it on the way: from straight to leaning
    start = straight.start()
    found = straight.evaluate(leaning.reference.ravel(), 0.0, start)
    other = 1e-3 * (leaning.reference - straight.reference)[:, ::-1]
    strained = straight.evaluate((straight.reference + other).ravel(), 0.0, start)
    assert np.abs(found.residual).max() < 1e-9 * np.abs(strained.residual).max()
    for a, b in zip(steps(straight, 4)[1:], steps(leaning, 4)[1:]):
        # turns between nodes are joined in another way where the can leans: of the mesh's order
        assert b.pressure == pytest.approx(a.pressure, rel=1e-5)


@pytest.mark.parametrize(
    ("elastic", "turn", "within"),
    [(True, 0.4, 1e-8), (False, 3.0 * 2.0 * math.pi / 20.0, 1e-8), (False, 0.4, 1e-5)],
)
def test_a_turned_shape_has_the_same_path(elastic: bool, turn: float, within: float) -> None:
    """By angles that are a multiple of the stations' spacing and that are not.

    Where metal yields its stress has kinks round the can, which stations between them sample
    otherwise: there a turn shows, and falls with the number of stations.
    """
    even = north(elastic)
    paths = []
    for angle in (0.0, turn):
        around = Around(
            dome_offset=0.05, offset_angle=angle, wave=(Wave(2, 0.02, 0.3 + angle),),
            gauge_difference=0.01, gauge_angle=angle,
        )  # fmt: skip
        assert not is_mirrored(around, NORTH.meridian)
        paths.append(steps(shell_around(even, NORTH.meridian, around, Round(3, 20, False)), 3))
    for a, b in zip(*paths):
        assert b.pressure == pytest.approx(a.pressure, rel=within, abs=1e-12)


def test_half_and_whole_can_agree() -> None:
    even = north(elastic=False)
    around = Around(dome_tilt=0.01, wave=(Wave(2, 0.02),))
    assert is_mirrored(around, NORTH.meridian)
    half, whole = (
        steps(shell_around(even, NORTH.meridian, around, Round(3, 12, half)), 3)
        for half in (True, False)
    )
    for a, b in zip(half, whole):
        assert b.pressure == pytest.approx(a.pressure, rel=1e-9, abs=1e-12)
        assert np.abs(a.x - b.x[:, :, :4]).max() < 1e-8


@pytest.mark.parametrize("elastic", [True, False])
def test_the_whole_can_answers_at_a_mirrored_state_as_the_half_does(elastic: bool) -> None:
    even = north(elastic)
    around = Around(dome_tilt=0.02, wave=(Wave(2, 0.03),))
    half = shell_around(even, NORTH.meridian, around, Round(3, 12))
    whole = shell_around(even, NORTH.meridian, around, Round(3, 12, False))
    before, state = steps(half, 3)[-2:]
    at, back = whole_state(state, 7), whole_state(before, 7)
    found = whole.evaluate(at.x.ravel(), state.pressure, back)
    own = half.evaluate(state.x.ravel(), state.pressure, before)
    force = found.residual.reshape(at.x.shape)
    size = np.abs(own.gradient).max()
    assert np.abs(force[:, :, :4] - own.residual.reshape(state.x.shape)).max() < 1e-9 * size
    assert np.abs(force[:, :, 4:]).max() < 1e-9 * size
    # metal that starts elsewhere would show in the stress
    assert np.abs(found.trial[1] - whole_state(state, 7).stress).max() < 1e-6
    assert not leaves_symmetry(half, whole, before, state)


def test_moved_nodes_have_normal_directors() -> None:
    """A small wave leaves no shear of first order: doubled, what is left is four times as much."""
    even = north(elastic=True)
    left = []
    for height in (0.02, 0.04):
        around = Around(wave=(Wave(3, height),))
        shell = shell_around(even, NORTH.meridian, around, Round(6, 18))
        smooth = uneven_shell(even, Round(6, 18))
        left.append(np.abs(shell.body.shear[:, :, 1] - smooth.body.shear[:, :, 1]).mean())
        moved = moved_nodes(even, NORTH.meridian, around, Round(6, 18))
        assert np.abs(moved[:, :2, [1, 2, 4, 5, 6]]).max() < 1e-12
    assert left[1] < 2.2 * left[0]


def test_director_turns_as_space_does() -> None:
    w, d = np.array([0.4, -0.9, 0.5]), np.array([0.2, 0.3, -0.8])
    cs, out = np.zeros((4, 3)), np.zeros(3)
    rotation.coefficients(float(w @ w), np.zeros(40), cs)
    rotation.turned(w, d, cs, out)
    assert out == pytest.approx(Rotation.from_rotvec(w).apply(d), abs=1e-15)


class _Layers:
    """One point of four layers with given metric and shears, for a metal."""

    def __init__(self, material: Material) -> None:
        self.material, self.first = encode(material), np.array([0, 4])
        self.old = np.zeros((STATE, 4))

    def __call__(self, metric: Floats, shears: tuple[float, float] = (0.0, 0.0)) -> Floats:
        """(STRESSES,) of lengths with metric (2, 2) over unit ones; keeps the new state."""
        measures = np.zeros((1, 11))
        measures[0, :3] = metric[0, 0], metric[1, 1], metric[0, 1]
        measures[0, 9:] = shears
        self.new, stress, sums = np.zeros((STATE, 4)), np.zeros((STRESSES, 4)), np.zeros((1, SUMS))
        inverse = np.stack((np.ones(4), np.ones(4), np.zeros(4)))
        layer_sums(
            self.material, self.first, measures, np.array([[0.0, 0.0, 0.0, 1.0]]), np.zeros(4),
            inverse, np.ones(4), np.ones(4), self.old, np.zeros(LANES), np.zeros(OWN_LANES),
            self.new, stress, sums,
        )  # fmt: skip
        return stress[:, 0]


def strained(e1: float, e2: float, angle: float) -> Floats:
    """Metric of logarithmic strains e1 and e2 along axes at an angle to the meridian."""
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return turn @ np.diag([math.exp(2.0 * e1), math.exp(2.0 * e2)]) @ turn.T


def test_logarithmic_strain_is_half_the_matrix_logarithm() -> None:
    """Stress of elastic metal at strains near and far from even, against scipy's logm."""
    layers = _Layers(ELASTIC)
    e, nu = 70000.0, 0.33
    for e1, e2, angle in ((1e-3, -2e-3, 0.4), (0.1, -0.05, 1.1), (0.5, -0.4, 0.7), (0.2, 0.2, 0.0)):
        metric = strained(e1, e2, angle)
        log = 0.5 * np.real(logm(metric))
        t = layers(metric)
        k = e / (1.0 - nu * nu)
        assert t[0] == pytest.approx(k * (log[0, 0] + nu * log[1, 1]), rel=1e-11)
        assert t[1] == pytest.approx(k * (log[1, 1] + nu * log[0, 0]), rel=1e-11)
        assert t[3] == pytest.approx(e / (1.0 + nu) * log[0, 1], rel=1e-11, abs=1e-9)


def test_without_in_plane_shear_the_stress_is_the_even_shells() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        layers, old = _Layers(YIELDING), np.zeros((7, 1))
        for _ in range(3):
            e1, e2, g = rng.uniform(-0.02, 0.02, 3)
            ours = layers(strained(e1, e2, 0.0), (g / math.sqrt(5.0 / 6.0), 0.0))
            new, stress, tangent = np.zeros((7, 1)), np.zeros((3, 1)), np.zeros((6, 1))
            layer_stresses(
                encode(YIELDING), np.ones(1), np.array([[e1], [e2], [g]]), old, new, stress, tangent
            )
            assert ours[:3] == pytest.approx(stress[:, 0], rel=1e-12, abs=1e-9)
            assert np.abs(ours[3:]).max() < 1e-9
            layers.old, old = layers.new, new


def test_metal_is_the_same_in_all_directions() -> None:
    """A path of strains turned in the plane turns the stresses, with hardening of both kinds."""
    path = [(0.01, -0.004, 0.0), (0.004, 0.012, 0.6), (-0.01, 0.003, 1.0)]
    turn = 0.7
    one, other = _Layers(YIELDING), _Layers(YIELDING)
    for e1, e2, angle in path:
        a, b = one(strained(e1, e2, angle)), other(strained(e1, e2, angle + turn))
        c, s = math.cos(turn), math.sin(turn)
        q = np.array([[c, -s], [s, c]])
        t = q @ np.array([[a[0], a[3]], [a[3], a[1]]]) @ q.T
        assert b[[0, 1, 3]] == pytest.approx([t[0, 0], t[1, 1], t[0, 1]], rel=1e-9, abs=1e-7)
        one.old, other.old = one.new, other.new


def test_pure_shear_yields_at_the_yield_stress_over_root_three() -> None:
    """von Mises; perfectly plastic."""
    plastic = replace(YIELDING, hardening=Voce(1e-9, 1.0), kinematic_share=0.0)
    t = _Layers(plastic)(strained(0.05, -0.05, math.pi / 4.0))
    assert t[3] == pytest.approx(250.0 / math.sqrt(3.0), rel=1e-9)
    assert np.abs(t[[0, 1]]).max() < 1e-6
