"""Completion in the shell, by the protocol that each shell's script speaks with the program.

Source of truth: the shell itself where it is installed (bash reads and runs the script that the
program prints), else the lines that its script expects.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
COMMAND = "from domemargin.studies.cli.app import main; main()"


def ran(*arguments: str, **more: str) -> str:
    path = os.pathsep.join(filter(None, (str(ROOT / ".src"), os.environ.get("PYTHONPATH", ""))))
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": path, **more},
    )
    return done.stdout


@pytest.mark.parametrize(
    ("shell", "more"),
    [
        ("bash", {"COMP_WORDS": "domemargin reversal --re", "COMP_CWORD": "2"}),
        ("zsh", {"_TYPER_COMPLETE_ARGS": "domemargin reversal --re"}),
        (
            "fish",
            {
                "_TYPER_COMPLETE_ARGS": "domemargin reversal --re",
                "_TYPER_COMPLETE_FISH_ACTION": "get-args",
            },
        ),
    ],
)
def test_options_complete_in_each_shell(shell: str, more: dict[str, str]) -> None:
    found = ran(**more, _DOMEMARGIN_COMPLETE=f"complete_{shell}")
    for option in ("--require", "--resolution", "--report"):
        assert option in found
    assert "--waves" not in found


def test_bash_completes_a_command_by_the_script_that_is_printed(tmp_path: Path) -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash on this machine")
    program = tmp_path / "domemargin"
    path = os.pathsep.join(filter(None, (str(ROOT / ".src"), os.environ.get("PYTHONPATH", ""))))
    program.write_text(
        f'#!/bin/sh\nPYTHONPATH={path!r} exec {sys.executable} -c {COMMAND!r} "$@"\n'
    )
    program.chmod(0o755)
    script = ran(_DOMEMARGIN_COMPLETE="source_bash")
    words = (
        "COMP_WORDS=(domemargin read); COMP_CWORD=1; _domemargin_completion domemargin read; "
        'echo "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        [bash, "-c", f"{script}\n{words}"],
        capture_output=True,
        text=True,
        env={**os.environ, "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"},
    )
    assert done.stdout.strip() == "readings", done.stderr
