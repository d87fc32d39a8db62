"""Machines by cause and verdict: 4,000 simulated plants, 15% ailing.

Written by `python -m domemargin.studies.diagnosis.simulation`.
"""

from __future__ import annotations

PLANTS = 4000
COUNTS: dict[str, dict[str, int]] = {
    "none": {
        "in control": 18093,
        "offset": 9,
        "trend": 3,
        "small step": 27,
        "small drift": 9,
        "lot": 6,
        "spread not explained": 3,
        "not enough data": 5259,
    },
    "set offset": {
        "in control": 5,
        "offset": 516,
        "trend": 1,
        "not enough data": 164,
    },
    "spring relaxing": {
        "offset": 2,
        "trend": 549,
        "small drift": 1,
        "spread not explained": 3,
        "not enough data": 148,
    },
    "drive play": {
        "spread not explained": 770,
        "not enough data": 37,
    },
    "small play": {
        "in control": 4,
        "spread not explained": 722,
        "not enough data": 55,
    },
    "tool change": {
        "offset": 509,
        "trend": 2,
        "small step": 2,
        "spread not explained": 3,
        "not enough data": 138,
    },
    "small step": {
        "in control": 261,
        "offset": 40,
        "trend": 3,
        "small step": 199,
        "small drift": 2,
        "lot": 3,
        "not enough data": 146,
    },
    "small drift": {
        "in control": 187,
        "offset": 10,
        "trend": 28,
        "small drift": 243,
        "not enough data": 143,
    },
    "sheet lot": {
        "in control": 29,
        "offset": 49,
        "small step": 6,
        "small drift": 1,
        "lot": 1571,
        "spread not explained": 20,
        "not enough data": 378,
    },
    "operator": {
        "in control": 1911,
        "trend": 1,
        "small step": 1,
        "small drift": 4,
        "lot": 21,
        "spread not explained": 3,
        "not enough data": 654,
    },
}
