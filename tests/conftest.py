"""What all tests share: on CI a test that was skipped has failed, because nobody reads the list of skips."""

import os

import pytest

MAY_BE_SKIPPED: frozenset[str] = frozenset()
"""Node ids of tests that CI cannot run, each with its reason in a comment."""

_skipped: list[str] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail") and report.nodeid not in MAY_BE_SKIPPED:
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
