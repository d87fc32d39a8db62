"""Files are written whole or not at all, and nothing of the user's is lost on the way."""

from __future__ import annotations

import csv
import json
import os
import resource
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from domemargin.profiles import InputError
from domemargin.studies.cli.app import main
from domemargin.studies.cli.shared.runs import run_folder
from domemargin.studies.readings.tables import write_machines
from domemargin.studies.text.plant_file import write_plant
from domemargin.studies.whole_files import UnwrittenError, cells, whole_file, write_whole

COMMAND = (sys.executable, "-c", "from domemargin.studies.cli.app import main; main()")
ROOT = Path(__file__).parent.parent
READINGS = "time,machine,depth (mm)\n" + "".join(
    f"2025-03-{1 + i // 3:02d}T06:00,=M{i % 3},{10.2 + 0.01 * (i % 5):.3f}\n" for i in range(60)
)


def run(
    *arguments: str, cwd: Path, most_bytes: int | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    def limit() -> None:
        if most_bytes is not None:  # a disk that is full after so many bytes of a file
            resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    return subprocess.run(
        [*COMMAND, *arguments], cwd=cwd, capture_output=True, text=True, timeout=300,
        env=os.environ | {"PYTHONPATH": str(ROOT / ".src")} | environment, preexec_fn=limit,
    )  # fmt: skip


def test_a_file_is_written_as_it_is_given(tmp_path: Path) -> None:
    path = tmp_path / "new" / "a.txt"
    write_whole(path, "a\r\nµ\n")
    assert path.read_bytes() == "a\r\nµ\n".encode()
    path.chmod(0o640)
    write_whole(path, b"\0\xff")
    assert path.read_bytes() == b"\0\xff"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(path.parent.iterdir()) == [path]
    mask = os.umask(0o022)
    os.umask(mask)
    write_whole(tmp_path / "b", "b")
    assert stat.S_IMODE((tmp_path / "b").stat().st_mode) == 0o666 & ~mask


def test_a_link_is_followed(tmp_path: Path) -> None:
    write_whole(tmp_path / "far" / "a", "old")
    (tmp_path / "link").symlink_to(tmp_path / "far" / "a")
    write_whole(tmp_path / "link", "new")
    assert (tmp_path / "far" / "a").read_text() == "new"
    assert (tmp_path / "link").is_symlink()


def test_what_goes_wrong_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a"
    write_whole(path, "old")

    def half(error: BaseException) -> None:
        with whole_file(path) as temporary:
            temporary.write_text("ne")
            raise error

    for error, raised in ((OSError(28, "No space left on device"), UnwrittenError),
                          (KeyboardInterrupt(), KeyboardInterrupt),
                          (ZeroDivisionError(), ZeroDivisionError)):  # fmt: skip
        with pytest.raises(raised):
            half(error)
        assert path.read_text() == "old"
        assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(UnwrittenError, match="No space left on device; no part of it was left"):
        half(OSError(28, "No space left on device"))


@pytest.mark.parametrize("name", ["", "a/b", "x" * 5000, "nul\0l"])
def test_a_path_that_no_file_can_have(tmp_path: Path, name: str) -> None:
    (tmp_path / "a").write_text("a file, not a folder")
    with pytest.raises(UnwrittenError, match="cannot be written: ") as rejected:
        write_whole(tmp_path / name, "text")
    assert len(str(rejected.value)) < 300


@pytest.mark.parametrize(
    ("arguments", "most_bytes", "cut"),
    [
        (("reversal", "north", "--out", "o"), 6_000, "record.json"),
        (("reversal", "north", "--out", "o"), 40_000, "reversal.png"),
        (("profile", "north", "--out", "o"), 20_000, "profile.png"),
        (("profile", "north", "--out", "o", "--mesh", "o/a.vtu"), 20_000, "a.vtu"),
        (("readings", "r.csv", "--out", "o"), 1_000, "readings.json"),
        (("readings", "r.csv", "--out", "o"), 30_000, "readings.png"),
        (("plant", "o/p.csv"), 30_000, "p.csv"),
        (("plant", "o/p.parquet"), 10_000, "p.parquet"),
    ],
)
def test_a_full_disk_leaves_whole_files_only(
    tmp_path: Path, arguments: tuple[str, ...], most_bytes: int, cut: str
) -> None:
    (tmp_path / "r.csv").write_text(READINGS)
    folder = tmp_path / "o"
    folder.mkdir()
    options = ("--overwrite",) if arguments[0] == "plant" else ()
    before = None if arguments[0] == "profile" else b"what stood there"
    if before is not None:
        (folder / cut).write_bytes(before)
    done = run(*arguments, *options, cwd=tmp_path, most_bytes=most_bytes)
    assert done.returncode == 2
    said = [line for line in done.stderr.splitlines() if "warning" not in line]
    assert len(said) == 1, done.stderr
    assert cut in said[0]
    assert "File too large" in said[0]  # EFBIG, which RLIMIT_FSIZE gives in place of ENOSPC
    assert ((folder / cut).read_bytes() if (folder / cut).exists() else None) == before
    for path in folder.iterdir():
        assert not path.name.endswith(".tmp")
        assert path.stat().st_size <= most_bytes
        if path.suffix == ".json" and path.name != cut:
            json.loads(path.read_text())


def test_a_users_file_of_any_name_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".writable").write_text("mine")
    assert run_folder(tmp_path, "x") == tmp_path
    assert (tmp_path / ".writable").read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_rejected_command_leaves_no_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "readings.csv").write_text("time,machine\n")
    (tmp_path / "bad.toml").write_text("name = 'x'\n")
    monkeypatch.chdir(tmp_path)
    for arguments in (
        ("reversal", "bad.toml"), ("reversal", "north", "--model", "x"), ("waves", "bad.toml"),
        ("profile", "bad.toml"), ("profile", "north", "--mesh", "no/a.vtu"),
        ("readings", "readings.csv"), ("doming", "bad.toml"), ("margin", "nothing"),
        ("compare", "nothing", "none"), ("scatter", "bad.toml"), ("study", "bad.toml"),
        ("scatter", "depth-gauge"), ("study", "line-scatter"),
    ):  # fmt: skip
        for out in ((), ("--out", "a/b")):
            monkeypatch.setattr(sys, "argv", ["domemargin", *arguments, *out])
            with pytest.raises(SystemExit) as end:
                main()
            said = capsys.readouterr()
            assert (end.value.code, said.out) == (2, ""), arguments
            assert len(said.err.splitlines()) == 1
            names = sorted(path.name for path in tmp_path.iterdir())
            assert names == ["bad.toml", "readings.csv"], arguments


