"""Work shared with other processes: the order of results and errors, who takes what, and how it ends."""

import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor
from pathlib import Path

import pytest

from distort.processes import Others, shared

LONGEST_S = 60.0
"""More than any of this takes on a busy machine."""

Tell = Callable[[float], None]


def nothing(_: float) -> None:
    pass


def wait_for(path: Path) -> None:
    until = time.monotonic() + LONGEST_S
    while not path.exists():
        assert time.monotonic() < until, f"{path} never came"
        time.sleep(0.01)


def meets(job: tuple[Path, str, str], tell: Tell) -> tuple[str, int]:
    """Wait until the other of two jobs has begun, which takes another process; fail where the job is named so."""
    folder, name, other = job
    (folder / name).touch()
    wait_for(folder / other)
    if name.startswith("bad"):
        raise ValueError(name)
    return name, os.getpid()


def test_results_come_in_the_order_of_the_jobs_from_both_processes(tmp_path: Path) -> None:
    jobs = [(tmp_path, "small", "small"), (tmp_path, "one", "two"), (tmp_path, "two", "one")]
    heard: list[float] = []
    found = list(shared(meets, jobs, sizes=[1, 5, 5], others=Others(1), progress=heard.append))
    assert [name for name, _ in found] == ["small", "one", "two"]
    assert len({process for _, process in found}) == 2


def test_the_error_is_that_of_the_first_job_that_fails(tmp_path: Path) -> None:
    jobs = [(tmp_path, "good", "good"), (tmp_path, "bad 1", "bad 2"), (tmp_path, "bad 2", "bad 1")]
    results = shared(meets, jobs, sizes=[3, 9, 9], others=Others(1), progress=nothing)
    assert next(results)[0] == "good"
    with pytest.raises(ValueError, match="bad 1"):
        next(results)


def test_the_largest_that_is_left_is_taken_next_and_none_after_one_that_failed() -> None:
    taken: list[str] = []

    def work(job: str, tell: Tell) -> str:
        taken.append(job)
        if job == "bad":
            raise ValueError(job)
        return job

    jobs, sizes = ["one", "five", "three", "also five"], [1, 5, 3, 5]
    assert list(shared(work, jobs, sizes=sizes, others=Others(0), progress=nothing)) == jobs
    assert taken == ["five", "also five", "three", "one"]
    taken.clear()
    with pytest.raises(ValueError, match="bad"):
        list(shared(work, ["one", "bad", "five", "seven"], sizes=[1, 6, 5, 7], others=Others(0), progress=nothing))
    assert taken == ["seven", "bad", "one"]


def tells(job: tuple[int, Path], tell: Tell) -> None:
    """Elsewhere than in the process of the job: tell a quarter, and wait until that was heard there."""
    first, heard = job
    if os.getpid() != first:
        tell(0.25)
        wait_for(heard)


def test_how_far_another_process_is_is_told_here(tmp_path: Path) -> None:
    """The one job has size 8, so a quarter of it is 2."""
    heard = tmp_path / "heard"

    def progress(done: float) -> None:
        assert threading.current_thread() is threading.main_thread()
        if done == 2.0:
            heard.touch()

    assert list(shared(tells, [(os.getpid(), heard)], sizes=[8], others=Others(1), progress=progress)) == [None]


def ends(job: int, tell: Tell) -> None:
    if os.getpid() != job:
        os._exit(3)
    time.sleep(0.2)  # so that this process does not do the other's job as well


def test_a_process_that_ends_without_a_word_is_told() -> None:
    with pytest.raises(BrokenExecutor, match="without a word"):
        list(shared(ends, [os.getpid()] * 2, sizes=[1, 1], others=Others(1), progress=nothing))


INTERRUPTED = """
import os, signal, sys, time
from distort.processes import Others, shared

def work(job, tell):
    print("at it", flush=True)
    time.sleep(120.0)

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job begins deaf to it
    list(shared(work, [1, 2], sizes=[1, 1], others=Others(1), progress=lambda done: None))
"""


def test_ctrl_c_ends_all_processes_at_once(tmp_path: Path) -> None:
    """The standard output that they share ends when the last of them has ended: both would go on for two minutes."""
    script = tmp_path / "interrupted.py"
    script.write_text(INTERRUPTED, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, script], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True
    ) as first:
        assert first.stdout is not None
        for _ in range(2):
            assert first.stdout.readline() == b"at it\n"
        os.killpg(first.pid, signal.SIGINT)  # as a terminal does: all of them
        ended, _, _ = select.select([first.stdout], [], [], LONGEST_S)
        assert ended, "a process was left"
        assert first.stdout.read() == b""


def loads(job: tuple[int, str], tell: Tell) -> bool:
    """Whether a module was loaded here that nothing in this file loads; the first process only waits."""
    first, module = job
    if os.getpid() == first:
        time.sleep(0.2)
    return module in sys.modules


def test_processes_that_begin_ahead_load_what_they_will_need() -> None:
    with Others(1, load="tabnanny") as others:
        others.begin()
        found = list(shared(loads, [(os.getpid(), "tabnanny")] * 2, sizes=[1, 1], others=others, progress=nothing))
    assert any(found)
    assert "tabnanny" not in sys.modules


def test_processes_that_get_no_work_end_with_whoever_began_them() -> None:
    with Others(1) as others:
        others.begin()
        (connection,) = others.connections
    assert select.select([connection], [], [], LONGEST_S)[0]
    with pytest.raises(EOFError):
        connection.recv()
