"""The evidence page: rows are judged, recorded and shown as they are, failing ones above all."""

from __future__ import annotations

import html.parser
import json
import math
import os
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from evidence_page import grouped, pages, verdict_of
from evidence_rows import BENDING, BOTTOMS, COMPUTED, FAIL, GAP, MEMORY, PASS, About, Row, judged

HERE = Path(__file__).parent
INVENTED = About(BENDING, "Nobody, On Nothing, 1901", MEMORY)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        ({"computed": 1.004, "expected": 1.0, "rel": 0.005}, PASS),
        ({"computed": 1.006, "expected": 1.0, "rel": 0.005}, FAIL),
        ({"computed": -1.004, "expected": -1.0, "rel": 0.005}, PASS),
        ({"computed": 1.006, "expected": 1.0, "rel": 0.005, "abs": 0.01}, PASS),
        ({"computed": 0.0005, "expected": 0.0, "rel": 0.005}, FAIL),
        ({"computed": math.nan, "expected": 1.0, "rel": 0.005}, FAIL),
        ({"computed": None, "expected": 1.0, "rel": 0.005}, FAIL),
        ({"computed": 5, "expected": 6, "abs": 1}, PASS),
        ({"computed": 4, "expected": 6, "abs": 1}, FAIL),
        ({"computed": 3.9, "least": 3.5}, PASS),
        ({"computed": 3.4, "least": 3.5}, FAIL),
        ({"computed": 3.4, "least": 1.0, "most": 3.3}, FAIL),
        ({"computed": math.nan, "most": 3.3}, FAIL),
        ({"computed": None, "expected": None}, PASS),
        ({"computed": "limit", "expected": "ceiling"}, FAIL),
    ],
)
def test_verdicts(values: dict, verdict: str) -> None:
    assert judged(INVENTED, "case", **values).verdict == verdict


def test_a_row_says_what_it_is() -> None:
    row = judged(INVENTED, "w0", computed=2.0102, expected=2.0, rel=0.01, unit="mm")
    assert (row.expected, row.computed, row.error, row.band) == (
        "2 mm", "2.0102 mm", "+0.51 %", "±1 %",
    )  # fmt: skip
    row = judged(INVENTED, "w0", computed=0.011, expected=0.01, rel=0.005, abs=0.002, unit="mm")
    assert (row.error, row.band, row.verdict) == ("+0.001 mm", "±0.002 mm", PASS)
    row = judged(INVENTED, "w0", computed=2.0, least=1.0, most=3.0)
    assert (row.expected, row.band) == ("1 to 3", "bound")


def test_kind_and_physics_must_be_known() -> None:
    with pytest.raises(ValueError, match="kind is 'hearsay'"):
        About(BENDING, "somebody", "hearsay")
    with pytest.raises(ValueError, match="physics is 'alchemy'"):
        About("alchemy", "somebody", MEMORY)


ROWS = [
    Row(
        BOTTOMS, "open case | one", "a <b>bold</b> source", COMPUTED, "1", "1", "0 %", "±1 %", PASS
    ),
    Row(BENDING, "plate", "Nobody 1901", MEMORY, "2", "3", "+50 %", "±1 %", FAIL, "off the mark"),
    Row(BENDING, "cap", "Nobody 1901", MEMORY, "2", "2.1", "+5 %", "±1 %", GAP, "not modelled"),
]


