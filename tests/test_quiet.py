"""What libraries warn of or log stays out of the way of whoever uses the program; whoever asks for it sees it."""

import subprocess
import sys

import pytest

from distort.__main__ import _sentence

LOUD = """
import logging, sys, warnings
import numpy as np
import distort.commands.wavelength as command
from distort.__main__ import main

def run(arguments):
    np.log(np.zeros(1))
    warnings.warn("a word to programmers")
    logging.getLogger("matplotlib.font_manager").warning("findfont: no such font")
    return 0

command.run = run
sys.argv = ["distort", "wavelength", "1200"]
sys.exit(main())
"""


def said(*options: str) -> str:
    ending = subprocess.run(
        [sys.executable, *options, "-c", LOUD], capture_output=True, text=True, check=True, timeout=120
    )
    assert ending.stdout == ""
    return ending.stderr


def test_no_warning_and_no_log_record_reaches_the_user() -> None:
    assert said() == ""


def test_who_asks_python_for_warnings_has_them() -> None:
    assert "a word to programmers" in said("-W", "default")
    assert "divide by zero" in said("-W", "default")


def test_other_processes_are_as_quiet(capfd: pytest.CaptureFixture[str]) -> None:
    from distort.processes import other_processes

    with other_processes(1) as pool:
        assert pool.submit(_warn).result() == 1
    assert capfd.readouterr().err == ""


def _warn() -> int:
    import logging
    import warnings

    warnings.warn("a word to programmers", stacklevel=1)
    logging.getLogger("matplotlib").warning("a word to programmers")
    return 1


def test_no_memory_and_a_helper_that_died_are_told_in_a_sentence() -> None:
    from concurrent.futures.process import BrokenProcessPool

    assert "not enough memory" in _sentence(MemoryError())
    assert "ended without a word" in _sentence(BrokenProcessPool("A process in the process pool was terminated"))
    assert "fault in this program" in _sentence(ZeroDivisionError())
