"""Evidence: checks that are recorded as they are made, for the page that evidence.py writes."""

from __future__ import annotations

import json
from collections.abc import Callable, Generator
from dataclasses import asdict, replace
from typing import Any

import pytest
from evidence_rows import FAIL, GAP, PASS, About, Row, judged

ROWS = pytest.StashKey[list[Row]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--evidence", metavar="FILE", help="write the rows of evidence as JSON")


def pytest_configure(config: pytest.Config) -> None:
    config.stash[ROWS] = []


@pytest.fixture
def evidence(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Check a computed value and record it; arguments as `judged` in evidence_rows.py.

    source, kind and physics may be given where they differ from the module's ABOUT.
    """
    about: About = request.module.ABOUT
    rows = request.node.stash.setdefault(ROWS, [])

    def check(case: str, **values: Any) -> None:
        own = {name: values.pop(name) for name in ("source", "kind", "physics") if name in values}
        row = judged(replace(about, **own), case, **values)
        rows.append(row)
        assert row.verdict == PASS, (
            f"{case}: computed {row.computed}, expected {row.expected}, "
            f"error {row.error}, band {row.band}"
        )

    return check


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    about = getattr(getattr(item, "module", None), "ABOUT", None)
    if about is not None:
        item.config.stash[ROWS].extend(_rows_of(item, about, report))
    return report


def _rows_of(item: pytest.Item, about: About, report: pytest.TestReport) -> list[Row]:
    """Rows of a test that has ended; one that fails without a failing row becomes one itself."""
    known = getattr(report, "wasxfail", None)
    gap = known is not None and report.outcome == "skipped"
    if report.when != "call" and not (report.failed or gap):
        return []
    rows = list(item.stash.get(ROWS, [])) if report.when == "call" else []
    if gap:
        rows = [r.ended(GAP, known or "") if r.verdict == FAIL else r for r in rows]
        missing, verdict, reason = not any(r.verdict == GAP for r in rows), GAP, known or ""
    elif report.failed:
        missing = not any(r.verdict == FAIL for r in rows)
        verdict, reason = FAIL, _last_line(report)
    else:
        missing, verdict, reason = False, PASS, ""
    if missing:
        case = item.name.removeprefix("test_").replace("_", " ")
        rows.append(Row(about.physics, case, about.source, about.kind, "", "", "", "",
                        verdict, reason))  # fmt: skip
    return [replace(row, test=item.nodeid) for row in rows]


def _last_line(report: pytest.TestReport) -> str:
    crash = getattr(report.longrepr, "reprcrash", None)
    text = str(report.longrepr) if crash is None else str(crash.message)
    return (text.strip().splitlines() or ["failed"])[0][:200]


def pytest_sessionfinish(session: pytest.Session) -> None:
    if path := session.config.getoption("--evidence"):
        rows = [asdict(row) for row in session.config.stash[ROWS]]
        with open(path, "w", encoding="utf-8") as file:
            json.dump(rows, file, ensure_ascii=False, indent=1)
