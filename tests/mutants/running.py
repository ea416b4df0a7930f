"""Runs tests in a copy of the repository, each time in a process of its own that starts with the libraries loaded."""

import contextlib
import gc
import importlib
import itertools
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.mutants.changes import ROOT, Change
from tests.mutants.nearest import NEEDING_MORE

LIBRARIES = (
    *("numpy", "numpy.testing", "pytest", "hypothesis", "pyfar", "soundfile", "scipy.fft", "scipy.interpolate"),
    *("scipy.ndimage", "scipy.optimize", "scipy.signal", "scipy.special", "scipy.stats"),
)
"""Loaded once; a process that is forked off has them."""

OWN = ("distort", "signals", "tests")
"""What is loaded anew in every run, from the copy."""

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

QUIETLY = (
    *("-q", "--tb=line", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:benchmark"),
    *(
        "-p",
        "no:unraisableexception",
        "-p",
        "no:threadexception",
    ),  # collect garbage, which takes longer than a test
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),  # the libraries are loaded before pytest begins
)

LONGEST_WAIT_S = 900.0
"""By the clock on the wall, for a test that sleeps; one that computes is stopped by its processor time."""


@dataclass(frozen=True)
class Ended:
    """How a run of tests ended."""

    status: int | None
    """pytest's exit status; None where the time was up."""
    said: str
    """What it printed."""
    seconds: float
    """Processor time."""

    @property
    def failed(self) -> str:
        """The first test that failed, in short."""
        named = [line for line in self.said.splitlines() if line.startswith(("FAILED ", "ERROR "))]
        return named[0].partition(" ")[2].partition(" - ")[0] if named else ""


def load_libraries() -> None:
    """Before the first run; computing in one thread, since runs stand side by side."""
    for name in THREADS:
        os.environ[name] = "1"
    for name in LIBRARIES:
        importlib.import_module(name)
    gc.freeze()


def copied(folder: Path) -> Path:
    """A copy of every file that git keeps or would keep, compiled, in `folder`."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    for name in filter(None, listed.stdout.decode().split("\0")):
        source, target = ROOT / name, folder / name
        if source.is_file():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, target)
    subprocess.run([sys.executable, "-m", "compileall", "-q", folder / "distort", folder / "signals"], check=True)
    return folder


def run_tests(folder: Path, tests: Sequence[str], *, limit_s: float, options: Sequence[str] = ("-x",)) -> Ended:
    """Run `tests` in the copy in `folder`, samples too; ends after `limit_s` of processor time."""

    def run() -> int:
        import pytest

        return int(pytest.main([*QUIETLY, "-m", f"not ({NEEDING_MORE})", *options, *tests]))

    return in_child(folder, run, limit_s=limit_s)


def in_child(folder: Path, work: Callable[[], int], *, limit_s: float) -> Ended:
    """`work`, which imports from the copy in `folder`, in a process that is forked off."""
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as output:
        child = os.fork()
        if child == 0:
            _be_child(folder, work, output.fileno(), limit_s)
        try:
            status, seconds = _wait_for(child)
        except KeyboardInterrupt:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)  # it leads a group of its own, which nobody else interrupts
            raise
        output.seek(0)
        return Ended(status=status, said=output.read(), seconds=seconds)


def _be_child(folder: Path, work: Callable[[], int], output: int, limit_s: float) -> None:
    """Never returns."""
    status = 70
    try:
        os.setpgid(0, 0)
        os.dup2(output, 1)
        os.dup2(output, 2)
        spent = resource.getrusage(resource.RUSAGE_SELF)
        most = int(spent.ru_utime + spent.ru_stime + limit_s) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (most, most + 5))
        os.chdir(folder)
        sys.path[0:0] = [str(folder)]
        for name in [name for name in sys.modules if name.partition(".")[0] in OWN]:
            del sys.modules[name]
        status = work()
    except BaseException:  # noqa: BLE001 - nothing may go on here but what is told
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _wait_for(child: int) -> tuple[int | None, float]:
    began = time.monotonic()
    while True:
        pid, status, used = os.wait4(child, os.WNOHANG)
        if pid:
            break
        if time.monotonic() - began > LONGEST_WAIT_S:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)
        time.sleep(0.01)
    seconds = used.ru_utime + used.ru_stime
    return (os.waitstatus_to_exitcode(status) if os.WIFEXITED(status) else None), seconds


_versions = itertools.count(1)


@contextlib.contextmanager
def changed(folder: Path, change: Change):
    """The change in the copy, and the file as it was afterwards."""
    path = folder / change.path
    original, times = path.read_bytes(), path.stat()
    path.write_bytes(change.applied(original))
    # a time of its own, to the second: what was compiled of another version of the file does not belong to this one
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns + 10**9 * next(_versions)))
    try:
        yield
    finally:
        path.write_bytes(original)
        os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
