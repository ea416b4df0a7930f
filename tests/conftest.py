"""What all tests share: on CI a test that was skipped has failed, because nobody reads the list of skips."""

import os

import pytest

from tests.sound_server import DEMANDED

MAY_BE_SKIPPED: frozenset[str] = frozenset()
"""Node ids of tests that CI cannot run, each with its reason in a comment."""

MAY_BE_SKIPPED_ELSEWHERE: frozenset[str] = frozenset(
    {
        *(
            f"tests/test_device_contract.py::{name}"
            for name in (
                "test_a_recording_is_longer_than_what_was_played_and_holds_it[sound-card]",
                "test_what_is_no_playback_is_refused[sound-card-empty]",
                "test_what_is_no_playback_is_refused[sound-card-two channels]",
                "test_what_is_no_playback_is_refused[sound-card-not a number]",
                "test_what_is_no_playback_is_refused[sound-card-beyond full scale]",
                "test_it_says_what_it_is_and_keeps_time[sound-card]",
            )
        ),
        *(
            f"tests/test_measure_aloud.py::{name}"
            for name in (
                "test_the_whole_job_over_a_wire_stopped_once_and_taken_up_again",
                "test_whoever_does_not_say_yes_hears_the_quiet_run_alone",
                "test_devices_lists_the_default",
                "test_without_any_device_it_says_so",
            )
        ),
        *(
            f"tests/test_sound_card.py::{name}"
            for name in (
                "test_what_comes_back_over_a_wire_is_what_was_played",
                "test_output_input_and_loopback_channels",
                "test_the_meter_is_told_how_far_and_how_loud",
                "test_nothing_above_the_cap_is_played_whatever_it_is",
                "test_ctrl_c_fades_the_sound_out_within_a_fifth_of_a_second",
                "test_lost_samples_are_told",
                "test_what_a_card_does_not_offer_is_said_before_anything_sounds",
                "test_a_rate_that_is_not_offered_is_named_with_those_that_are",
            )
        ),
    }
)
"""Tests that need the virtual sound card of PulseAudio, which not every machine has: with all their parameters, or with
one. They may be skipped only where nobody has started one for them, as `.ci/run` does."""

_skipped: list[str] = []


def _may_be_skipped(node: str) -> bool:
    if node in MAY_BE_SKIPPED:
        return True
    elsewhere = os.environ.get(DEMANDED) != "1"
    return elsewhere and bool({node, node.partition("[")[0]} & MAY_BE_SKIPPED_ELSEWHERE)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail") and not _may_be_skipped(report.nodeid):
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
