"""A live page served by a process of its own, and a headless Chromium that looks at it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

ROOT = Path(__file__).parents[1]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
COMMAND = "from domemargin.studies.cli.app import main; main()"


@contextmanager
def served(*arguments: str, cwd: Path) -> Iterator[str]:
    """The link of a page served with these arguments of `domemargin live`."""
    source = ROOT / ".src"
    paths = [str(source)] if source.exists() else []
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "live", *arguments, "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONWARNINGS": "ignore"},
    )
    assert process.stdout is not None
    said = []
    try:
        for line in process.stdout:
            said.append(line)
            if line.startswith("http"):
                break
        assert said, "the server said nothing"
        assert said[-1].startswith("http"), said
        yield said[-1].strip()
        assert process.poll() is None, "the server has ended"
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()


@contextmanager
def browser(webgl: bool = False) -> Iterator[Any]:
    """A headless Chromium; skips the test where the machine has none.

    webgl : drawn by the processor, which makes all else that it draws slower.
    """
    flags = ["--no-sandbox"]  # tests may run as root
    if webgl:
        flags += ["--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (Debian package: chromium)")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield chromium
        chromium.close()


class Watched:
    """A page with what went wrong on it and what it asked of other machines."""

    def __init__(self, page: Any, link: str) -> None:
        self.page, self.wrong, self.outside = page, list[str](), list[str]()
        own = urlsplit(link).netloc
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("request", lambda request: self._asked(request.url, own))
        page.goto(link)
        self.rested()

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.wrong.append(message.text)

    def _asked(self, url: str, own: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("data", "blob", "about") and parts.netloc != own:
            self.outside.append(url)

    def rested(self, above: int = -1) -> None:
        """Wait for a whole answer to a message numbered above one."""
        self.page.wait_for_function(
            f"document.body.dataset.whole === 'true' && +document.body.dataset.answered > {above}",
            timeout=60_000,
        )

    def answered(self) -> int:
        return int(self.page.evaluate("+document.body.dataset.answered"))

    def typed(self, name: str, text: str) -> None:
        """Type a value in a field and leave it."""
        self.page.fill(f"#v-{name}", text)
        self.page.keyboard.press("Tab")

    def pressure(self) -> float:
        """The reversal pressure shown, psi."""
        match = re.search(r"([\d.]+) psi", self.page.inner_text("#pressure"))
        assert match is not None
        return float(match[1])
