"""What README and guide show, run or looked up as it stands."""

from __future__ import annotations

import math
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import tomli_w

from domemargin.profiles import load_profile, parse_profile
from domemargin.studies.best.request import parse_request
from domemargin.studies.cli.app import app
from domemargin.studies.study.study_file import parse_study

ROOT = Path(__file__).parent.parent
GUIDE = ROOT / "studies" / "guide"
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = {path.name: path.read_text(encoding="utf-8") for path in sorted(GUIDE.glob("pages/*.md"))}
EXAMPLES = "".join(path.read_text(encoding="utf-8") for path in GUIDE.glob("examples/*.py"))
TEXT = README + "".join(PAGES.values()) + EXAMPLES


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, re.S)


def test_the_answer_takes_four_lines_of_python() -> None:
    (code,) = blocks(README, "python")
    assert blocks(PAGES["start.md"], "python") == [code]
    assert len(code.strip().splitlines()) <= 4
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    pressure, margin = map(float, done.stdout.split())
    assert margin == pytest.approx(pressure / 0.62 - 1.0)


def test_the_profile_shown_is_open_case_g() -> None:
    text, drawn = blocks(PAGES["profiles.md"], "toml")
    case = load_profile(ROOT / "tests" / "data" / "open_case_g.toml")
    assert parse_profile(text) == case
    # the other dimensions take the place of some of the first; the bottom need not be the same
    asked, taken = tomllib.loads(text), tomllib.loads(drawn)["shape"]
    del asked["shape"]["stand_diameter"]
    asked["shape"] |= taken
    shape = parse_profile(tomli_w.dumps(asked)).shape
    assert math.degrees(shape.outer_leg_angle) == pytest.approx(62.0)
    assert shape.stand_diameter != case.shape.stand_diameter


def test_the_study_shown_can_be_read() -> None:
    text, best = blocks(PAGES["studies.md"], "toml")
    assert parse_study(text).names == ("die_set_back", "bottom_gauge")
    assert parse_request(best).aim == "mass"


def test_set_up_lines_are_one_line_each() -> None:
    lines = [block.strip() for block in blocks(README, "sh")]
    assert [len(line.splitlines()) for line in lines] == [1, 1]
    assert blocks(PAGES["start.md"], "sh")[0].strip() == lines[0]


def test_commands_and_options_shown_exist() -> None:
    from typer.main import get_command

    group = get_command(app)
    commands = group.commands  # type: ignore[attr-defined]
    known = {
        option
        for command in (group, *commands.values())
        for parameter in command.params
        for option in (*parameter.opts, *parameter.secondary_opts)
    }
    for text in (README, PAGES["commands.md"]):
        assert set(re.findall(r"`domemargin (\w+)", text)) == set(commands)
    assert set(re.findall(r"domemargin (\w+)(?= [A-Z\"-]|`)", TEXT)) <= set(commands)
    assert set(re.findall(r"`(--[\w-]+)", TEXT)) <= known


def test_pictures_and_files_named_are_there() -> None:
    for path in re.findall(r"!\[.*?\]\((.*?)\)", README):
        assert (ROOT / path).stat().st_size > 10_000
    for path in re.findall(r"(?<!!)\[[^\]]*\]\(([^)]*)\)", README):
        assert (ROOT / path).exists(), path
    for path in re.findall(r"`((?:fea|profiles|studies|tests)/[\w/.]*)`", TEXT):
        assert (ROOT / path).exists(), path
