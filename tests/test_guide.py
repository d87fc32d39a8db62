"""The guide: every example finds its key figures, and the site builds without a warning.

Sources: each example names that of every figure; most are a regression of this program, some are
put into the example's own input.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from domemargin.studies.guide.build import Shown, gather, load, show, site
from domemargin.studies.guide.conf import plain_docstring
from domemargin.studies.guide.examples import NAMES
from domemargin.studies.guide.page import Example, ExampleError, Key, Page, misses

HERE = Path(__file__).parent.parent / "studies" / "guide"


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("guide")


@pytest.fixture(scope="module")
def shown() -> dict[str, Shown]:
    return {}


@pytest.mark.parametrize("name", NAMES)
def test_an_example_finds_its_key_figures(name: str, runs: Path, shown: dict[str, Shown]) -> None:
    shown[name] = show(name, runs)
    assert misses(shown[name].example, shown[name].found) == []
    for figure in shown[name].page.figures:
        assert figure.stat().st_size > 10_000


def test_the_site_builds_without_a_warning_and_asks_nothing_of_a_network(
    runs: Path, shown: dict[str, Shown]
) -> None:
    pytest.importorskip("myst_parser")
    every = [shown.get(name) or show(name, runs) for name in NAMES]
    gather(every, runs / "source")
    assert site(runs / "source", runs / "html") == ""
    pages = list((runs / "html").rglob("*.html"))
    assert {f"{name}.html" for name in NAMES} <= {page.name for page in pages}
    for page in [*pages, *(runs / "html").rglob("*.css")]:
        text = page.read_text(encoding="utf-8")
        assert not re.findall(r"""(?:src=|url\(|@import )["']?(?:https?:)?//[^"')]*""", text)
        assert not re.findall(r"<link[^>]*href=.(?:https?:)?//", text)


def test_every_example_is_in_the_gallery_and_has_an_expectation_for_its_figures() -> None:
    files = {path.stem for path in (HERE / "examples").glob("*/*.py")} - {"__init__"}
    assert set(NAMES) == files
    assert len(NAMES) >= 12
    for name in NAMES:
        example = load(name)
        assert example.keys
        for key in example.keys.values():
            assert key.source


def test_a_figure_that_is_off_missing_or_no_number_is_told() -> None:
    example = Example("?", "", lambda page: {}, {"a": Key(1.0, 0.1), "b": Key(2.0, 0.1)})
    assert misses(example, {"a": 1.09, "b": 1.91}) == []
    assert len(misses(example, {"a": 1.11, "b": 2.0})) == 1
    assert len(misses(example, {"a": float("nan"), "b": 2.0})) == 1
    assert len(misses(example, {"a": 1.0})) == 1


def test_a_command_that_fails_ends_the_example(tmp_path: Path) -> None:
    page = Page("off", tmp_path / "off")
    with pytest.raises(ExampleError, match=r"status 2.*nowhere"):
        page.run("domemargin reversal nowhere")
    with pytest.raises(ExampleError, match="off"):
        page.python("off.py", "raise SystemExit(3)")


def test_docstrings_become_lists() -> None:
    lines = ["A bottom.", "", "name : what it is", "    called.", "Raises InputError.", ""]
    assert plain_docstring(lines) == [
        "A bottom.", "", "", "* `name`: what it is", "  called.", "", "Raises InputError.", "",
    ]  # fmt: skip
