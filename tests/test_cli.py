"""The command line as its user meets it, in subprocesses without a display."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

DATA = Path(__file__).parent / "data"
COMMAND = (sys.executable, "-c", "from domemargin.studies.cli.app import main; main()")


def run(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "COLUMNS", "MPLBACKEND")}
    return subprocess.run(
        [*COMMAND, *arguments],
        cwd=cwd,
        env=env | environment,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )


def test_reversal_prints_a_summary_and_writes_a_run(tmp_path: Path) -> None:
    done = run("reversal", str(DATA / "open_case_g.toml"), "--require", "90 psi", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    out = done.stdout
    for words in (
        "Reversal pressure",
        "IN DOUBT, margin +",
        "ring, permanent",
        "First yield",
        "plastic through the gauge",
        "plastic strain up to",
        "none of 1 to 20 waves before the limit",
        "theory check",
        "A model estimate",
    ):
        assert words in out
    assert max(map(len, out.splitlines())) <= 80
    folder = tmp_path / "results" / "open-case-g"
    assert sorted(p.name for p in folder.iterdir()) == ["curve.csv", "record.json", "reversal.png"]

    record = json.loads((folder / "record.json").read_text(encoding="utf-8"))
    # an independent continuum solution of this bottom: 0.6726 MPa (computed independently)
    assert record["reversal_pressure_mpa"] == pytest.approx(0.6726, rel=0.01)
    assert f"{record['reversal_pressure_mpa']:.4f} MPa" in out
    assert record["margin"] == pytest.approx(
        record["reversal_pressure_mpa"] / 0.62053 - 1, abs=1e-4
    )

    with (folder / "curve.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [*rows[0]][:2] == ["pressure (psi)", "pressure (MPa)"]
    assert all("(" in name for name in rows[0])
    mpa = [float(row["pressure (MPa)"]) for row in rows]
    assert max(mpa) == pytest.approx(record["reversal_pressure_mpa"], rel=0.01)
    # 1 psi = 6894.757 Pa: NIST Special Publication 811 (2008), table of conversion factors
    psi = [float(row["pressure (psi)"]) for row in rows]
    assert max(psi) * 6894.757e-6 == pytest.approx(max(mpa), rel=1e-5)
    assert min(psi) == 0.0


def test_json_is_one_object_and_writes_nothing_unasked(tmp_path: Path) -> None:
    done = run("reversal", "north", "--json", "--at", "40 psi", "--at", "0.3 MPa", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    record = json.loads(done.stdout)
    assert record["kind"] == "limit"
    assert 0.3 < record["reversal_pressure_mpa"] < 1.0
    at = [growth["pressure_mpa"] for growth in record["growth"]]
    assert at == pytest.approx([0.27579, 0.3], rel=1e-4)
    assert list(tmp_path.iterdir()) == []


def test_json_writes_where_out_says(tmp_path: Path) -> None:
    done = run("reversal", "south", "--json", "--out", "deep/here", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    stored = json.loads((tmp_path / "deep" / "here" / "record.json").read_text(encoding="utf-8"))
    assert stored == json.loads(done.stdout)


def test_not_safe_is_an_answer(tmp_path: Path) -> None:
    done = run("reversal", "north", "--require", "12 bar", cwd=tmp_path)
    assert done.returncode == 0
    assert "NOT SAFE, margin -" in done.stdout


def test_a_ceiling_below_the_requirement_is_not_known(tmp_path: Path) -> None:
    done = run("reversal", "north", "--ceiling", "20 psi", "--require", "30 psi", cwd=tmp_path)
    assert done.returncode == 0
    assert "none found up to the ceiling of 20.0 psi" in done.stdout
    assert "NOT KNOWN" in done.stdout
    done = run("reversal", "north", "--ceiling", "20 psi", "--require", "10 psi", cwd=tmp_path)
    assert "SAFE, margin above +100.0 %" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("reversal", "nowhere"), "nowhere"),
        (("reversal", "."), "."),
        (("reversal", "north", "--require", "90"), "--require"),
        (("reversal", "north", "--require", "90 mm"), "--require"),
        (("reversal", "north", "--require", "-90 psi"), "--require"),
        (("reversal", "north", "--require", "lots"), "--require"),
        (("reversal", "north", "--at", "60 psi", "--at", "0 psi"), "--at"),
        (("reversal", "north", "--ceiling", "1e9 GPa"), "--ceiling"),
        (("reversal", "north", "--resolution", "0.002"), "--resolution"),
        (("reversal", "north", "--resolution", "50 %"), "--resolution"),
        (("reversal", "north", "--resolution", "0.019 %"), "--resolution"),
        (("reversal", "north", "--waves", "2.5"), "--waves"),
        (("reversal", "north", "--waves", "101"), "--waves"),
        (("reversal", "north", "--out", "taken/below"), "--out"),
        (("reversal", "north", "--json", "--out", "taken"), "--out"),
        (("waves", "nowhere"), "nowhere"),
        (("waves", "north", "--waves", "0"), "--waves"),
        (("waves", "north", "--waves", "many"), "--waves"),
        (("waves", "north", "--out", "taken"), "--out"),
        (("profile", "nowhere"), "nowhere"),
        (("profile", "north", "--mesh", "section.txt"), "--mesh"),
        (("profile", "north", "--mesh", "nowhere/section.vtu"), "--mesh"),
        (("profile", "north", "--out", "taken"), "--out"),
        (("reversal", "latin.toml"), "latin.toml"),
        (("reversal", "broken.toml"), "broken.toml"),
        (("profile", "steep.toml"), "outer_leg_angle"),
    ],
)
def test_bad_input_is_one_sentence_and_status_2(
    arguments: tuple[str, ...], named: str, tmp_path: Path
) -> None:
    (tmp_path / "taken").write_text("a file")
    (tmp_path / "latin.toml").write_bytes('name = "Dosenböden"'.encode("latin-1"))
    (tmp_path / "broken.toml").write_text("name = ")
    good = (DATA / "open_case_g.toml").read_text(encoding="utf-8")
    (tmp_path / "steep.toml").write_text(good.replace('"60 deg"', '"95 deg"'), encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    done = run(*arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert named in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("domemargin: ")
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    "arguments", [("reversal",), ("reversal", "north", "--wide"), ("reversals",)]
)
def test_misuse_is_status_2_without_a_trace(arguments: tuple[str, ...], tmp_path: Path) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
    assert done.stderr.startswith("domemargin: ")
    assert len(done.stderr.splitlines()) == 1
    assert "--help" in done.stderr


def test_profile_draws_and_dimensions(tmp_path: Path) -> None:
    path = str(DATA / "open_case_g.toml")
    done = run("profile", path, "--mesh", "section.vtu", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    for words in ("stand diameter", "47.000", "1.8504", "heel height", "bottom mass", "quads"):
        assert words in done.stdout
    assert (tmp_path / "results" / "open-case-g" / "profile.png").stat().st_size > 10_000
    assert (tmp_path / "section.vtu").stat().st_size > 1_000

    done = run("profile", path, "--json", cwd=tmp_path)
    data = json.loads(done.stdout)
    assert data["inputs"]["shape"]["dome_depth"] == "10.5 mm"
    assert 5.0 < data["derived"]["heel_height_mm"] < 12.0


def test_waves_draws_onsets_and_mode(tmp_path: Path) -> None:
    done = run("waves", "north", "--waves", "4", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    for words in ("Reverses at", "none of 1 to 4 waves", "First wave mode", "A model estimate"):
        assert words in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    (folder,) = (tmp_path / "results").iterdir()
    assert sorted(p.name for p in folder.iterdir()) == ["waves.json", "waves.png"]
    stored = json.loads((folder / "waves.json").read_text(encoding="utf-8"))
    assert [onset["waves"] for onset in stored["flow"]] == [0, 1, 2, 3, 4]

    done = run("waves", "north", "--waves", "4", "--json", cwd=tmp_path / "results")
    assert json.loads(done.stdout) == stored
    assert [p.name for p in (tmp_path / "results").iterdir()] == [folder.name]


def test_any_name_goes(tmp_path: Path) -> None:
    good = (DATA / "open_case_g.toml").read_text(encoding="utf-8")
    names = {"Żuraw № 7 / ドーム": "żuraw-7-ドーム", "../..//": "unnamed", "$a_1$ [b]x": "a-1-b-x"}
    for i, (name, folder) in enumerate(names.items()):
        file = tmp_path / f"π{i}.toml"
        file.write_text(good.replace("open case G", name), encoding="utf-8")
        done = run("profile", str(file), cwd=tmp_path, PYTHONIOENCODING="utf-8")
        assert (done.returncode, done.stderr) == (0, "")
        assert name in done.stdout
        png = tmp_path / "results" / folder / "profile.png"
        assert png.stat().st_size > 10_000
        done = run("reversal", str(file), "--json", cwd=tmp_path, PYTHONIOENCODING="ascii")
        assert json.loads(done.stdout)["inputs"]["name"] == name
        done = run("profile", str(file), cwd=tmp_path, PYTHONIOENCODING="ascii")
        assert done.returncode == 0, done.stderr


def test_profiles_and_version(tmp_path: Path) -> None:
    done = run("profiles", cwd=tmp_path)
    assert done.returncode == 0
    assert [line.split()[0] for line in done.stdout.splitlines()] == [
        "name", "harbour", "north", "south",
    ]  # fmt: skip
    assert run("--version", cwd=tmp_path).stdout.startswith("domemargin ")


SOLVER = {"numba", "skfem", "scipy.linalg", "gmsh", "meshio"}
TABLES = {"pandas", "pyarrow", "scipy.stats", "sklearn", "SALib"}
PICTURES = {"matplotlib", "pyvista"}
SELDOM = {"pint", "dask", "matplotlib.pyplot"}  # a unit written in an unusual way; a cluster


@pytest.mark.parametrize(
    ("arguments", "heavy"),
    [
        (["profiles"], SOLVER | TABLES | PICTURES | SELDOM),
        (["carbonation", "2.6 vol"], SOLVER | TABLES | PICTURES | SELDOM),
        (["profile", "north"], SOLVER | TABLES | SELDOM),
        (["reversal", "north", "--require", "90 psi"], TABLES | SELDOM | {"gmsh", "meshio"}),
        (["readings", "none.csv", "--target", "10 mm"], SOLVER - {"scipy.linalg"} | PICTURES
         | SELDOM | {"scipy.stats"}),
    ],
    ids=lambda given: given[0] if isinstance(given, list) else "",
)  # fmt: skip
def test_a_command_loads_no_more_than_it_needs(
    arguments: list[str], heavy: set[str], tmp_path: Path
) -> None:
    code = (
        "import sys; from domemargin.studies.cli.app import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print(sorted({heavy} & set(sys.modules)))\n"
    )
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path)
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's /proc")
def test_a_case_stays_below_400_mb(tmp_path: Path) -> None:
    code = (
        "import atexit, re; from domemargin.studies.cli.app import main\n"
        "status = lambda: open('/proc/self/status').read()\n"
        "peak = lambda: re.search(r'VmHWM:\\s+(\\d+)', status())[1]\n"
        "atexit.register(lambda: open('peak', 'w').write(peak()))\n"
        "main()"
    )
    done = subprocess.run([sys.executable, "-c", code, "reversal", "north"], cwd=tmp_path)
    assert done.returncode == 0
    assert int((tmp_path / "peak").read_text()) < 400 * 1024  # kB


def test_the_list_of_commands_is_not_cut_off(tmp_path: Path) -> None:
    done = run("--help", cwd=tmp_path, COLUMNS="80")
    assert done.returncode == 0
    assert "..." not in done.stdout.split("Commands:")[1]
