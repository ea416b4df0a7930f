"""Runs commands of this program in processes of their own and kills them, at a moment or at a file operation.

What a command prints is in the file beside the folder whose name ends in ".said".
"""

import multiprocessing
import os
import random
import resource
import signal
import sys
from pathlib import Path
from typing import Any

PRELOADED = [
    "distort.__main__",
    "distort.archive",
    "distort.capture.importing.recordings",
    "distort.capture.measuring.playing",
    "distort.capture.simulated.session",
    "distort.report.figures.session_figures",
    "matplotlib.backends.backend_agg",
    "matplotlib.backends.backend_svg",
]
"""Loaded once, in the process from which the others fork: so that kills fall into the work, not into imports."""

CHANGES = {"open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.truncate"}
"""Audit events of Python (its manual, "Audit events table") before a file is opened, named, or removed."""

LONGEST_S = 120.0
"""No command here takes a tenth of it; one that hangs is an error of its own."""


class Runner:
    """Runs commands; `operations` of the last run is how often it touched files of the folder that is watched."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload(PRELOADED)
        self.operations = 0
        self.seconds = 0.0

    def whole(self, folder: Path, *words: object, largest_file_bytes: int | None = None) -> int:
        """Run to the end; the exit status. A file that grows beyond `largest_file_bytes` is a write that fails."""
        counted = self._context.Value("i", 0)  # held here: it lives as long as this does
        process = self._started(folder, words, counted, None, largest_file_bytes)
        process.join(LONGEST_S)
        assert process.exitcode is not None, f"{words} hangs"
        self.operations = counted.value
        return int(process.exitcode)

    def killed(self, moment: random.Random, folder: Path, *words: object) -> bool:
        """Run, and kill before a file operation, or some time after one; whether it was killed before it ended.

        `whole` must have run like words before: the moment is drawn from its operations.
        """
        at = moment.randint(1, max(self.operations, 1))
        return self.killed_at(at, folder, *words, after_s=moment.choice([0.0, moment.uniform(0.0, 0.3)]))

    def killed_at(self, at: int, folder: Path, *words: object, after_s: float = 0.0) -> bool:
        """Run, and kill `after_s` seconds after the `at`-th file operation in `folder`; whether it had not ended."""
        counted = self._context.Value("i", 0)
        process = self._started(folder, words, counted, (at, after_s))
        process.join(LONGEST_S)
        assert process.exitcode is not None, f"{words} hangs"
        assert counted.value, f"{words} did not touch {folder}"
        return process.exitcode == -signal.SIGKILL

    def _started(
        self,
        folder: Path,
        words: tuple[object, ...],
        counted: Any,
        kill: tuple[int, float] | None,
        largest_file_bytes: int | None = None,
    ) -> Any:
        given = (str(folder), [str(word) for word in words], counted, kill, largest_file_bytes)
        process = self._context.Process(target=_run, args=given)
        process.start()
        return process


def _run(
    folder: str, words: list[str], counted: Any, kill: tuple[int, float] | None, largest_file_bytes: int | None
) -> None:
    from distort.__main__ import main

    if largest_file_bytes is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file_bytes, largest_file_bytes))

    said = os.open(f"{folder}.said", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(said, 1)
    os.dup2(said, 2)

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event not in CHANGES or not isinstance(arguments[0], str | os.PathLike):
            return
        if os.fspath(arguments[0]).startswith(folder):
            counted.value += 1
            if kill is not None and counted.value == kill[0]:
                _kill_after(kill[1])

    sys.addaudithook(hook)
    sys.exit(main(words))


def _kill_after(seconds: float) -> None:
    """From inside: the alarm of the system kills without a handler, and without a word."""
    if seconds == 0.0:
        os.kill(os.getpid(), signal.SIGKILL)
    signal.signal(signal.SIGALRM, lambda *_: os.kill(os.getpid(), signal.SIGKILL))
    signal.setitimer(signal.ITIMER_REAL, seconds)
