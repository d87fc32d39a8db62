"""A small share of random_profiles.py."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from random_profiles import run, summary


def test_a_few_random_profiles() -> None:
    cases = [
        *(("wide", seed) for seed in range(25)),
        *(("can", seed) for seed in range(10)),
        *(("fine", seed) for seed in range(5)),
        *(("pair", seed) for seed in range(10)),
    ]
    lines, good = summary([run(case) for case in cases])
    assert good, lines
