"""Run a study: solve the cases that the store lacks, with the engine given, and store them.

One process, this one, writes the store.  Workers get (key, point) and send results back; only
cases in work are held in memory.  When a worker dies, all cases that were in work are solved again
one at a time: so the case that kills workers is isolated from the others.
"""

from __future__ import annotations

import contextlib
import itertools
import signal
import tempfile
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

from domemargin.studies.study.cases import (
    CRASHED,
    LATE,
    Result,
    Reversal,
    Solver,
    reversal_solver,
    solve_chunk,
)
from domemargin.studies.study.engines import Engine, Processes, WorkerError
from domemargin.studies.study.store import Store
from domemargin.studies.study.study import Study

Todo = tuple[str, dict[str, float]]
CASE_LIMIT = 60.0  # s for one case; a common one takes a tenth of a second
COMPILING = 240.0  # s more where the solver has yet to be compiled
LARGEST_CHUNK = 64
MOST_UNEXPLAINED = 10
PATIENCE = 600.0  # s without any answer after which workers count as blocked


class Task(Protocol):
    """A study as the runner sees it.  Workers get a copy.

    version : that results are valid for.  answered : states of a case that has an answer.
    solved : those that need no explanation at the end of a run.
    """

    @property
    def version(self) -> str:
        """The version that results are valid for."""

    @property
    def compiles(self) -> bool:
        """Whether the first solve on a machine has to compile the solver."""

    @property
    def answered(self) -> tuple[str, ...]:
        """States of a case that has an answer."""

    @property
    def solved(self) -> tuple[str, ...]:
        """States that need no explanation at the end of a run."""

    def text(self) -> str:
        """The study as its store keeps it."""

    def count(self) -> int:
        """How many points the plan has."""

    def plan(self) -> Iterator[Todo]:
        """(key, point) of the whole plan in order."""

    def solve(self, key: str, point: Mapping[str, float]) -> Result:
        """One case, in a worker; a failure is returned as a result, never raised."""


@dataclass(frozen=True)
class Progress:
    """Progress of a run.

    planned : points of the plan.  todo : cases that this run has to solve.  done : cases solved.
    failed : cases done without an answer.  workers_lost.  seconds : since the first case was sent.
    """

    planned: int
    todo: int
    done: int
    failed: int
    workers_lost: int
    seconds: float


@dataclass(frozen=True)
class Outcome:
    """The result of a run.

    counts : state -> planned points, "" for those without a case.  reasons : (state, reason,
    points), the commonest first.
    """

    store: Path
    planned: int
    solved: int
    seconds: float
    interrupted: bool
    workers_lost: int
    counts: dict[str, int]
    reasons: list[tuple[str, str, int]]


def run_study(
    study: Study,
    path: Path,
    engine: Callable[[], Engine] = Processes,
    solver: Solver | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    patience: float = PATIENCE,
    limit: float = CASE_LIMIT,
) -> Outcome:
    """Solve the points of a study of bottoms that its store does not know yet; see run_task.

    solver : other than the reversal solver.
    """
    task = Reversal(study, solver or reversal_solver())
    return run_task(task, path, engine, on_progress, patience, limit)


def run_task(
    task: Task,
    path: Path,
    engine: Callable[[], Engine] = Processes,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    patience: float = PATIENCE,
    limit: float = CASE_LIMIT,
) -> Outcome:
    """Solve the points of a task that its store does not know yet.

    path : of the store.  engine : makes the workers (studies/study/engines.py), only if there is
    something to do.  on_progress : called at least twice a second.  patience : s without an answer
    after which workers are killed, never less than a case may take.  limit : s for one case.
    Ctrl-C, or SIGTERM, ends the run when the cases in work are stored; a second Ctrl-C ends it at
    once.
    Raises StoreError, InputError for a cluster that is not there, WorkerError.
    """
    with Store.open(path) as store:
        put_plan(task, store)
        todo = store.points_left()
        run = _Run(task, store, on_progress, patience, limit, store.planned(), todo)
        if todo:
            if patience >= PATIENCE:
                run.patience = max(patience, 4.0 * limit)
            with _stop_on_signals() as stop, tempfile.TemporaryDirectory() as marks:
                run.marks = Path(marks)
                made = engine()
                try:
                    run.work(made, stop)
                except BaseException:
                    made.close(at_once=True)
                    raise
                made.close()
        return Outcome(
            path,
            run.planned,
            run.done,
            run.seconds,
            run.interrupted,
            run.workers_lost,
            store.counts(),
            store.reasons(task.solved),
        )


