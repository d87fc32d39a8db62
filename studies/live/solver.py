"""Solves off the page's thread, the latest request first: what became stale is dropped.

While values move, a request is answered by a quick look (fea/bottom/glance.py); once no newer
request comes for a moment, the whole record follows.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from domemargin.fea.bottom.glance import glance
from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.bottom.slopes import inputs_of, slopes
from domemargin.fea.core.record import Record, Slope
from domemargin.fea.core.settings import Settings
from domemargin.profiles import Profile

QUICK = Settings(waves=0, growth_at=())  # of the solves for slopes: the limit all round
REST = 0.25  # s without a newer request after which the whole record is solved


@dataclass(frozen=True)
class Request:
    """A bottom to solve.

    number : of the request, rising.  required : MPa or None.  sent : time.perf_counter() when
    the page sent it.  ranked : whether slopes are wanted, after the record.
    """

    number: int
    profile: Profile
    required: float | None
    sent: float
    ranked: bool = False


@dataclass(frozen=True)
class Answer:
    """What a request came to: whole is False for the quick answer; one of record, slopes and
    trouble (a sentence) is given."""

    request: Request
    whole: bool
    record: Record | None = None
    slopes: tuple[Slope, ...] | None = None
    trouble: str = ""


class StaleError(Exception):
    """A newer request has come."""


class Latest:
    """One thread that solves the newest request and drops those that it overtakes."""

    def __init__(self, publish: Callable[[Answer], None]) -> None:
        """publish : called in the solver's thread with each answer."""
        self._publish = publish
        self._wake = threading.Condition()
        self._next: Request | None = None
        self._closed = False
        self._length: float | None = None  # of the path, of the last quick answer
        self.dropped = 0
        self._thread = threading.Thread(target=self._run, daemon=True, name="live solver")
        self._thread.start()

    def ask(self, request: Request) -> None:
        """Put a request in the place of any that waits."""
        with self._wake:
            self.dropped += self._next is not None
            self._next = request
            self._wake.notify()

    def close(self) -> None:
        """End the thread after the solve at hand."""
        with self._wake:
            self._closed = True
            self._wake.notify()

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._next is not None or self._closed)
                if self._closed:
                    return
                request, self._next = self._next, None
            assert request is not None
            try:
                self._answer(request)
            except StaleError:
                pass
            except Exception as error:  # a page outlives whatever a bottom does to the solver
                self._publish(Answer(request, True, trouble=f"the solve broke off: {error}"))

    def _answer(self, request: Request) -> None:
        if not request.ranked:
            record, self._length = glance(request.profile, self._length)
            self._publish(Answer(request, False, _judged(record, request.required)))
            with self._wake:
                if self._wake.wait_for(lambda: self._next is not None or self._closed, REST):
                    return
        record = reversal(request.profile, Settings(required=request.required, follow=True))
        self._publish(Answer(request, True, record))
        if request.ranked and record.reversal_pressure_mpa is not None:
            found = slopes(
                request.profile, QUICK, inputs_of(request.profile), None, self._unless_stale
            )
            self._publish(Answer(request, True, record, found))

    def _unless_stale(self, profile: Profile, settings: Settings) -> Record:
        with self._wake:
            if self._next is not None or self._closed:
                raise StaleError
        return reversal(profile, settings)


def _judged(record: Record, required: float | None) -> Record:
    """A record with the requirement put in, which adds no growth to be solved for."""
    found = record.reversal_pressure_mpa
    margin = found / required - 1.0 if found and required else None
    return replace(record, required_pressure_mpa=required, margin=margin)


def now() -> float:
    """Seconds of the clock that requests are stamped with."""
    return time.perf_counter()
