"""What all tests share: on CI a test that was skipped has failed, because nobody reads the list of skips."""

import os
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.sound_server import DEMANDED

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    # workers stand side by side: a matrix product that takes every processor for itself waits for the other worker's,
    # and a calibrator's tone takes twice the processor time to read; libraries ask for this when they are loaded
    os.environ.setdefault(_threads, "1")

MAY_BE_SKIPPED: frozenset[str] = frozenset()
"""Node ids of tests that CI cannot run, each with its reason in a comment."""

SOUND_CARD = "sound_card"
"""Marker of the tests that need a virtual sound card, which not every machine has. They may be skipped only where
nobody has started one for them, as `.ci/run` does."""

IN_BROWSER = "in_browser"
"""Marker of the tests that need Debian's chromium; they may be skipped under the same rule."""

SAMPLE = "sample"
"""Marker of tests that take long, and are left out unless asked for."""

FIRST = "first"
"""Marker with a number: so many of a test's parameters run always, as many as samples, and the others are studies."""

STUDY = "study"
"""Marker of what takes long and shows little more than a sample does; CI leaves it out."""

_skipped: list[str] = []


def pytest_configure(config: pytest.Config) -> None:
    """Files are handed out as they come: with those of few tests last, two that sound in real time would end the run,
    one waiting for the other."""
    if hasattr(config.option, "loadscopereorder"):  # as pytest-xdist 3.7 calls it; earlier versions never reorder
        config.option.loadscopereorder = False


@pytest.hookimpl(tryfirst=True)  # before pytest's own -m looks at the markers
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Of the parameters of a test with `first(n)`, n run always and n as samples; the others where studies are asked
    for."""
    seen: Counter[tuple[str, bool]] = Counter()
    for item in items:
        first = item.get_closest_marker(FIRST)
        if first is None or any(item.get_closest_marker(name) for name in (STUDY, "benchmark")):
            continue
        group = item.nodeid.partition("[")[0], item.get_closest_marker(SAMPLE) is not None
        seen[group] += 1
        if seen[group] > first.args[0]:
            item.add_marker(STUDY)


@pytest.fixture(autouse=True)
def _nothing_else_sounds(request: pytest.FixtureRequest) -> Iterator[None]:
    """Tests that play over the virtual card wait for one another, also in other processes: they would hear them."""
    if request.node.get_closest_marker(SOUND_CARD) is None:
        yield
        return
    import fcntl  # virtual sound cards are there on Linux alone

    with (Path(tempfile.gettempdir()) / "distort-tests-sound.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _may_be_skipped(report: pytest.TestReport) -> bool:
    elsewhere = os.environ.get(DEMANDED) != "1"
    return report.nodeid in MAY_BE_SKIPPED or (elsewhere and bool({SOUND_CARD, IN_BROWSER} & set(report.keywords)))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail") and not _may_be_skipped(report):
        _skipped.append(report.nodeid)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        _skipped.append(report.nodeid)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    if os.environ.get("CI") == "true" and _skipped and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if os.environ.get("CI") == "true" and _skipped:
        terminalreporter.write_line(f"on CI every test must run, but these were skipped: {', '.join(_skipped)}")


@pytest.fixture(autouse=True, scope="session")
def sound_of_its_own() -> None:
    """Tests that run beside each other play into no sound system of the machine: each process holds its own lock."""
    from distort.capture.devices import alone

    alone.FOLDER = f"{alone.FOLDER}-{os.environ.get('PYTEST_XDIST_WORKER', 'tests')}"
