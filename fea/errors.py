"""What can go wrong in a solve, as types."""

from __future__ import annotations


class SolveError(RuntimeError):
    """A solve that could not be carried on.  `reason` says why in one sentence."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason
