"""Where time goes within a call: functions wrapped so that each second counts once."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

Places = Mapping[str, Sequence[tuple[Any, str]]]


class Clock:
    """Seconds and calls by name; a second within a named function inside another is the inner's."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self.calls: dict[str, int] = defaultdict(int)
        self._open: list[str] = []
        self._since = 0.0

    def _switch(self) -> None:
        now = time.process_time()
        if self._open:
            self.seconds[self._open[-1]] += now - self._since
        self._since = now

    @contextmanager
    def part(self, name: str) -> Iterator[None]:
        """Time a block under a name."""
        self._switch()
        self._open.append(name)
        try:
            yield
        finally:
            self._switch()
            self._open.pop()

    def wrapped(self, name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function, timed under a name."""

        def call(*args: Any, **kwargs: Any) -> Any:
            self._switch()
            self._open.append(name)
            self.calls[name] += 1
            try:
                return function(*args, **kwargs)
            finally:
                self._switch()
                self._open.pop()

        return call

    @contextmanager
    def watching(self, places: Places) -> Iterator[None]:
        """Within the block every (owner, attribute) of places is timed under its name."""
        with ExitStack() as stack:
            for name, functions in places.items():
                for owner, attribute in functions:
                    timed = self.wrapped(name, getattr(owner, attribute))
                    stack.enter_context(patch.object(owner, attribute, timed))
            yield
