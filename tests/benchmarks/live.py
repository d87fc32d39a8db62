"""What the live page costs: ms from a drag event to its redraw in a real browser, and weights.

    python tests/benchmarks/live.py [--gap MS] [--moves N]

The browser, the server and its solver share the machine: on one with other work the times say more
about that work.  The load is printed beside them.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_page import Watched, browser, served

from domemargin.fea.bottom.frames import frames
from domemargin.fea.bottom.glance import glance
from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.studies.report.page import html_of
from domemargin.studies.report.reversal import reversal_report


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--gap", type=float, default=50.0, help="ms between two drag events")
    given.add_argument("--moves", type=int, default=60)
    asked = given.parse_args()
    folder = tempfile.TemporaryDirectory()
    with folder as here, served(cwd=Path(here)) as link, browser() as chromium:
        page = chromium.new_page(viewport={"width": 1280, "height": 900})
        weights: list[int] = []
        page.on("response", lambda answer: weights.append(len(answer.body())))
        tab = Watched(page, link)
        box = page.locator("#s-dome_depth").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        for i in range(asked.moves):
            page.mouse.move(x - i, y)
            time.sleep(asked.gap / 1000.0)
        page.mouse.up()
        tab.rested()
        times = np.array(page.evaluate("window.domemarginTimes"))
    north = load_profile("north")
    record = reversal(north, Settings(required=0.62, follow=True))
    report = html_of(reversal_report(record, frames(north), "north"))
    _, length = glance(north)
    spent = []
    for i in range(20):
        started = time.process_time()
        _, length = glance(north.replaced(dome_depth=10.4 - 0.01 * i), length)
        spent.append(1000.0 * (time.process_time() - started))
    ends = f"median {np.median(times):.0f} ms, p95 {np.quantile(times, 0.95):.0f} ms"
    print(f"drag to redraw: {ends}, {times.size} redraws of {asked.moves} moves")  # fmt: skip
    print(f"quick look: {np.median(spent):.1f} ms of processor time")
    print(
        f"page with its scripts: {sum(weights) / 1000:.0f} kB; report: {len(report) / 1000:.0f} kB"
    )
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
