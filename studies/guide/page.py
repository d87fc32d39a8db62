"""A worked example and the page that it writes with its own output and figures."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

REGRESSION = "regression of this program"
_MAIN = "from domemargin.studies.cli.app import main; main()"
_PATIENCE = 300.0  # seconds that a command may take, compiling included


@dataclass(frozen=True)
class Key:
    """A key figure that an example must find again.

    within : largest difference from `value`, in the same unit.  source : where `value` is from.
    """

    value: float
    within: float
    unit: str = ""
    source: str = REGRESSION


@dataclass(frozen=True)
class Example:
    """A question that a user brings, and what answers it.

    write : fills a page and returns the key figures, by the names of `keys`.
    """

    question: str
    answer: str
    write: Callable[[Page], dict[str, float]]
    keys: Mapping[str, Key]


class ExampleError(RuntimeError):
    """A command of an example that did not end as it should."""


class Page:
    """A page under way: Markdown, and a folder in which commands run and figures appear."""

    def __init__(self, name: str, folder: Path, room: str = "") -> None:
        """Start a page; `folder` is emptied.  room : of the example's source."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        self.name = name
        self.room = room
        self.folder = folder
        self.parts: list[str] = []
        self.figures: list[Path] = []

    def text(self, markdown: str) -> None:
        """Add paragraphs."""
        self.parts.append(markdown.strip())

    def file(self, name: str, content: str, language: str = "toml") -> None:
        """Write a file into the folder and show it."""
        content = content.strip() + "\n"
        (self.folder / name).write_text(content, encoding="utf-8")
        self.parts.append(f"`{name}`:\n\n```{language}\n{content}```")

    def run(self, command: str) -> str:
        """Run a command line of `domemargin` and show what it prints on standard output.

        Raises ExampleError if its exit status is not 0.
        """
        run = self._start(command)
        out, err = run.communicate(timeout=_PATIENCE)
        if run.returncode:
            raise ExampleError(f"{self.name}: {command}: status {run.returncode}: {err.strip()}")
        self._answered(command, out)
        return out

    def json(self, command: str) -> Any:
        """Run a command with --json and return what it says; nothing is shown."""
        return json.loads(self._python("-c", _MAIN, *shlex.split(command)[1:], "--json"))

    def kill(self, command: str, ready: Callable[[], bool]) -> None:
        """Start a command, kill it and its workers once `ready` says so, and show the command.

        Raises ExampleError if it ended before that.
        """
        run = self._start(command, new_session=True)
        deadline = time.monotonic() + _PATIENCE
        while not ready() and time.monotonic() < deadline:
            if run.poll() is not None:
                raise ExampleError(f"{self.name}: {command}: ended before it was killed")
            time.sleep(0.2)
        os.killpg(run.pid, signal.SIGKILL)
        run.communicate()
        self._answered(command, "Killed")

    def python(self, name: str, source: str) -> str:
        """Write a script into the folder, show it, run it, and show what it prints."""
        self.file(name, source, "python")
        out = self._python(name)
        self._answered(f"python {name}", out)
        return out

    def figure(self, path: str, caption: str) -> None:
        """Show a picture that a command wrote, by its path in the folder."""
        drawn = self.folder / path
        self.figures.append(drawn)
        self.parts.append(
            f"![{caption}]({self.name}-{len(self.figures)}{drawn.suffix})\n\n*{caption}*"
        )

    def read(self, path: str) -> Any:
        """What a JSON file in the folder holds."""
        return json.loads((self.folder / path).read_text(encoding="utf-8"))

    def _answered(self, command: str, out: str) -> None:
        self.parts.append(f"```console\n$ {command}\n```")
        if out.strip():
            lines = "\n".join(line.rstrip() for line in out.rstrip().splitlines())
            self.parts.append(f"```text\n{lines}\n```")

    def _start(self, command: str, new_session: bool = False) -> subprocess.Popen[str]:
        program, *words = shlex.split(command)
        if program != "domemargin":
            raise ValueError(f"{command!r} does not start with domemargin")
        return subprocess.Popen(
            [sys.executable, "-c", _MAIN, *words], cwd=self.folder, env=_environment(), text=True,
            encoding="utf-8", stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            start_new_session=new_session,
        )  # fmt: skip

    def _python(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, *words], cwd=self.folder, env=_environment(), capture_output=True,
            text=True, encoding="utf-8", timeout=_PATIENCE, check=False,
        )  # fmt: skip
        if done.returncode:
            raise ExampleError(f"{self.name}: {words[-1][:80]}: {done.stderr.strip()[-400:]}")
        return done.stdout


def misses(example: Example, found: Mapping[str, float]) -> list[str]:
    """What is wrong with the key figures that an example found, in sentences."""
    if set(found) != set(example.keys):
        return [f"found {sorted(found)}, expected {sorted(example.keys)}"]
    return [
        f"{name} is {found[name]:.6g} {key.unit}; expected {key.value:g} within {key.within:g}"
        for name, key in example.keys.items()
        if not abs(found[name] - key.value) <= key.within
    ]


def markdown(page: Page, example: Example, found: Mapping[str, float]) -> str:
    """The page of an example that was run, with the table of its key figures."""
    rows = [
        f"| {name} | {found[name]:.4g} | {key.value:g} ± {key.within:g} | {key.unit or '-'} "
        f"| {key.source} |"
        for name, key in example.keys.items()
    ]
    return "\n\n".join(
        [
            f"# {example.question}",
            *page.parts,
            "## Key figures",
            "\n".join(
                ["| figure | here | expected | unit | source of expectation |",
                 "| --- | ---: | ---: | --- | --- |", *rows]
            ),
            f"`python -m domemargin.studies.guide {page.name}` writes this page anew; its source\n"
            f"is `studies/guide/examples/{page.room}/{page.name}.py`.",
            "*Pressures and depths are model estimates, to be confirmed on real cans; follow\n"
            "local codes and qualified people.*",
        ]
    ) + "\n"  # fmt: skip


def _environment() -> dict[str, str]:
    return {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "MPLBACKEND": "agg"}
