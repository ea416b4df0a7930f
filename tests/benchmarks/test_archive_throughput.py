"""How many recordings an hour an archive of sessions gets through, and what a second worker adds.

`pytest -m benchmark -s tests/benchmarks/test_archive_throughput.py` prints it. One worker and two take turns in one
run, because the machine's own speed drifts; start-up is left out, because a long run pays it once. The processor time
of a session tells why a second worker adds less than twice: where it grows with two, they share a core, a cache or the
memory; where it does not, something else had the processors.
"""

import os
import shutil
import statistics
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest

from distort.archive import Outcome, analyze_archive, analyze_if_changed

pytestmark = pytest.mark.benchmark

DEMO = Path(__file__).resolve().parents[2] / "demo_recordings"
SESSIONS = 4
KEPT = ("sweep_86dB", "sweep_96dB", "sweep-short_86dB", "multitone_86dB")
"""Of the condition "stand": as much as a session of one condition and two levels has."""

ROUNDS = 2
ESTIMATED = 100_000


@pytest.fixture(scope="module")
def sessions(tmp_path_factory) -> list[Path]:
    """Copies of some demo recordings: real ones in length and kind, sweeps of 10 s and multitones of 32 s."""
    place = tmp_path_factory.mktemp("archive")

    def ignore(folder: str, names: list[str]) -> list[str]:
        if Path(folder).name == "stand":
            return [name for name in names if Path(name).stem not in KEPT]
        return [name for name in names if name in ("results", "stimuli", "desk", "loose", "frozen")]

    return [Path(shutil.copytree(DEMO, place / f"s{number}", ignore=ignore)) for number in range(SESSIONS)]


def timed(session: str, again: bool) -> Outcome:
    """The work, with the processor time that it took, as text, in place of the problem that it did not have."""
    started = time.process_time()
    outcome = analyze_if_changed(session, again)
    assert outcome.state == "analysed", outcome.problem
    return replace(outcome, problem=str(time.process_time() - started))


def quiet(what: str, done: int, total: int) -> None:
    pass


def test_two_workers_against_one(sessions) -> None:
    """Target: at least 1.7 times the throughput."""
    recordings = len(list((sessions[0] / "recordings").rglob("*.flac"))) * SESSIONS
    spawn = get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawn) as one, ProcessPoolExecutor(2, mp_context=spawn) as two:
        taken: dict[str, list[float]] = {"one": [], "two": []}
        worked: dict[str, list[float]] = {"one": [], "two": []}
        for number in range(ROUNDS + 1):
            for name, pool in (("one", one), ("two", two)):
                started = time.perf_counter()
                outcomes = analyze_archive(sessions, pool, again=True, progress=quiet, work=timed)
                assert all(outcome.state == "analysed" for outcome in outcomes), outcomes
                if number:  # the first round starts the processes and loads the libraries
                    taken[name].append(time.perf_counter() - started)
                    worked[name] += [float(outcome.problem) for outcome in outcomes]
        started = time.perf_counter()
        outcomes = analyze_archive(sessions, two, progress=quiet)
        unchanged_s = time.perf_counter() - started
        assert all(outcome.state == "unchanged" for outcome in outcomes)
    once, twice = statistics.median(taken["one"]), statistics.median(taken["two"])
    ratio = statistics.median(a / b for a, b in zip(taken["one"], taken["two"], strict=True))
    once_cpu, twice_cpu = statistics.median(worked["one"]), statistics.median(worked["two"])
    hours = twice / recordings * ESTIMATED / 3600.0
    print(
        f"\n{recordings} recordings: one worker {once:.2f} s, two {twice:.2f} s, ratio {ratio:.2f} (target 1.7); "
        f"processor time of a session {once_cpu:.2f} and {twice_cpu:.2f} s; "
        f"unchanged {unchanged_s:.2f} s; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors\n"
        f"{ESTIMATED} such recordings: {hours:.1f} h with two workers, {2.0 * hours:.1f} worker-hours; "
        f"{unchanged_s / recordings * ESTIMATED / 60.0:.0f} min when nothing changed"
    )
