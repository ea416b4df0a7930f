"""Studies of hundreds of cases in several processes."""

import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

import pytest

Job = TypeVar("Job")
ThirdOctaves = TypeVar("ThirdOctaves")

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """New processes compute in one thread each: on matrices of 5 by 5, threads that wait for each other only cost."""
    for name in THREADS:
        monkeypatch.setenv(name, "1")


def in_processes(work: Callable[[Job], ThirdOctaves], jobs: Iterable[Job], *, processes: int) -> Iterator[ThirdOctaves]:
    """`work` of every job, in order; in this process where `processes` is 1. Raises what the work raises."""
    if processes == 1:
        yield from map(work, jobs)
        return
    with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield from pool.map(work, jobs, chunksize=4)
