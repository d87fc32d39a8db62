"""Files of the wrong kind, slips of unit and sign, numbers out of all range: one sentence each."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from domemargin.profiles import InputError, load_profile, parse_profile
from domemargin.profiles.errors import brief
from domemargin.profiles.files.contents import content_of
from domemargin.profiles.files.loading import ready_profiles
from domemargin.profiles.files.toml_files import tables
from domemargin.profiles.tooling.files import load_tooling, parse_tooling
from domemargin.studies.cli.app import main
from domemargin.studies.readings.file import read_readings
from domemargin.studies.study.study_file import load_study, parse_study, ready_studies

NORTH = (resources.files("domemargin.profiles") / "ready" / "north.toml").read_text("utf-8")
TOOLS = (resources.files("domemargin.profiles") / "ready_tooling" / "north.toml").read_text("utf-8")
STUDY = (resources.files("domemargin.studies") / "ready" / "depth-gauge.toml").read_text("utf-8")
SCATTER = (resources.files("domemargin.studies") / "ready" / "line-scatter.toml").read_text("utf-8")
DOMING = 'name = "d"\ncases = 2\n[vary]\n"station.set" = ["0 mm", "0.1 mm"]\n'
TABLE = "time,machine,depth (mm)\n2025-03-01T06:00,A,10.20\n2025-03-01T07:00,A,10.21\n"
# group codes and values on lines of their own, as in any drawing interchange file
DRAWING = "  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n  8\n0\n 10\n1.5\n  0\nENDSEC\n  0\nEOF\n"
FILES = {"p.toml": NORTH, "t.toml": TOOLS, "s.toml": STUDY, "d.toml": DOMING, "r.csv": TABLE,
         "x.dxf": DRAWING, "j.json": '{"budget": null}'}  # fmt: skip
MOST = 300  # characters: below four lines of a terminal of 80


@pytest.fixture
def say(monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path) -> Any:
    """A command in a folder that holds FILES; its status and what it says."""
    monkeypatch.chdir(tmp_path)
    for name, text in FILES.items():
        Path(name).write_text(text, encoding="utf-8")

    def command(*arguments: str) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["domemargin", *arguments])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        assert len(said.err.splitlines()) <= 1
        assert len(said.err) <= MOST
        assert sorted(path.name for path in Path().iterdir()) == sorted(FILES)
        return int(end.value.code or 0), said.err

    return command


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("study", "p.toml"), "'p.toml' is a profile file, since it has shape, sheet; it must be "
         "a study file, with profile and [vary.<quantity>]"),
        (("scatter", "t.toml"), "'t.toml' is a tooling file"),
        (("study", "d.toml"), "'d.toml' is a doming study file"),
        (("reversal", "s.toml"), "'s.toml' is a study file"),
        (("reversal", "t.toml"), "'t.toml' is a tooling file"),
        (("doming", "p.toml"), "'p.toml' is a profile file"),
        (("study", "s.toml", "--profile", "t.toml"), "'t.toml' is a tooling file"),
        (("doming", "north", "--study", "p.toml"), "'p.toml' is a profile file, since it has "
         "shape, sheet; it must be a doming study file, with cases and [vary]"),
        (("doming", "north", "--study", "s.toml"), "'s.toml' is a study file"),
        (("doming", "north", "--study", "r.csv"), "'r.csv' is a table of columns (CSV)"),
        (("reversal", "x.dxf"), "'x.dxf' is a drawing (DXF); it must be a profile file"),
        (("reversal", "r.csv"), "'r.csv' is a table of columns (CSV); it must be a profile file"),
        (("profile", "j.json"), "'j.json' is a JSON file; it must be a profile file"),
        (("doming", "x.dxf"), "'x.dxf' is a drawing (DXF); it must be a tooling file"),
        (("readings", "p.toml"), "'p.toml' are a TOML file; they must be a table of columns"),
        (("readings", "x.dxf"), "'x.dxf' are a drawing (DXF); they must be a table of columns"),
        (("compare", "s.toml", "p.toml"), "'s.toml' is a study file"),
        (("compare", "north", "r.csv"), "'r.csv' is a table of columns (CSV)"),
        (("compare", "north", "."), "'.' is a study's result and 'north' is none"),
        (("calibrate", "j.json"), "'j.json' are"),
        (("calibrate", "r.csv"), 'have no column "pressure (psi)"'),
        (("reversal", "north", "--calibration", "j.json"), "--calibration is 'j.json'"),
        (("reversal", "north", "--growth-limit", "ring"), "--growth-limit is 'ring'"),
        (("reversal", "north", "--uncertain", "gauge 1 mm"), "gauge is not known"),
        (("margin", "s.toml"), "'s.toml' is a TOML file, not a study's result"),
        (("margin", "r.csv"), "'r.csv' is a table of columns (CSV), not a study's result"),
        (("study", "north"), "'north' is ready as a profile; the ready studies are"),
        (("reversal", "depth-gauge"), "'depth-gauge' is ready as a study; the ready profiles are"),
        (("study", "depth-gauge", "--require=-90 psi"), "--require is '-90 psi'; it must lie in"),
        (("margin", "none", "--require=-90 psi"), "--require is '-90 psi'; it must lie in"),
        (("reversal", "north", "--require=-90 psi"), "--require is '-90 psi'; it must lie in"),
        (("scatter", "line-scatter", "--error", "0 psi"), "--error is '0 psi'; it must lie in"),
        (("reversal", "north", "--at", "60,5 psi"), "--at is '60,5 psi', with a comma"),
        (("reversal", "north", "--resolution", "0,2 %"), "with a decimal point"),
        (("reversal", "north", "--require", "90"), "--require is '90' without a unit"),
        (("scatter", "line-scatter", "--cans", "many"), "--cans is 'many'; it must be a whole "
         "number, 1000 to 10000000"),
        (("scatter", "line-scatter", "--training", "9" * 5000), "--training is '999"),
        (("study", "depth-gauge", "--workers", "0"), "--workers is 0; it must lie in 1 to 256"),
        (("doming", "north", "--workers", "2.5"), "--workers is '2.5'; it must be a whole number"),
        (("plant", "r.csv"), "FILE is 'r.csv', which is there already"),
        (("plant", "new.csv", "--seed", "-1"), "--seed is -1; it must lie in 0 to 2147483648"),
        (("plant", "none/new.csv"), "where no file can be written"),
        (("reversal", "north", "--wide"), "No such option: --wide"),
        (("reversal", "north", "--out"), "Option '--out' requires an argument"),
        (("reversal",), "Missing argument 'PROFILE...'"),
        (("reversal", "north", "nowhere"), "there is no profile file 'nowhere'"),
        (("reversals", "north"), "No such command 'reversals'"),
        (("reversal", "x" * 5000), "cannot be read: File name too long"),
        (("profile", "north", "--out", "x" * 5000), "File name too long"),
        (("profile", "north", "--mesh", "x" * 5000 + ".vtu"), "where no file can be written"),
        (("margin", "x" * 5000), "there is no study result at 'xxx"),
        (("reversal", "north", "-" + "x" * 5000), "No such option"),
    ],
)  # fmt: skip
def test_a_slip_is_named(arguments: tuple[str, ...], said: str, say: Any) -> None:
    status, error = say(*arguments)
    assert status == 2
    assert error.startswith("domemargin: ")
    assert said in error


def changed(text: str, key: str, value: str) -> str:
    new, count = re.subn(rf"(?m)^{key} = .*$", lambda _: f"{key} = {value}", text)
    assert count == 1
    return new


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("stand_diameter", '"70 mm"', "shape.stand_diameter is 70 mm; it must be less than "
         "body_diameter, 66 mm"),
        ("stand_diameter", '"64 mm"', "shape.stand_diameter 64 mm leaves the inner leg"),
        ("dome_depth", "10,2", "10,2 has a decimal comma, it must be a point"),
        ("dome_depth", '"10,2 mm"', "shape.dome_depth is '10,2 mm', with a comma"),
        ("dome_depth", "10.2", "shape.dome_depth is 10.2 without a unit"),
        ("dome_depth", "9" * 5000, "it holds a number of thousands of digits"),
        ("dome_depth", "0x" + "f" * 5000, "shape.dome_depth is a number of thousands of digits"),
        ("dome_depth", '"1e308 mm"', "shape.dome_depth is 1e+308 mm; it must be 0.5 to 60 mm"),
        ("dome_depth", '"1e400 mm"', "shape.dome_depth is inf mm; it must be 0.5 to 60 mm"),
        ("dome_depth", "1979-05-27", "shape.dome_depth is 1979-05-27; it must be a number"),
        ("name", "[]", "name is []; it must be text"),
    ],
)  # fmt: skip
def test_a_profile_is_rejected_in_words(key: str, value: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        parse_profile(changed(NORTH, key, value))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (changed(STUDY, "required_pressure", '"-90 psi"'), "required_pressure is '-90 psi'; it "
         "must lie in 0.001 to 10 MPa"),
        (changed(STUDY, "required_pressure", '"1e308 psi"'), "must lie in 0.001 to 10 MPa"),
        (changed(STUDY, "steps", "1"), "vary.die_set_back.steps is 1; it must be at least 2"),
        (changed(STUDY, "steps", "9" * 4000), "it must be at most 10000"),
        (changed(STUDY, "steps", "0x" + "f" * 5000), "is a number of thousands of digits; it must"),
        (changed(STUDY, "steps", '"7"'), "vary.die_set_back.steps is '7'; it must be a whole"),
        (STUDY + '[plan]\nkind = "sobel"\n', "plan.kind is 'sobel'; it must be 'grid', 'list', "
         "'sobol' or 'saltelli'"),
        (STUDY + "[settings]\nwaves = 101\n", "settings.waves is 101; it must be at most 100"),
        (STUDY + "[settings]\ngrowth_at = 3\n", "settings.growth_at is 3; it must be a list"),
        (changed(STUDY, "name", '""'), "name is ''; it must be text of at least 1 characters"),
        (SCATTER.replace('normal = "0.03 mm"', 'normal = "1e308 mm"'), "scatter.dome_depth.normal "
         "is '1e308 mm'; it must be more than 0, at most 59.5 mm"),
        (SCATTER.replace('normal = "0.03 mm"', 'normal = "-1 mm"'), "must be more than 0"),
        (SCATTER + "[scatter.poisson_ratio]\nnormal = 0x" + "f" * 400, "must be more than 0"),
        (STUDY + "[vary.poisson_ratio]\nvalues = [0x" + "f" * 400 + "]", "must be 0 to 0.49"),
    ],
)  # fmt: skip
def test_a_study_is_rejected_in_words(text: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)) as rejected:
        parse_study(text)
    assert len(str(rejected.value)) <= MOST


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("law", '"springy"', "spring.law is 'springy'; it must be 'constant', 'linear' or 'table'"),
        ("land", "3", "punch.land"),
        ("flange_height", '"10,75 mm"', "die.flange_height is '10,75 mm', with a comma"),
        ("flange_height", '"-1 mm"', "die.flange_height is -1 mm; it must be 0.5 to 60 mm"),
        ("preload", '"1e308 kN"', "spring.preload is inf N"),
    ],
)
def test_tooling_is_rejected_in_words(key: str, value: str, said: str) -> None:
    text = TOOLS.replace("[die]", 'land = "0 mm"\n[die]') if key == "land" else TOOLS
    with pytest.raises(InputError, match=re.escape(said)):
        parse_tooling(re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text))


def test_no_word_of_a_library_is_left_in_a_sentence() -> None:
    """Every kind of value at every key: the sentence is ours, not the schema library's."""
    values = ("3", "-3", "0.5", "true", '""', '"x"', "[]", "[3]", "{}", "{ a = 1 }", "07:32:00")
    for text, parse in ((NORTH, parse_profile), (TOOLS, parse_tooling), (STUDY, parse_study),
                        (SCATTER, parse_study)):  # fmt: skip
        lines = text.splitlines()
        for i, line in enumerate(lines):
            if "=" not in line or line.startswith("#"):
                continue
            for value in values:
                key = line.split("=")[0]
                try:
                    parse("\n".join([*lines[:i], f"{key}= {value}", *lines[i + 1 :]]))
                except InputError as rejected:
                    said = str(rejected)
                    assert "should be" not in said
                    assert "Input" not in said
                    assert len(said) <= MOST


