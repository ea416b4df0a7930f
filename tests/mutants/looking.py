"""What each test runs, line by line: a plugin of pytest beside coverage."""

import functools
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.mutants.changes import FOLDERS, ROOT
from tests.mutants.nearest import LONGEST_FILE_S, LONGEST_TEST_S, NEEDING_MORE, Near, keep, known
from tests.mutants.running import QUIETLY, in_child

SHARED = "shared: "
"""Before the name of a fixture that several tests of a file use: what it runs, all of them rest on."""


class _Looking:
    """Tells coverage which test runs, and takes its time."""

    def __init__(self, coverage: Any) -> None:
        self.coverage = coverage
        self.seconds: dict[str, float] = {}
        self.shared_seconds: dict[str, float] = {}
        self.fixtures: dict[str, list[str]] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[Any]:
        _forget_what_was_kept()
        self.coverage.switch_context(item.nodeid)
        self.fixtures[item.nodeid] = list(getattr(item, "fixturenames", ()))
        began, before = time.process_time(), sum(self.shared_seconds.values())
        done = yield
        shared = sum(self.shared_seconds.values()) - before
        self.seconds[item.nodeid] = time.process_time() - began - shared
        self.coverage.switch_context("")
        if sum(self.seconds.values()) + sum(self.shared_seconds.values()) > LONGEST_FILE_S:
            item.session.shouldstop = "its other tests stand too far from any formula"
        return done

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Iterator[Any]:
        if fixturedef.scope == "function":
            return (yield)
        self.coverage.switch_context(SHARED + fixturedef.argname)
        began = time.process_time()
        made = yield
        self.shared_seconds[fixturedef.argname] = time.process_time() - began
        self.coverage.switch_context(request._pyfuncitem.nodeid)
        return made

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed or report.skipped:
            self.failed.add(report.nodeid)


def _forget_what_was_kept() -> None:
    """So that the second test that needs a kept result is seen to need it."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in ("distort", "signals"):
            for value in list(vars(module).values()):
                if isinstance(value, functools._lru_cache_wrapper):
                    value.cache_clear()


def look_at(folder: Path, path: Path) -> None:
    """Run one test file in the copy in `folder` and keep what its tests run. Raises RuntimeError when one fails."""

    def run() -> int:
        import coverage

        watched = coverage.Coverage(
            data_file=None, include=[f"{folder}/{one}/*" for one in FOLDERS], config_file=False, messages=False
        )
        looking = _Looking(watched)
        watched.start()
        pytest.main([*QUIETLY, "-m", f"not ({NEEDING_MORE})", str(path.relative_to(ROOT))], plugins=[looking])
        watched.stop()
        keep(path, _seen(folder, watched.get_data(), looking))
        return 0

    ended = in_child(folder, run, limit_s=3.0 * LONGEST_FILE_S)
    if known(path) is None:
        raise RuntimeError(f"{path.name} could not be looked at:\n{ended.said}")


def _seen(folder: Path, data: Any, looking: _Looking) -> list[Near]:
    """The tests that passed and are quick enough, with what they run."""
    of_context: dict[str, dict[str, list[int]]] = {}
    for file in data.measured_files():
        name = str(Path(file).relative_to(folder))
        for line, contexts in data.contexts_by_lineno(file).items():
            for context in filter(None, contexts):
                of_context.setdefault(context, {}).setdefault(name, []).append(line)
    found = []
    for test, seconds in looking.seconds.items():
        if test in looking.failed or seconds > LONGEST_TEST_S:
            continue
        fixtures = [name for name in looking.fixtures[test] if name in looking.shared_seconds]
        lines: dict[str, set[int]] = {}
        for context in (test, *(SHARED + name for name in fixtures)):
            for name, run in of_context.get(context, {}).items():
                lines.setdefault(name, set()).update(run)
        found.append(
            Near(
                name=test,
                seconds=round(seconds, 4),
                shared={name: round(looking.shared_seconds[name], 4) for name in fixtures},
                lines={name: frozenset(each) for name, each in lines.items()},
            )
        )
    return found