class Reader(html.parser.HTMLParser):
    """Tags that are open, and texts of table rows."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows: list[list[str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list) -> None:
        names = dict(attrs)
        assert "src" not in names
        assert names.get("href", "#").startswith("#")
        if tag not in ("meta", "link", "br"):
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if {"td", "th"} & set(self.open):
            self.rows[-1][-1] += data


def test_pages_show_every_row_and_above_all_the_failing_one() -> None:
    markdown, page = pages(ROWS, "9.9", "2001-02-03")
    total = "1 of 3 checks FAIL, 1 known gaps"
    assert verdict_of(ROWS) == total
    assert [group.physics for group in grouped(ROWS)] == [BOTTOMS, BENDING]
    for text in (markdown, page):
        assert total in text
        assert "The checks by source: 2 value from memory, 1 computed independently." in text
        assert "9.9" in text
        assert "2001-02-03" in text
    assert "**FAIL**: off the mark" in markdown
    assert "known gap: not modelled" in markdown
    # those outside their band are named ahead of all rows, failing ones first
    for text in (markdown, page):
        assert 0 < text.index("plate: +50 %") < text.index("cap: +5 %") < text.index("Nobody 1901")
    assert "open case \\| one" in markdown
    widths = {line.count("|") - line.count("\\|") for line in markdown.splitlines() if "|" in line}
    assert widths == {6, 8}
    reader = Reader(page)  # well formed, and nothing loaded from elsewhere
    assert reader.open == []
    assert "<b>bold</b>" not in page
    cells = {row[0]: row[1:] for row in reader.rows}
    assert cells["plateoff the mark"] == [
        "[2] value from memory", "2", "3", "+50 %", "±1 %", "FAIL",
    ]  # fmt: skip
    assert cells["capnot modelled"][-1] == "known gap"
    assert cells["open case | one"][-1] == "pass"
    assert verdict_of(ROWS[:1]) == "1 of 1 checks pass"


# indented, or evidence.py would take this file for one of its own
MODULE = """
    import pytest
    from evidence_rows import BENDING, MEMORY, PUBLISHED, About
    ABOUT = About(BENDING, "Nobody 1901", MEMORY)

    def test_holds(evidence):
        own = {"source": "Somebody 1902", "kind": PUBLISHED}
        evidence("one", computed=1.0, expected=1.0, rel=0.01, **own)

    def test_fails(evidence):
        evidence("two", computed=2.0, expected=1.0, rel=0.01)

    def test_breaks():
        raise RuntimeError("no convergence")

    @pytest.mark.xfail(strict=True, reason="not modelled")
    def test_known(evidence):
        evidence("three", computed=1.0, expected=1.0, rel=0.01)
        evidence("four", computed=2.0, expected=1.0, rel=0.01)

    @pytest.mark.xfail(strict=True, reason="thought not to hold")
    def test_mended(evidence):
        evidence("five", computed=1.0, expected=1.0, rel=0.01)

    @pytest.fixture
    def broken():
        raise OSError("gone")

    def test_never_runs(broken, evidence):
        evidence("six", computed=1.0, expected=1.0, rel=0.01)
"""


def test_a_run_goes_on_and_records_what_fails(tmp_path: Path) -> None:
    (tmp_path / "pytest.ini").write_text("[pytest]")
    (tmp_path / "test_invented.py").write_text(textwrap.dedent(MODULE))
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "conftest", "--evidence", "rows.json"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(HERE)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1, done.stdout + done.stderr
    rows = [Row(**row) for row in json.loads((tmp_path / "rows.json").read_text(encoding="utf-8"))]
    assert [(row.case, row.verdict) for row in rows] == [
        ("one", PASS), ("two", FAIL), ("breaks", FAIL), ("three", PASS), ("four", GAP),
        ("five", PASS), ("mended", FAIL), ("never runs", FAIL),
    ]  # fmt: skip
    by_case = {row.case: row for row in rows}
    assert (by_case["one"].source, by_case["one"].kind) == ("Somebody 1902", "published")
    assert by_case["four"].reason == "not modelled"
    assert "no convergence" in by_case["breaks"].reason
    assert "XPASS" in by_case["mended"].reason
    assert by_case["two"].test == "test_invented.py::test_fails"


def test_the_readme_names_the_version_and_date_of_the_page() -> None:
    root = HERE.parent
    page = (root / "results" / "reference" / "evidence.md").read_text(encoding="utf-8")
    found = re.search(r"domemargin (\S+), (\d{4}-\d\d-\d\d)", page)
    assert found is not None
    readme = (root / "README.md").read_text(encoding="utf-8")
    assert f"version {found[1]}, {found[2]}" in readme
    assert (root / "results" / "reference" / "evidence.html").is_file()
