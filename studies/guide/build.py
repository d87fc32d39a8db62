"""Run the examples, gather the pages and build the site."""

from __future__ import annotations

import argparse
import importlib
import shutil
import subprocess
import sys
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from domemargin.studies.guide.examples import NAMES, ROOM
from domemargin.studies.guide.page import Example, ExampleError, Page, markdown, misses

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Shown:
    """An example that was run: its page, the figures on it and the key figures found."""

    name: str
    example: Example
    page: Page
    found: Mapping[str, float]


def load(name: str) -> Example:
    """The example of a name of `NAMES`."""
    examples = "domemargin.studies.guide.examples"
    example = importlib.import_module(f"{examples}.{ROOM[name]}.{name}").EXAMPLE
    assert isinstance(example, Example)
    return example


def show(name: str, runs: Path) -> Shown:
    """Run one example in a folder of its name under `runs`.

    Raises ExampleError if one of its commands fails.
    """
    example = load(name)
    page = Page(name, runs / name, ROOM[name])
    return Shown(name, example, page, example.write(page))


def gather(shown: Iterable[Shown], source: Path) -> None:
    """Write the source of the site: the guide's pages, and the gallery of examples run."""
    shutil.rmtree(source, ignore_errors=True)
    shutil.copytree(HERE / "pages", source)
    gallery = source / "gallery"
    gallery.mkdir()
    rows, names = [], []
    for one in shown:
        text = markdown(one.page, one.example, one.found)
        (gallery / f"{one.name}.md").write_text(text, encoding="utf-8")
        for number, figure in enumerate(one.page.figures, 1):
            shutil.copyfile(figure, gallery / f"{one.name}-{number}{figure.suffix}")
        rows.append(f"| [{one.example.question}]({one.name}.md) | {one.example.answer} |")
        names.append(one.name)
    head = (source / "gallery.md").read_text(encoding="utf-8")
    (source / "gallery.md").unlink()
    table = "\n".join(["| question | answered by |", "| --- | --- |", *rows])
    tree = "\n".join(["```{toctree}", ":hidden:", "", *names, "```"])
    (gallery / "index.md").write_text(f"{head}\n{table}\n\n{tree}\n", encoding="utf-8")


def site(source: Path, html: Path) -> str:
    """Build the site of `source` in `html`; what Sphinx warns of, empty where all is well."""
    shutil.rmtree(html, ignore_errors=True)
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-b", "html", "-E", "-q", "-W", "--keep-going",
         "-d", str(html.parent / "doctrees"), "-c", str(HERE), str(source), str(html)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode and not done.stderr:
        return f"sphinx ended with status {done.returncode}"
    return done.stderr.strip()


def main() -> None:
    """Run all examples and build the site, or run the examples named."""
    parser = argparse.ArgumentParser(prog="python -m domemargin.studies.guide", description=__doc__)
    parser.add_argument(
        "example", nargs="*", help="examples to run; without any: all, and the site"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("results/guide"), help="folder for the site"
    )
    given = parser.parse_args()
    for name in given.example:
        if name not in NAMES:
            sys.exit(f"example is {name!r}; it must be one of {', '.join(NAMES)}")
    out = given.out.resolve()
    try:
        # two at a time: most commands keep one core busy
        with ThreadPoolExecutor(2) as pool:
            shown = list(pool.map(lambda name: show(name, out / "runs"), given.example or NAMES))
    except ExampleError as error:
        sys.exit(str(error))
    wrong = [f"{one.name}: {miss}" for one in shown for miss in misses(one.example, one.found)]
    gather(shown, out / "source")
    if given.example:
        for one in shown:
            print(f"Wrote {out / 'source' / 'gallery' / one.name}.md")
    else:
        wrong += site(out / "source", out / "html").splitlines()
        print(f"Wrote {out / 'html' / 'index.html'}")
    if wrong:
        sys.exit("\n".join(wrong))
