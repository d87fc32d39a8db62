"""The section mesh: exact geometry, named sets, gmsh in processes and threads, VTU and back."""

from __future__ import annotations

import builtins
import multiprocessing
import subprocess
import sys
import threading
from concurrent.futures import ProcessPoolExecutor
from dataclasses import fields
from pathlib import Path

import meshio
import numpy as np
import pytest

from domemargin.profiles import load_profile
from domemargin.profiles.files.section import (
    SETS,
    GmshUnavailableError,
    read_section,
    section_mesh,
    write_section,
)

CASE = Path(__file__).parent / "data" / "open_case_g.toml"


@pytest.fixture(scope="module")
def profile():
    return load_profile(CASE)


@pytest.fixture(scope="module")
def mesh(profile):
    return section_mesh(profile, through=3)


def equal(a, b) -> bool:
    return all(np.array_equal(getattr(a, f.name), getattr(b, f.name)) for f in fields(a))


def areas(mesh) -> np.ndarray:
    """Element areas with 3 x 3 Gauss points on the nine-node geometry."""
    x, w = np.polynomial.legendre.leggauss(3)

    def lagrange(t):
        value = np.array([0.5 * t * (t - 1), 1 - t * t, 0.5 * t * (t + 1)])
        return value, np.array([t - 0.5, -2 * t, t + 0.5])

    place = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1), (1, 1)]
    total = np.zeros((3, 3, len(mesh.quads)))
    for i, xi in enumerate(x):
        for j, eta in enumerate(x):
            (f, df), (g, dg) = lagrange(xi), lagrange(eta)
            slope = np.array([(df[a] * g[b], f[a] * dg[b]) for a, b in place])
            jacobian = np.einsum("eni,nj->eij", mesh.points[mesh.quads], slope)
            total[i, j] = w[i] * w[j] * np.linalg.det(jacobian)
    assert total.min() > 0.0
    return total.sum(axis=(0, 1))


def test_area_is_gauge_along_the_mid_surface(profile, mesh):
    # a strip of gauge t laid centred on a smooth line of length L has the area t L exactly
    s = np.linspace(0.0, profile.meridian.length, 200_001)
    exact = np.trapezoid(profile.thickness(s), s)
    assert areas(mesh).sum() == pytest.approx(exact, rel=1e-5)


def test_every_node_lies_on_its_swept_surface(profile, mesh):
    # arcs of the dome and of the nose, whose offsets are circles about the same centres
    for part, sign in (("dome", 1.0), ("nose", -1.0)):
        start, end = profile.meridian.span(part)
        mid = profile.meridian.at(0.5 * (start + end))
        centre = np.array([mid.r - np.sin(mid.phi) / mid.curvature,
                           mid.z + np.cos(mid.phi) / mid.curvature])  # fmt: skip
        here = (mesh.s >= start) & (mesh.s <= end)
        radius = np.hypot(*(mesh.points[here] - centre).T)
        gauge = profile.thickness(np.array([start]))[0]
        expected = abs(1.0 / mid.curvature) + sign * mesh.fraction[here] * gauge
        np.testing.assert_allclose(radius, expected, rtol=0, atol=1e-10)


def test_dome_depth_and_stand_plane_are_on_the_outside(profile, mesh):
    outside = mesh.points[np.unique(mesh.outside)]
    apex = mesh.points[mesh.outside[0, 0]]
    assert apex == pytest.approx((0.0, 10.5), abs=1e-9)
    assert outside[:, 1].min() == pytest.approx(0.0, abs=1e-3)  # between nodes it is lower


def test_boundary_sets_run_where_their_names_say(profile, mesh):
    for name, fraction in (("outside", -0.5), ("inside", 0.5)):
        edges = getattr(mesh, name)
        np.testing.assert_allclose(mesh.fraction[edges], fraction)
        assert np.array_equal(edges[1:, 0], edges[:-1, 1])
        assert mesh.s[edges[0, 0]] == 0.0
        assert mesh.s[edges[-1, 1]] == pytest.approx(profile.meridian.length)
    assert np.all(mesh.points[mesh.axis, 0] == 0.0)
    np.testing.assert_allclose(mesh.s[mesh.top], profile.meridian.length)
    assert len(mesh.axis) == len(mesh.top) == 3


