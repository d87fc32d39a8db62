"""Progress of a run: a bar on a terminal, else a plain line every few seconds."""

from __future__ import annotations

import sys
import time
from collections import deque
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

from domemargin.studies.study.runner import Progress
from domemargin.studies.text.words import duration

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

_WINDOW = 30.0  # s over which the rate is taken
_EVERY = 5.0  # s between plain lines


class Rate:
    """Cases a second over the last half minute, and the time left that follows from it.

    No rate is shown before a few cases are done: starting workers does not count.
    """

    def __init__(self) -> None:
        self._seen: deque[tuple[float, int]] = deque()

    def add(self, seconds: float, done: int) -> None:
        """Note that `done` cases were done after so many seconds."""
        if not self._seen or done > self._seen[-1][1]:
            self._seen.append((seconds, done))
        while len(self._seen) > 2 and seconds - self._seen[0][0] > _WINDOW:
            self._seen.popleft()

    def per_second(self, now: float) -> float | None:
        """Cases a second, None while it is not known."""
        if not self._seen:
            return None
        # the first entry is where counting starts: its own cases took an unknown time
        (t0, n0), (_, n1) = self._seen[0], self._seen[-1]
        return (n1 - n0) / (now - t0) if n1 - n0 >= 5 and now > t0 else None

    def left(self, now: float, todo: int) -> str:
        """The time that `todo` cases will take, in words."""
        rate = self.per_second(now)
        if todo == 0:
            return "done"
        return "time left not known yet" if not rate else f"about {duration(todo / rate)} left"


def words(p: Progress, rate: Rate) -> str:
    """Rate, time left, failures and workers lost."""
    speed = rate.per_second(p.seconds)
    parts = [f"{speed:.1f} cases/s"] if speed else []
    parts.append(rate.left(p.seconds, p.todo - p.done))
    parts.append(f"{p.failed} without an answer")
    if p.workers_lost:
        parts.append(f"{p.workers_lost} workers lost")
    return ", ".join(parts)


class Reporter:
    """Shows progress; use as a context manager and hand it to run_study as on_progress."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stderr
        self._rate = Rate()
        self._next = 0.0
        self._bar: Bar | None = None
        self._last: Progress | None = None

    def __enter__(self) -> Reporter:
        if self._stream.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
            from rich.progress import Progress as Bar

            self._bar = Bar(
                BarColumn(24), MofNCompleteColumn(), TextColumn("{task.description}"),
                console=Console(file=self._stream),
            )  # fmt: skip
            self._bar.start()
            self._bar.add_task("starting workers", total=None)
        self._next = time.monotonic() + _EVERY
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            if self._last is None or not self._last.todo:  # all was solved before: nothing to show
                self._bar.live.transient = True
            self._bar.stop()
        elif self._last is not None:
            self._line(self._last)

    def __call__(self, progress: Progress) -> None:
        """Show a progress."""
        self._last = progress
        self._rate.add(progress.seconds, progress.done)
        if self._bar is not None:
            self._bar.update(
                self._bar.task_ids[0],
                total=progress.todo,
                completed=progress.done,
                description=words(progress, self._rate),
            )
        elif time.monotonic() >= self._next:
            self._line(progress)
            self._next = time.monotonic() + _EVERY

    def _line(self, p: Progress) -> None:
        print(f"{p.done}/{p.todo} cases, {words(p, self._rate)}", file=self._stream, flush=True)
