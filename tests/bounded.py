"""Runs commands in a process that may hold 1 GB and is given up when it does not end, and tells what each took."""

import json
import multiprocessing
import os
import resource
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.killing import PRELOADED

MOST_BYTES = 10**9
"""Of memory that such a process may ask for: more is an error in it."""

GIVEN_UP_S = 600.0
"""Of all commands together: one of them waits for something that never comes."""


@dataclass(frozen=True, kw_only=True)
class Took:
    """What a command said, and what it took."""

    words: list[str]
    status: int
    seconds: float
    """From its beginning to its end, less the time in which other programs had the processor."""
    said: str


@dataclass(frozen=True, kw_only=True)
class Ended:
    """How all commands of a process ended."""

    each: tuple[Took, ...]
    """As many as ended."""
    most_mb: float
    """That the process ever held."""


class Bounded:
    """Runs commands one after another, each time in a new process."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload(PRELOADED)

    def run(self, place: Path, commands: Sequence[Sequence[object]]) -> Ended:
        """Run `commands`, words each; what they say and take is written into `place`."""
        note = place / "ended.json"
        words = [[str(word) for word in command] for command in commands]
        process = self._context.Process(target=_run, args=(str(place), words))
        process.start()
        process.join(GIVEN_UP_S)
        if process.exitcode is None:
            process.kill()
            process.join()
        found = json.loads(note.read_text(encoding="utf-8")) if note.exists() else {"each": [], "most_mb": 0.0}
        return Ended(each=tuple(Took(**one) for one in found["each"]), most_mb=found["most_mb"])


def _run(place: str, commands: list[list[str]]) -> None:
    from distort.__main__ import main
    from distort.report.figures import drawing

    resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))
    drawing.WORTH_A_PROCESS = sys.maxsize  # a second process would have memory of its own
    said = os.open(os.path.join(place, "said.txt"), os.O_RDWR | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(said, stream)
    each: list[Took] = []
    for words in commands:
        begin, before_s = os.lseek(said, 0, os.SEEK_END), _unhindered_s()
        status = main(words)
        sys.stdout.flush()
        sys.stderr.flush()
        text = os.pread(said, 10**6, begin).decode("utf-8", errors="replace")
        each.append(Took(words=words, status=status, seconds=_unhindered_s() - before_s, said=text))
        most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        with open(os.path.join(place, "ended.json"), "w", encoding="utf-8") as file:
            json.dump({"each": [asdict(one) for one in each], "most_mb": most_mb}, file)


def _unhindered_s() -> float:
    """A clock that stands still while this thread would run and may not (Linux, sched-stats: the second number)."""
    with open("/proc/thread-self/schedstat", encoding="ascii") as file:
        waited_ns = int(file.read().split()[1])
    return time.monotonic() - waited_ns / 1e9
