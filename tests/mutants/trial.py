"""One slip tried: made in a copy, its nearest tests run, the copy mended."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.mutants.changes import Change
from tests.mutants.looking import look_at as look_at_file
from tests.mutants.nearest import Near, Nearest, in_turn, known, near_files
from tests.mutants.running import Ended, changed, copied, load_libraries, run_tests

BUDGET_S = (6.0, 20.0)
"""Seconds of processor time, as the tests took under coverage, that the tests of one slip may take together; and of one
that these did not see."""

PATIENCE = 4.0
SET_UP_S = 10.0
"""A slip is stopped after so many times what its tests usually take, and what it takes to begin: endless loops end."""

LONGEST_BY_S = 60.0
"""Of tests that are to see every slip by themselves."""

FILES_AT_ONCE = (2, 4)
"""Test files that are loaded first, and next: most slips are seen by the nearest, and loading the others takes longer
than running their tests."""

TESTS_FAILED, INTERRUPTED, NOT_FOUND = 1, 2, 4
"""Exit statuses of pytest: the last two where a module cannot even be imported."""

PASSED = 0


@dataclass(frozen=True)
class Verdict:
    """What became of a slip."""

    change: Change
    killed: bool
    by: str
    """The test that failed, or how many did not."""
    seconds: float

    @property
    def word(self) -> str:
        """For a line of the list."""
        return "killed" if self.killed else "SURVIVED"


_copy: list[Path] = []


def begin(folder: Path) -> None:
    """In each process once: a copy of its own."""
    load_libraries()
    _copy.append(copied(Path(tempfile.mkdtemp(dir=folder))))


def unknown_files() -> list[Path]:
    """Test files of which it is not known yet what they run."""
    return [path for path in near_files() if known(path) is None]


def look_at(path: Path) -> str:
    """Look at one test file; its name."""
    look_at_file(_copy[0], path)
    return path.name


@cache
def _nearest() -> Nearest:
    return Nearest(test for path in near_files() for test in known(path) or ())


def try_one(change: Change) -> Verdict:
    """Make the slip, run its tests: the quickest first, more where they see nothing. Raises RuntimeError when pytest
    ends as it never should."""
    tried: list[Near] = []
    seconds = 0.0
    with changed(_copy[0], change):
        for budget_s in BUDGET_S:
            more = [one for one in _nearest().to(change, budget_s=budget_s) if one not in tried]
            tried += more
            for some in in_turn(more, FILES_AT_ONCE):
                ended = _run(some, change)
                seconds += ended.seconds
                if ended.status != PASSED:
                    by = "time" if ended.status is None else ended.failed or "its import"
                    return Verdict(change=change, killed=True, by=by, seconds=seconds)
    by = f"{len(tried)} tests saw nothing" if tried else "no near test runs it"
    return Verdict(change=change, killed=False, by=by, seconds=seconds)


def try_by(change: Change, tests: Sequence[str], limit_s: float) -> Verdict:
    """Make the slip, run just these tests, whatever else may see it. Raises RuntimeError as `try_one` does."""
    with changed(_copy[0], change):
        ended = _within(change, tests, limit_s=limit_s)
    by = "time" if ended.status is None else ended.failed or "its import"
    return Verdict(change, ended.status != PASSED, by if ended.status != PASSED else "they saw nothing", ended.seconds)


def seconds_of(tests: Sequence[str]) -> float:
    """Processor time of these tests without any slip. Raises ValueError where they do not pass."""
    ended = run_tests(_copy[0], tests, limit_s=LONGEST_BY_S)
    if ended.status != PASSED:
        raise ValueError(f"without any slip {' '.join(tests)} does not pass in {LONGEST_BY_S:.0f} s:\n{ended.said}")
    return ended.seconds


def _run(tests: Sequence[Near], change: Change) -> Ended:
    """Raises RuntimeError when pytest ends as it never should."""
    usual_s = sum(one.seconds + sum(one.shared.values()) for one in tests)
    return _within(change, [one.name for one in tests], limit_s=PATIENCE * usual_s + SET_UP_S)


def _within(change: Change, tests: Sequence[str], *, limit_s: float) -> Ended:
    ended = run_tests(_copy[0], tests, limit_s=limit_s)
    if ended.status not in (None, PASSED, TESTS_FAILED, INTERRUPTED, NOT_FOUND):
        raise RuntimeError(f"pytest ended with {ended.status} at {change.key}:\n{ended.said}")
    return ended