def test_readings_that_are_there_are_not_replaced(tmp_path: Path) -> None:
    for name in ("depths.csv", "depths.parquet"):
        path = tmp_path / name
        path.write_text("time,machine,depth (mm)\n")
        with pytest.raises(InputError, match="there already and may hold real readings"):
            write_plant(path, 1)
        assert path.read_text() == "time,machine,depth (mm)\n"
        write_plant(path, 1, overwrite=True)
        made = path.read_bytes()
        write_plant(path, 1)  # the same once more replaces nothing
        assert path.read_bytes() == made
        with pytest.raises(InputError, match="--overwrite"):
            write_plant(path, 2)
        assert path.read_bytes() == made


def test_no_cell_is_a_formula(tmp_path: Path) -> None:
    assert cells(["=1+1", "+x", "-x", "@x", "\tx", "-0.05", "+3", "x=1", "", None, -1.5]) == [
        "'=1+1", "'+x", "'-x", "'@x", "'\tx", "-0.05", "+3", "x=1", "", None, -1.5,
    ]  # fmt: skip
    numbers = {"readings": 5, "mean_mm": 10.2, "from_target_mm": -0.05, "spread_mm": 0.01,
               "unexplained_mm": 0.0, "more_needed": 0}  # fmt: skip
    text = {"machine": '=HYPERLINK("http://x","y")', "line": "@SUM(1)", "verdict": "in order",
            "evidence": "-2+3"}  # fmt: skip
    write_machines({"machines": [text | numbers]}, tmp_path / "m.csv")
    with (tmp_path / "m.csv").open(newline="") as file:
        head, row = csv.reader(file)
    assert row[:3] == ['\'=HYPERLINK("http://x","y")', "'@SUM(1)", "in order"]
    assert row[head.index("from_target (mm)")] == "-0.05"
    assert row[head.index("evidence")] == "'-2+3"


def test_names_of_machines_are_neutral_in_the_tables_of_a_report(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(READINGS)
    done = run("readings", "r.csv", "--json", "--out", "o", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "=M0" in done.stdout  # as it is where nothing reads it as a formula
    for path in (tmp_path / "o").glob("*.csv"):
        with path.open(newline="") as file:
            assert not [c for row in csv.reader(file) for c in row if c.startswith(("=", "@"))]