def test_first_side_of_every_quad_runs_along(mesh):
    first, second, third, _ = mesh.quads[:, :4].T
    assert np.all(mesh.s[second] > mesh.s[first])
    np.testing.assert_allclose(mesh.fraction[second], mesh.fraction[first])
    assert np.all(mesh.fraction[third] > mesh.fraction[second])
    middles = mesh.quads[:, 4:8]
    ends = mesh.quads[:, [[0, 1], [1, 2], [2, 3], [3, 0]]]
    np.testing.assert_allclose(mesh.s[middles], mesh.s[ends].mean(axis=2))


def test_counts_do_not_depend_on_dimensions(profile, mesh):
    moved = section_mesh(profile.replaced(dome_depth=10.4999), through=3)
    assert np.array_equal(moved.quads, mesh.quads)
    assert np.abs(moved.points - mesh.points).max() < 1e-3


def test_several_times_in_one_process(profile, mesh):
    assert equal(section_mesh(profile, through=3), mesh)


def test_in_a_worker_process(profile, mesh):
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        assert equal(pool.submit(section_mesh, profile, 3).result(timeout=120), mesh)


def test_in_a_thread(profile, mesh):
    found = []
    thread = threading.Thread(target=lambda: found.append(section_mesh(profile, 3)))
    thread.start()
    thread.join(60)
    assert equal(found[0], mesh)


def test_vtu_round_trip(mesh, tmp_path):
    path = str(tmp_path / "section.vtu")
    write_section(mesh, path)
    assert equal(read_section(path), mesh)


def test_vtu_is_plain_for_other_readers(mesh, tmp_path):
    path = str(tmp_path / "section.vtu")
    write_section(mesh, path)
    read = meshio.read(path)
    assert {block.type for block in read.cells} == {"quad9", "line3"}
    for name in SETS:
        assert read.get_cell_data(name, "line3").sum() == len(getattr(mesh, name))
    assert read.get_cell_data("metal", "quad9").sum() == len(mesh.quads)


def test_reading_something_else_is_one_sentence(mesh, tmp_path):
    path = str(tmp_path / "other.vtu")
    meshio.Mesh(np.zeros((3, 3)), [("triangle", [[0, 1, 2]])]).write(path)
    with pytest.raises(ValueError, match=r"other\.vtu is not a section mesh"):
        read_section(path)


def test_counts_out_of_range(profile):
    with pytest.raises(ValueError, match="through = 0"):
        section_mesh(profile, through=0)
    with pytest.raises(ValueError, match="nose would get 0 elements"):
        section_mesh(profile, along={"nose": 0})


def test_a_broken_pipe_is_still_an_error_and_not_the_end(tmp_path):
    """gmsh makes SIGPIPE fatal: a study whose worker is killed would end without a word."""
    script = (
        "import os, sys, threading, profiles\n"
        "from domemargin.profiles.files.section import section_mesh\n"
        "make = lambda: section_mesh(profiles.load_profile('north'))\n"
        "if sys.argv[1] == 'thread':\n"
        "    other = threading.Thread(target=make); other.start(); other.join()\n"
        "else:\n"
        "    make()\n"
        "reader, writer = os.pipe(); os.close(reader)\n"
        "try:\n"
        "    os.write(writer, b'x')\n"
        "except BrokenPipeError:\n"
        "    print('alive')\n"
    )
    for where in ("main", "thread"):
        done = subprocess.run(
            [sys.executable, "-c", script, where], capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stdout) == (0, "alive\n"), (where, done)


def test_missing_system_library_names_the_package(profile, monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "gmsh":
            raise OSError("libGLU.so.1: cannot open shared object file: No such file or directory")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(GmshUnavailableError, match=r"libGLU\.so\.1: apt-get install libglu1-mesa"):
        section_mesh(profile)