def test_a_mark_before_the_text_is_taken(tmp_path: Path) -> None:
    """Editors on some systems begin a UTF-8 file with U+FEFF."""
    for load, text in ((load_profile, NORTH), (load_tooling, TOOLS), (load_study, STUDY)):
        path = tmp_path / "a.toml"
        path.write_text(text, encoding="utf-8-sig")
        assert load(path).name
    assert parse_profile("\ufeff" + NORTH).name
    path = tmp_path / "r.csv"
    for encoding in ("utf-8-sig", "utf-16", "utf-32"):
        path.write_text(TABLE, encoding=encoding)
        assert len(read_readings(path)) == 2


def test_contents_are_told_apart() -> None:
    import io

    import pandas as pd
    from matplotlib.figure import Figure

    drawn, table = io.BytesIO(), io.BytesIO()
    Figure().savefig(drawn, format="png")
    pd.DataFrame({"a": [1]}).to_parquet(table)
    for raw, found in (
        (drawn.getvalue(), "a picture (PNG)"), (table.getvalue(), "a Parquet table"),
        (DRAWING.encode(), "a drawing (DXF)"), (b"999\nmade by hand\n" + DRAWING.encode(),
         "a drawing (DXF)"), (b"ISO-10303-21;\nHEADER;", "a solid model (STEP)"),
        (TABLE.encode(), "a table of columns (CSV)"), (TABLE.replace(",", ";").encode(),
         "a table of columns (CSV)"), (b"\xef\xbb\xbf{}", "a JSON file"), (b"", ""), (b"x", ""),
        (b"\n\n<?xml version='1.0'?>", "an XML file"), (NORTH.encode(), "a TOML file"),
        (b"# a, b\nc, d", ""), (b"a,b\n1\n2,3,4\n", ""),
    ):  # fmt: skip
        assert content_of(raw) == found
    for names, load in ((ready_profiles(), load_profile), (ready_studies(), load_study)):
        assert all(load(name).name for name in names)


