"""Where cases are solved: here, in processes of this machine, or on a Dask cluster.

An engine sends work to workers and replaces workers that died.  The runner uses nothing else of an
engine, so that every engine gives the same table.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from typing import Any

from domemargin.profiles import InputError
from domemargin.studies.study import worker
from domemargin.studies.study.cases import code_version

_STARTS = 3
_CLUSTER_PATIENCE = 120.0  # s that the cluster may be without a worker


class WorkerError(RuntimeError):
    """Workers that cannot solve any case."""


class Engine:
    """What the runner needs of an engine.

    workers : how many cases are solved at a time.  chunk_seconds : how long a worker should be
    busy with what it is sent.  prepare : run by the worker before a chunk.
    limits : whether a worker may end itself when a case is over its limit.  local : whether it
    sees the files of this machine.
    lost : the errors that mean that a worker died.  deaths : how often that must happen to a
    case on its own before it is taken for the cause.  isolates : whether a worker that dies takes
    only its own work with it.
    """

    workers: int = 1
    chunk_seconds: float = 0.0
    prepare: Callable[[], None] | None = None
    lost: tuple[type[BaseException], ...] = ()
    deaths: int = 2
    isolates: bool = False
    limits: bool = True
    local: bool = True

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Hand work to a worker."""
        raise NotImplementedError

    def renew(self) -> int:
        """Replace workers that died; returns how many were replaced."""
        return 0

    def kill(self) -> None:
        """Kill the workers, because one does not return; renew() starts new ones."""

    def check(self) -> None:
        """Called while no result arrives; raises WorkerError if none will."""

    def close(self, at_once: bool = False) -> None:
        """Stop the workers; at_once: without waiting for the cases they are solving."""


class Serial(Engine):
    """One case at a time, in this process, which cannot be stopped: a case has no time limit."""

    limits = False

    def __init__(self) -> None:
        from threadpoolctl import threadpool_limits

        self._limits = threadpool_limits(1)

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Solve it in this process."""
        future: Future[Any] = Future()
        future.set_running_or_notify_cancel()
        try:
            future.set_result(function(*arguments))
        except Exception as error:
            future.set_exception(error)
        return future

    def close(self, at_once: bool = False) -> None:
        """Give the libraries their number of threads back."""
        self._limits.restore_original_limits()


class Processes(Engine):
    """Worker processes on this machine, each with one thread and a queue of its own."""

    # a case takes about this long: one case a chunk, so that a killed run loses one case a worker
    chunk_seconds = 0.1
    lost = (BrokenExecutor,)
    isolates = True

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or _cores()
        self._environment = contextlib.ExitStack()
        self._environment.enter_context(worker.one_thread_each())
        self._spare: _Process | None = None
        for _ in range(_STARTS):
            self._processes = [_Process() for _ in range(self.workers)]
            if self._processes[0].starts():
                return
            for process in self._processes:
                process.close(at_once=True)
        self._environment.close()
        raise WorkerError(f"worker processes cannot be started: they died {_STARTS} times")

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Send work to the worker process with the shortest queue."""
        return min(self._processes, key=_Process.load).submit(function, *arguments)

    def renew(self) -> int:
        """Start a process for each that died; after the first death a spare process is kept."""
        dead = [i for i, process in enumerate(self._processes) if process.is_dead()]
        for i in dead:
            self._processes[i].close()
            self._processes[i] = self._spare or _Process()
            self._spare = _Process()
        return len(dead)

    def kill(self) -> None:
        """Kill the processes."""
        for process in self._processes:
            process.kill()

    def close(self, at_once: bool = False) -> None:
        """Stop the processes."""
        for process in (*self._processes, *([self._spare] if self._spare else [])):
            process.close(at_once, wait=True)
        self._environment.close()


