"""What the README shows, run as it stands."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from domemargin.profiles import load_profile, parse_profile
from domemargin.studies.cli.app import app

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", TEXT, re.S)


def test_the_answer_takes_four_lines_of_python(tmp_path: Path) -> None:
    (code,) = blocks("python")
    assert len(code.strip().splitlines()) <= 4
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    pressure, margin = map(float, done.stdout.split())
    assert margin == pytest.approx(pressure / 0.62 - 1.0)


def test_the_profile_shown_is_open_case_g() -> None:
    (text,) = blocks("toml")
    assert parse_profile(text) == load_profile(ROOT / "tests" / "data" / "open_case_g.toml")


def test_set_up_lines_are_one_line_each() -> None:
    lines = [block.strip() for block in blocks("sh")]
    assert [len(line.splitlines()) for line in lines] == [1, 1]


def test_commands_and_options_shown_exist() -> None:
    from typer.main import get_command

    commands = get_command(app).commands  # type: ignore[attr-defined]
    known = {option for c in commands.values() for p in c.params for option in p.opts}
    assert set(re.findall(r"`domemargin (\w+)", TEXT)) == set(commands)
    assert set(re.findall(r"`(--\w+)", TEXT)) <= known


def test_pictures_shown_are_there() -> None:
    for path in re.findall(r"!\[.*?\]\((.*?)\)", TEXT):
        assert (ROOT / path).stat().st_size > 10_000