def test_the_path_to_a_table_is_written_as_in_the_file() -> None:
    with pytest.raises(InputError, match=r"Cannot declare 'a\.b' twice"):
        tables("[a.b]\n[a.b]\n")
    assert brief(10**5000) == "a number of thousands of digits"


@pytest.mark.parametrize("environment", [{"LANG": "C", "PYTHONIOENCODING": "ascii"},
                                         {"LC_ALL": "C", "PYTHONUTF8": "0"}])  # fmt: skip
def test_a_terminal_of_plain_letters(environment: dict[str, str], tmp_path: Path) -> None:
    text = changed(NORTH, "name", '"Straße, 66 mm µ \\u2264"')
    (tmp_path / "ß.toml").write_text(text, encoding="utf-8")
    (tmp_path / "bad.toml").write_text(text.replace("10.4 mm", "10.4 µß"), encoding="utf-8")
    code = (sys.executable, "-c", "from domemargin.studies.cli.app import main; main()")
    env = {k: v for k, v in os.environ.items() if not k.startswith(("LC_", "LANG", "PYTHONUTF8"))}
    env |= environment | {"PYTHONPATH": str(Path(__file__).parent.parent / ".src")}
    for name, status in (("ß.toml", 0), ("bad.toml", 2)):
        done = subprocess.run([*code, "reversal", name, "--out", "o"], cwd=tmp_path, env=env,
                              capture_output=True, timeout=120)  # fmt: skip
        assert done.returncode == status, done.stderr
        assert b"Traceback" not in done.stderr
    assert b"is not a unit of length" in done.stderr