def put_plan(task: Task, store: Store) -> None:
    """Put the points of a study into its store, unless they are there."""
    text = task.text()
    known = (store.meta("study"), store.meta("solver"), store.planned())
    if known != (text, task.version, task.count()):
        store.replace_plan(task.plan(), {"study": text, "solver": task.version})


@dataclass
class _Stop:
    wanted: bool = False


@contextlib.contextmanager
def _stop_on_signals() -> Iterator[_Stop]:
    """Ctrl-C and SIGTERM request a stop; a second signal interrupts."""
    stop = _Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def ask(number: int, frame: FrameType | None) -> None:
        if stop.wanted:
            raise KeyboardInterrupt
        stop.wanted = True

    before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@dataclass
class _Run:
    task: Task
    store: Store
    on_progress: Callable[[Progress], None]
    patience: float
    limit: float
    planned: int
    todo: int
    done: int = 0
    failed: int = 0
    workers_lost: int = 0
    interrupted: bool = False
    seconds: float = 0.0
    mean: float = 1.0  # s a case, of the last ones
    in_hand: dict[Future[Any], list[Todo]] = field(default_factory=dict)
    suspects: deque[Todo] = field(default_factory=deque)
    again: deque[Todo] = field(default_factory=deque)  # lost with a worker that another case killed
    alone: bool = False  # a suspected case is in work, alone
    deaths: Counter[str] = field(default_factory=Counter)
    marks: Path | None = None  # folder for the keys of cases over their limit
    unexplained: int = 0  # workers that died one after the other without having begun a case
    sent: float = 0.0  # when a suspect was sent out

    def work(self, engine: Engine, stop: _Stop) -> None:
        left = self.store.left()
        started = last_answer = time.monotonic()
        self._report(started)
        while True:
            if not stop.wanted:
                self._send(engine, left)
            if not self.in_hand:
                break
            finished, _ = wait(self.in_hand, timeout=0.5, return_when=FIRST_COMPLETED)
            late = not finished and time.monotonic() - last_answer > self.patience
            if late:
                engine.kill()
            elif not finished:
                engine.check()
            if finished or late:
                self._take(engine, finished, late)
                last_answer = time.monotonic()
            self._report(started)
        self.interrupted = stop.wanted and self.done < self.todo
        self._report(started)

    def _send(self, engine: Engine, left: Iterator[Todo]) -> None:
        """Keep every worker busy; a suspected case is sent alone, with no other in work."""
        if self.suspects:
            if not self.in_hand:
                self.alone = True
                self.sent = time.monotonic()
                self._submit(engine, [self.suspects.popleft()])
            return
        if self.in_hand and self.alone:
            return
        self.alone = False
        while len(self.in_hand) < 2 * engine.workers:
            out = sum(map(len, self.in_hand.values()))
            share = (self.todo - self.done - out) // (4 * engine.workers)
            size = min(int(engine.chunk_seconds / max(self.mean, 1e-6)), share, LARGEST_CHUNK)
            size = max(size, 1)
            chunk = [self.again.popleft() for _ in range(min(size, len(self.again)))]
            chunk += itertools.islice(left, size - len(chunk))
            if not chunk:
                return
            self._submit(engine, chunk)

    def _submit(self, engine: Engine, chunk: list[Todo]) -> None:
        try:
            limit = (
                self.limit + (COMPILING if self.task.compiles and not _compiled() else 0.0)
                if engine.limits
                else None
            )
            marks = self.marks if engine.local else None
            future = engine.submit(solve_chunk, self.task, chunk, engine.prepare, limit, marks)
        except engine.lost as error:  # the engine failed since the last answer
            future = Future()
            future.set_exception(error)
        self.in_hand[future] = chunk

    def _take(self, engine: Engine, finished: set[Future[Any]], late: bool) -> None:
        """Store results that arrived; if a worker died, decide on the cases that were in work."""
        lost = (*engine.lost, CancelledError)
        broken = late or any(isinstance(_error(f), lost) for f in finished)
        if late or (broken and not engine.isolates):
            finished, _ = wait(self.in_hand)
        results: list[Result] = []
        found = False  # a case in work when a worker died
        for future in finished:
            chunk = self.in_hand.pop(future)
            if not isinstance(_error(future), lost):
                results += future.result()  # an error here is no case's: it ends the run
                continue
            marks = self._marked(chunk)
            found = found or bool(marks)
            guilty = [todo for todo in chunk if todo[0] in marks]
            if engine.isolates:  # the mark names the case
                self.again.extend(todo for todo in chunk if todo[0] not in marks)
            else:
                guilty = chunk
            if over := [self._late(key, marks[key]) for key, _ in guilty if marks.get(key)]:
                results += over
            elif guilty and engine.isolates and not late:
                results += self._died(guilty, engine.deaths)
            elif guilty:
                results += self._suspect(guilty, late, engine.deaths)
        if results:
            self.store.add(results, self.task.version)
            self.done += len(results)
            self.failed += sum(r.state not in self.task.answered for r in results)
            recent = sum(r.seconds for r in results) / len(results)
            self.mean = recent if self.done == len(results) else 0.8 * self.mean + 0.2 * recent
        if broken:
            dead = engine.renew()
            self.workers_lost += dead
            self.unexplained = 0 if results or found else self.unexplained + dead
            if self.unexplained > MOST_UNEXPLAINED:
                raise WorkerError("workers die before they begin a case; the run cannot go on")

    def _marked(self, chunk: list[Todo]) -> dict[str, str]:
        """For a chunk whose worker died: key -> mark of the case in work, a text that says where a
        case over its limit was, else "".
        """
        found: dict[str, str] = {}
        for key, _ in chunk if self.marks is not None else []:
            mark = self.marks / key  # type: ignore[operator]
            if mark.exists():
                found[key] = mark.read_text(encoding="utf-8", errors="replace")
                mark.unlink()
        return found

    def _died(self, guilty: list[Todo], most: int) -> list[Result]:
        """For cases in work when a worker died: solve them again, or record a crash."""
        results = []
        for key, point in guilty:
            self.deaths[key] += 1
            if self.deaths[key] < most:
                self.again.appendleft((key, point))
            else:
                reason = f"the worker that solved it died, {most} times"
                results.append(Result(key, CRASHED, reason, {}, 0.0, passing=True))
        return results

    def _late(self, key: str, detail: str = "") -> Result:
        reason = f"not solved within the limit of {self.limit:g} s for a case"
        return Result(key, LATE, reason, {}, self.limit, detail=detail)

    def _suspect(self, chunk: list[Todo], late: bool, most: int) -> list[Result]:
        """Solve cases alone; record a crash for a case that was alone already."""
        if not self.alone:
            self.suspects.extend(chunk)
            return []
        key = chunk[0][0]
        self.deaths[key] += 1
        if not late and time.monotonic() - self.sent > self.limit:
            return [self._late(key)]
        if late:
            reason = f"no answer within {self.patience:g} s, also on its own"
        elif self.deaths[key] < most:
            self.suspects.append(chunk[0])
            return []
        else:
            reason = "the worker that solved it died, also when it was the only case"
        return [Result(key, CRASHED, reason, {}, 0.0, passing=True)]

    def _report(self, started: float) -> None:
        self.seconds = time.monotonic() - started
        self.on_progress(
            Progress(
                self.planned, self.todo, self.done, self.failed, self.workers_lost, self.seconds
            )
        )


def _compiled() -> bool:
    from domemargin.fea.compiled import is_compiled
    from domemargin.fea.shell.newton import converge

    return is_compiled(converge)


def _error(future: Future[Any]) -> BaseException | None:
    try:
        return future.exception()
    except CancelledError as error:
        return error
