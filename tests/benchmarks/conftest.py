"""Print what the benchmark's own table leaves out: iterations and peak memory."""

from __future__ import annotations

from typing import Any


def pytest_terminal_summary(terminalreporter: Any, config: Any) -> None:
    session = getattr(config, "_benchmarksession", None)
    rows = [b for b in getattr(session, "benchmarks", []) if b.extra_info]
    if rows:
        terminalreporter.section("memory and iterations")
    for row in rows:
        for name, value in row.extra_info.items():
            terminalreporter.write_line(f"{row.name:45s} {name}: {value}")
