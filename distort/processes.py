"""Other processes of this program: begun anew, deaf to Ctrl-C, and ended when the first one ends, however it ends."""

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from traceback import format_exception
from typing import Any, Generic, TypeVar

from distort.quiet import quieten_libraries
from distort.system import keep_memory, most_processes

Job = TypeVar("Job")
Done = TypeVar("Done")

Tell = Callable[[float], None]
"""Told how much of a job is done, 0 to 1."""

LOOKS_EVERY_S = 0.2
"""How often a process that waits for others tells how far they are: a bar that moves five times a second runs."""


def other_processes(count: int) -> ProcessPoolExecutor:
    """`count` processes to share work with; functions that they are given are named, so they stand in a module.

    They are begun anew, not forked: a fork inherits threads' locks, such as those of a progress bar, in any state.
    """
    return ProcessPoolExecutor(most_processes(count), mp_context=get_context("spawn"), initializer=_begin)


class Others:
    """Processes that share work with this one: begun when there is some, or ahead of that, and ended together."""

    def __init__(self, count: int, *, load: str | None = None) -> None:
        """`count` of them, each of which first loads the module `load`."""
        self.count = most_processes(count) if count else 0
        self.connections: list[Any] = []
        """One to each; of another kind on each system."""
        self._load = load
        self._processes: list[BaseProcess] = []

    def __enter__(self) -> "Others":
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def begin(self) -> None:
        """Start those that have not been started; each waits at its connection for what it shall do."""
        context = get_context("spawn")
        while len(self._processes) < self.count:
            ours, theirs = context.Pipe()
            self._processes.append(context.Process(target=_serve, args=(theirs, self._load), daemon=True))
            self._processes[-1].start()
            theirs.close()  # so that ours ends when the process does
            self.connections.append(ours)

    def end(self) -> None:
        """End them at once, whatever they do."""
        for process in self._processes:
            process.kill()
            process.join()


def shared(
    work: Callable[[Job, Tell], Done],
    jobs: Sequence[Job],
    *,
    sizes: Sequence[int],
    others: Others,
    progress: Callable[[float], None],
) -> Iterator[Done]:
    """What `work` makes of each job, in the order of `jobs`, done by this process and `others`.

    work       a function of a module; jobs, results and errors go from process to process, so they can be pickled
    sizes      of the jobs: whoever is free takes the largest that is left, so that all end at about the same time
    progress   told how much of all is done, in the unit of `sizes`

    Raises the error of the first job in `jobs` that fails, after the results of those before it; what comes after it
    is not begun any more. BrokenExecutor stands for a process that ended without a word. When this ends, in whatever
    way, the other processes end at once: on Ctrl-C nobody waits for them, and so `work` must not write anything.
    """
    board: _Board[Job, Done] = _Board(jobs, sizes, progress)
    with _helped(work, board, others):
        for result in board.results:
            while not result.done():
                number = board.take()
                if number is None:
                    wait([result], timeout=LOOKS_EVERY_S)
                    board.show()
                else:
                    board.settle(number, partial(work, jobs[number], partial(board.tell, number)))
            yield result.result()


class _Board(Generic[Job, Done]):
    """Which jobs are left, how far the others are, and what came of them."""

    def __init__(self, jobs: Sequence[Job], sizes: Sequence[int], progress: Callable[[float], None]) -> None:
        self.jobs = jobs
        self.results: list[Future[Done]] = [Future() for _ in jobs]
        self.parts = [0.0] * len(jobs)
        """How much of each is done, 0 to 1."""
        self._sizes, self._progress = sizes, progress
        self._left = deque(sorted(range(len(jobs)), key=lambda number: -sizes[number]))
        self._lock = threading.Lock()

    def take(self) -> int | None:
        """Number of the largest job that nobody has begun; None when there is none."""
        with self._lock:
            return self._left.popleft() if self._left else None

    def settle(self, number: int, done: Callable[[], Done]) -> None:
        """Do a job and keep what comes of it."""
        try:
            result = done()
        except Exception as error:  # noqa: BLE001  it is raised when the job's turn has come
            with self._lock:
                self._left = deque(one for one in self._left if one < number)
            self.results[number].set_exception(error)
        else:
            self.parts[number] = 1.0
            self.results[number].set_result(result)

    def tell(self, number: int, part: float) -> None:
        """Say how much of a job that this process has in hand is done."""
        self.parts[number] = part
        self.show()

    def show(self) -> None:
        """Say how much of all is done; by the first thread alone, so that `progress` need not be safe in several."""
        self._progress(sum(size * part for size, part in zip(self._sizes, self.parts, strict=True)))


@contextmanager
def _helped(work: Callable[[Job, Tell], Done], board: _Board[Job, Done], others: Others) -> Iterator[None]:
    """While the body runs, `others` take jobs from the board, each fed by a thread of this process."""
    threads: list[threading.Thread] = []
    try:
        others.begin()
        for connection in others.connections:
            threads.append(threading.Thread(target=_feed, args=(work, board, connection), daemon=True))
            threads[-1].start()
        yield
    finally:
        others.end()
        for thread in threads:
            thread.join()


def _feed(work: Callable[[Job, Tell], Done], board: _Board[Job, Done], connection: Connection) -> None:
    """Hand jobs of the board to another process until none is left or it has died, and keep what comes back."""
    dead = False
    with connection:
        while not dead and (number := board.take()) is not None:
            board.settle(number, partial(_answer, connection, work, board, number))
            dead = isinstance(board.results[number].exception(), BrokenExecutor)


def _answer(connection: Connection, work: Callable[[Job, Tell], Done], board: _Board[Job, Done], number: int) -> Any:
    try:
        connection.send((work, board.jobs[number]))
        while isinstance(said := connection.recv(), float):
            board.parts[number] = said
    except (EOFError, OSError) as error:
        raise BrokenExecutor("a process that shared the work ended without a word") from error
    result, problem = said
    if problem is not None:
        raise problem
    return result


def _serve(connection: Connection, load: str | None) -> None:
    """What another process does: load what it will need, then one job after the other, as long as some come."""
    _begin()
    if load is not None:
        import_module(load)
    while True:
        try:
            work, job = connection.recv()
        except EOFError:
            return
        said: tuple[Any, Exception | None]
        try:
            said = work(job, connection.send), None
        except Exception as error:  # noqa: BLE001  it is raised where the job came from
            error.add_note("".join(format_exception(error)))
            said = None, error
        connection.send(said)


def _begin() -> None:
    """Ctrl-C is for the first process, which then ends the others."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    quieten_libraries()
    keep_memory()
    threading.Thread(target=_end_with_the_first, daemon=True).start()


def _end_with_the_first() -> None:
    """Without this, whoever kills the first process leaves the others waiting for work for ever."""
    first = parent_process()
    if first is not None:
        first.join()
        os._exit(1)
