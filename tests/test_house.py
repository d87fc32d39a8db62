"""The order of the code: which room may import which, and how large a room may grow.

Source of truth: the contracts in pyproject.toml, judged by import-linter, and the folders
themselves.  The largest number of files in a room is common practice, no source.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
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


def test_no_module_imports_a_private_name() -> None:
    """A leading underscore says that a name is of use in its own file only (PEP 8)."""
    found = [
        f"{file.relative_to(ROOT)}:{node.lineno} {name.name}"
        for room in rooms().values()
        for file in sorted(room.glob("*.py"))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("domemargin")
        for name in node.names
        if name.name.startswith("_")
    ]
    assert found == []


def named(requirements: list[str]) -> set[str]:
    """The libraries that requirements ask for, by normal name; those of an extra with them."""
    words = [re.split(r"[\[\],]", re.split(r"[<>=!~; ]", one)[0]) for one in requirements]
    return {normal(word) for one in words for word in one if word}


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def imported() -> set[str]:
    """The libraries that the package's code imports, anywhere in a file, by normal name."""
    modules = set()
    for room in rooms().values():
        for file in room.glob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    modules |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                    modules.add(node.module.split(".")[0])
    made_by = packages_distributions()
    others = modules - set(sys.stdlib_module_names) - {"domemargin"}
    return {normal(made_by.get(module, [module])[0]) for module in others}


def test_every_library_that_is_imported_is_asked_for_and_no_other() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    always = named(project["dependencies"])
    extras = project["optional-dependencies"]
    asked = extras.keys() - {"test", "dev", "bench", "crosscheck"}
    sometimes = named([one for name in asked for one in extras[name]])
    found = imported()
    assert always - found == set()
    assert found - always - sometimes == set()
