"""The command that says what an uneven bottom holds, and [around] in a profile file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from domemargin.profiles import (
    Around,
    Dent,
    InputError,
    Scan,
    Wave,
    dump_profile,
    load_profile,
    parse_profile,
)
from domemargin.studies.cli.app import main


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["domemargin", *arguments])
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def test_summary_json_and_files_agree(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    pytest.importorskip("pyvista")
    arguments = ("uneven", "north", "--tilt", "0.5 deg", "--tilt", "1 deg", "--require", "85 psi")
    assert run(monkeypatch, *arguments, "--out", str(tmp_path)) == 0
    text = capsys.readouterr().out
    assert all(len(line) <= 80 for line in text.splitlines() if not line.startswith("Wrote"))
    assert run(monkeypatch, *arguments, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    small, large = data["uneven"]
    assert 0.0 < small["share_lost"] < large["share_lost"] < 0.05
    assert large["pressure_mpa"] < data["even"]["reversal_pressure_mpa"]
    assert f"{100 * large['share_lost']:.2f} %" in text
    assert "reversal test on real cans" in text
    assert (tmp_path / "uneven.png").stat().st_size > 20_000
    listed = (tmp_path / "uneven.pvd").read_text(encoding="utf-8")
    states = sorted(tmp_path.glob("*.vtu"))
    assert len(states) == listed.count("<DataSet") > 5

    import meshio

    first, last = meshio.read(states[0]), meshio.read(states[-1])
    moved = last.points - first.points
    assert last.point_data["displacement"] == pytest.approx(moved, abs=1e-9)
    # the centre of the dome is pushed out of the can
    assert moved[:72, 2].max() < -3.0


def test_amounts_of_the_file_are_kept_beside_those_of_the_options(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    bottom = load_profile("north").replaced(around=Around(gauge_difference=0.04))
    file = tmp_path / "thin.toml"
    file.write_text(dump_profile(bottom), encoding="utf-8")
    assert run(monkeypatch, "uneven", str(file), "--json") == 0
    alone = json.loads(capsys.readouterr().out)["uneven"]
    assert run(monkeypatch, "uneven", str(file), "--offset", "0.1 mm", "--json") == 0
    both = json.loads(capsys.readouterr().out)["uneven"]
    assert both[0]["around"]["gauge_difference"] == 0.04
    assert both[0]["pressure_mpa"] < alone[0]["pressure_mpa"]
    # commands that take an even bottom say so
    assert run(monkeypatch, "reversal", str(file), "--out", str(tmp_path)) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "around is given" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--tilt", "9 deg"), "around.dome_tilt is 9 deg; it must be -5 to 5 deg"),
        (("--tilt", "1"), "--tilt is '1' without a unit"),
        (("--gauge-difference", "0.04"), "--gauge-difference is '0.04'; it must be a percentage"),
        (("--tolerable", "dome"), "--tolerable is 'dome'; it must be one of tilt, offset"),
        (("--tolerable", "tilt"), "given without --require"),
        (("--harmonics", "x"), "--harmonics is 'x'; it must be a whole number"),
        (
            ("--tilt", "1 deg", "--tilt", "2 deg", "--offset", "1 mm", "--offset", "0.2 mm"),
            "only one amount may be given several times",
        ),
    ],
)
def test_bad_input_gets_one_sentence(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    said: str,
) -> None:
    assert run(monkeypatch, "uneven", "north", *arguments) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.err.count("\n") == 1
    assert captured.out == ""


def test_around_is_written_and_read_back() -> None:
    scan = Scan(
        (0.0, 20.0, 40.0), (0.0, 1.0, 2.5), ((0.0, 0.0, 0.0), (0.1, 0.0, -0.05), (0.0, 0.0, 0.0))
    )
    around = Around(
        dome_tilt=0.01, dome_offset=-0.1, offset_angle=1.0, ovality=0.2, ovality_angle=0.3,
        gauge_difference=0.02, gauge_angle=2.0, yield_difference=0.03, yield_angle=0.1,
        wave=(Wave(3, 0.02), Wave(5, -0.01, 0.4)), dent=(Dent(0.2, 4.0, 10.0, 1.0),), scan=scan,
    )  # fmt: skip
    bottom = load_profile("north").replaced(around=around)
    read = parse_profile(dump_profile(bottom)).around
    assert read is not None
    assert read.dome_tilt == pytest.approx(around.dome_tilt, rel=1e-12)
    assert read.wave == around.wave
    assert read.dent == around.dent
    assert read.scan is not None
    assert read.scan.offset == scan.offset
    assert read.scan.angle == pytest.approx(scan.angle, rel=1e-12)


@pytest.mark.parametrize(
    ("lines", "field"),
    [
        ('[around]\ndome_tilt = "1 mm"', "around.dome_tilt"),
        ("[around]\ntilt = 3", "around.tilt"),
        ('[[around.wave]]\nwaves = 2.5\nheight = "0.1 mm"', "around.wave.waves"),
        ('[[around.wave]]\nwaves = 2\nheight = "9 mm"', "around.wave.height"),
        ('[[around.dent]]\ndepth = "0.1 mm"', "around.dent[1].width"),
        (
            '[around.scan]\narc_length = ["0 mm", "9 mm"]\nangle = ["0 deg", "0 deg"]\n'
            'offset = [["0 mm", "0 mm"], ["0 mm", "0 mm"]]',
            "around.scan.angle",
        ),
        (
            '[around.scan]\narc_length = ["0 mm", "9 mm"]\nangle = ["0 deg", "90 deg"]\n'
            'offset = [["0 mm", "0 mm"]]',
            "around.scan.offset",
        ),
    ],
)
def test_a_bad_table_names_its_field(lines: str, field: str) -> None:
    with pytest.raises(InputError) as found:
        parse_profile(dump_profile(load_profile("north")) + "\n" + lines)
    assert found.value.field == field
