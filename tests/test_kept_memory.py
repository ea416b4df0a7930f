"""What is freed is kept by the process: it need not ask the system for it again."""

import ctypes
import subprocess
import sys

import pytest

from distort import system
from distort.system import keep_memory

WORK = """
import resource, sys
import numpy as np
from distort.system import keep_memory

if "keep" in sys.argv:
    keep_memory()
values = np.ones(24_000)

def work():
    for _ in range(300):
        np.square(values) + np.square(values)

work()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
work()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def pages_asked_for(*words: str) -> int:
    ending = subprocess.run(
        [sys.executable, "-c", WORK, *words], capture_output=True, text=True, check=True, timeout=120
    )
    return int(ending.stdout)


@pytest.mark.skipif(sys.platform != "linux", reason="only glibc has such parameters")
def test_arrays_of_a_short_sweep_take_no_new_pages() -> None:
    """Each of 600 arrays of 192 kB has 47 pages of 4 kB; kept, they are asked for once."""
    assert pages_asked_for("keep") < 300
    assert pages_asked_for() > 600


def test_a_library_without_such_parameters_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda name: object())
    keep_memory()
    monkeypatch.setattr(system, "LINUX", False)
    monkeypatch.delattr(ctypes, "CDLL")
    keep_memory()
