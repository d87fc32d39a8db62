"""Slips that once ended in a trace, or in a sentence that did not say what was wrong."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import study_stand_in as stand_in

from domemargin.profiles import InputError, load_profile, parse_quantity
from domemargin.profiles.tooling.files import load_tooling
from domemargin.studies.options import settings_of, share
from domemargin.studies.readings.file import read_readings
from domemargin.studies.study.engines import Serial
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.study_file import load_study, parse_study
from domemargin.studies.text.plant_file import write_plant

STUDY = 'name = "s"\nprofile = "north"\n{}\n[vary.bottom_gauge]\nvalues = {}\n'


def test_a_folder_of_a_ready_name_does_not_hide_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("north", "depth-gauge"):
        (tmp_path / name).mkdir()
    monkeypatch.chdir(tmp_path)
    assert load_tooling("north").name
    assert load_study("depth-gauge").name


@pytest.mark.parametrize(
    ("required", "values", "said"),
    [
        ("", "[]", "vary.bottom_gauge.values is []; it must be a list of at least 1"),
        (
            "required_pressure = 90", '["0.26 mm"]',
            "required_pressure is 90 without a unit; it must be a number with a unit of pressure",
        ),
        (
            'required_pressure = "90 mm"', '["0.26 mm"]',
            "required_pressure is '90 mm', and 'mm' is not a unit of pressure",
        ),
    ],
)  # fmt: skip
def test_a_study_file_is_rejected_in_words(required: str, values: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        parse_study(STUDY.format(required, values))


def test_a_pressure_asks_for_units_of_pressure() -> None:
    with pytest.raises(InputError, match=r'psi, bar, kPa or MPa\), such as "90 psi"'):
        settings_of(require="90")
    # 1 ksi = 6.894757 MPa: NIST Special Publication 811 (2008)
    assert parse_quantity("1 ksi", "pressure", "x") == pytest.approx(6.894757, rel=1e-6)
    assert parse_quantity("1 N/mm2", "pressure", "x") == pytest.approx(1.0)


@pytest.mark.parametrize("text", ["0,27 mm", "10,2 mm"])
def test_a_comma_is_named(text: str) -> None:
    with pytest.raises(InputError, match=f"x is '{text}', with a comma"):
        parse_quantity(text, "length", "x")


def test_a_margin_has_a_range() -> None:
    with pytest.raises(InputError, match="--margin is '500 %'; it must lie in 0 % to 100 %"):
        share("500 %", "--margin", most=1.0)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"", "are empty; the first line must name the columns: time, machine, depth"),
        ("a.csv", b" \n\n", "are empty"),
        (
            "a.csv", b"time,machine,depth (kg)\n2025-01-01,A,10.2\n",
            "the unit of column 'depth' is 'kg'; it must be a unit of length",
        ),
        ("a.parquet", b"PAR" * 100, "are no Parquet file: "),
    ],
)  # fmt: skip
def test_readings_are_rejected_in_words(
    tmp_path: Path, name: str, content: bytes, said: str
) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(InputError, match=re.escape(said)) as rejected:
        read_readings(file)
    assert "\n" not in str(rejected.value)


@pytest.mark.parametrize(
    ("path", "seed", "said"),
    [
        ("p.csv", -1, "--seed is -1; it must lie in 0 to 2147483648"),
        ("none/p.csv", 1, "where no file can be written"),
    ],
)
def test_a_plant_is_rejected_in_words(tmp_path: Path, path: str, seed: int, said: str) -> None:
    with pytest.raises(InputError, match=said):
        write_plant(tmp_path / path, seed)


def test_a_rerun_leaves_no_bar_of_workers_that_never_started(tmp_path: Path) -> None:
    from domemargin.studies.cli.shared.progress import Reporter

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    study = load_study("depth-gauge")
    run_study(study, tmp_path / "s.sqlite", Serial, stand_in.STRAIGHT)
    screen = Terminal()
    with Reporter(screen) as reporter:
        run_study(study, tmp_path / "s.sqlite", Serial, stand_in.STRAIGHT, on_progress=reporter)
    assert screen.getvalue().rstrip().endswith("\x1b[2K")  # the line is wiped (ECMA-48, EL)


@pytest.mark.parametrize(
    ("load", "slip", "meant"),
    [
        (load_profile, "nrth", "north"),
        (load_profile, "North", "north"),
        (load_study, "depth-guage", "depth-gauge"),
        (load_tooling, "norht", "north"),
    ],
)
def test_a_slip_in_a_ready_name_is_answered_with_the_name(
    load: Callable[[str], object], slip: str, meant: str
) -> None:
    with pytest.raises(InputError, match=rf"file '{slip}'; did you mean {meant}\? the ready"):
        load(slip)
    with pytest.raises(InputError, match=r"file 'nothing-alike\.toml'; the ready"):
        load("nothing-alike.toml")
