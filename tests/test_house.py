"""The order of the code: which room may import which, and how large a room may grow.

Source of truth: the contracts in pyproject.toml, judged by import-linter, and the folders
themselves.  The largest number of files in a room is common practice, no source.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIMIT = 15
LINT = (
    "from importlinter.cli import lint_imports_command as lint; lint(['--no-cache', '--no-logo'])"
)


def rooms() -> dict[str, Path]:
    """Import name -> folder, of every folder that holds code."""
    found = {
        file.parent for top in ("fea", "profiles", "studies") for file in (ROOT / top).rglob("*.py")
    }
    return {".".join(("domemargin", *room.relative_to(ROOT).parts)): room for room in found}


def test_imports_keep_to_the_contracts() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    done = subprocess.run(
        [sys.executable, "-c", LINT],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT / ".src"), "COLUMNS": "200"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"Contracts: {len(contracts)} kept, 0 broken." in done.stdout


def test_the_package_holds_every_room() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        listed = tomllib.load(file)["tool"]["setuptools"]["packages"]
    assert listed == sorted(rooms())
    assert all((room / "__init__.py").is_file() for room in rooms().values())


def test_no_room_is_crowded() -> None:
    sizes = {name: len(list(room.glob("*.py"))) for name, room in rooms().items()}
    assert {name: size for name, size in sizes.items() if size > LIMIT} == {}


def test_every_room_says_what_it_is_for() -> None:
    silent = [
        name
        for name, room in sorted(rooms().items())
        if not ast.get_docstring(ast.parse((room / "__init__.py").read_text(encoding="utf-8")))
    ]
    assert silent == []