class _Process:
    """One worker process."""

    def __init__(self) -> None:
        import multiprocessing

        # spawn: a fresh interpreter, so that the number of threads is set before numpy loads
        self._pool = ProcessPoolExecutor(
            1, multiprocessing.get_context("spawn"), initializer=worker.start
        )
        with _interrupts_blocked():
            # a worker inherits the blocked signal: it is not interrupted before it is ready
            self._ready = self._pool.submit(os.getpid)
        self._work: list[Future[Any]] = []

    def starts(self) -> bool:
        """Wait until the process is ready; returns whether it runs then."""
        return not isinstance(self._ready.exception(), BrokenExecutor)

    def load(self) -> int:
        """Number of chunks in its queue."""
        self._work = [future for future in self._work if not future.done()]
        return len(self._work)

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        future = self._pool.submit(function, *arguments)
        self._work.append(future)
        return future

    def is_dead(self) -> bool:
        try:
            self._pool.submit(os.getpid)
        except BrokenExecutor:
            return True
        return False

    def kill(self) -> None:
        for process in list((self._pool._processes or {}).values()):
            process.kill()

    def close(self, at_once: bool = False, wait: bool = False) -> None:
        if at_once:
            self.kill()
        self._pool.shutdown(wait=wait, cancel_futures=True)


class Cluster(Engine):
    """The workers of a Dask cluster (extra `cluster`)."""

    chunk_seconds = 2.0  # a message over the network costs more than one between processes
    local = False
    deaths = 1  # the scheduler abandons a task only after it killed several workers
    prepare = staticmethod(worker.limit_to_one_thread)

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client, KilledWorker
        except ImportError:
            raise InputError(
                "--cluster needs the package dask[distributed]; install domemargin[cluster]",
                "--cluster",
            ) from None
        try:
            self._client = Client(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                f"--cluster is {address!r}, where no scheduler answers: {error}", "--cluster"
            ) from None
        self._empty_since: float | None = None
        self.workers = max(1, sum(self._client.nthreads().values()))
        self.lost = (KilledWorker,)
        # the runner solves a case again and isolates the one that killed the worker
        self._executor: Executor = self._client.get_executor(pure=False, retries=0)
        self._code = code_version()
        self._guarded = _guard()
        try:
            for name, (code, _) in self._client.run(self._guarded, self._code, None).items():
                self._same_code(code, name)
        except BaseException:
            self.close()
            raise

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Send work to the cluster; a worker that joined later with other code rejects it."""
        work = pickle.dumps((function, arguments))
        answer: Future[Any] = Future()
        answer.set_running_or_notify_cancel()

        def take(inner: Future[Any]) -> None:
            try:
                code, result = inner.result()
                self._same_code(code)
                answer.set_result(result)
            except BaseException as error:  # the runner handles it
                answer.set_exception(error)

        self._executor.submit(self._guarded, self._code, work).add_done_callback(take)
        return answer

    def _same_code(self, code: str, worker_name: str = "") -> None:
        if code != self._code:
            raise WorkerError(
                f"a worker of the cluster{worker_name and f' ({worker_name})'} has {code}, this "
                f"machine has {self._code}; install the same version there and run the study again"
            )

    def renew(self) -> int:
        """The cluster replaces workers that died: wait for one."""
        try:
            self._executor.submit(os.getpid).result(timeout=_CLUSTER_PATIENCE)
        except Exception as error:
            self.kill(error)
        return 1

    def check(self) -> None:
        """Raise WorkerError if the cluster has been without workers for too long."""
        if self._client.nthreads():
            self._empty_since = None
        elif self._empty_since is None:
            self._empty_since = time.monotonic()
        elif time.monotonic() - self._empty_since > _CLUSTER_PATIENCE:
            self.kill()

    def kill(self, cause: BaseException | None = None) -> None:
        """Do nothing: the cluster manages its own workers."""
        raise WorkerError("the cluster no longer answers; run the study again") from cause

    def close(self, at_once: bool = False) -> None:
        """Leave the cluster."""
        self._executor.shutdown(wait=False)
        self._client.close()


def _guard() -> Callable[[str, bytes | None], tuple[str, Any]]:
    """What a worker runs first: it works only if it has the same version of the code as the caller.

    A nested function is sent by value, so that it also runs where the package is missing or of
    another version; it returns plain data for the same reason.
    """

    def guarded(code: str, work: bytes | None) -> tuple[str, Any]:
        import pickle

        try:
            from domemargin.studies.study.cases import code_version

            own = code_version()
        except Exception as error:
            return f"no domemargin that can be used ({type(error).__name__}: {error})", None
        if own != code or work is None:
            return own, None
        function, arguments = pickle.loads(work)
        return own, function(*arguments)

    return guarded


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not available on this system
        return os.cpu_count() or 1


@contextlib.contextmanager
def _interrupts_blocked() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
