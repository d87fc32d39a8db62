"""A small share of the mangled inputs; all of them: python tests/long/mutated_inputs.py."""

from __future__ import annotations

from mutated_inputs import one

COUNT = 100


def test_mangled_inputs_are_answered_in_a_sentence() -> None:
    for index in range(1, COUNT + 1):
        case, end = one(20251, index)
        assert not end.faults(), (index, case, end)
