"""Many sessions at once: whatever runs the work, one that fails stops no other, and only what changed is done again.

The work goes through a `concurrent.futures.Executor`: processes of this machine, or the workers of a cluster that see
the same folders under the same names, such as those of `dask.distributed.Client(...).get_executor()`.
"""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from distort.errors import DistortError, SessionError
from distort.pipeline import analyze_session
from distort.processes import Others, other_processes
from distort.session.files.csv_table import Cell, write_mixed_table
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.files.lock import locked, locked_file
from distort.session.plan.reading import read_plan
from distort.session.results.analysed import inputs_seen, is_unchanged, read_analysed, same_contents, write_analysed
from distort.session.results.condition_results import ConditionResults, read_results, result_paths
from distort.session.results.inputs import input_names
from signals.errors import SignalError

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""

SUMMARY_HZ = (100.0, 1000.0, 5000.0)
"""Where the summary states THD: one frequency each for bass, middle and treble."""

SUMMARY_COLUMNS = (
    *("session", "state", "problem", "condition", "loudspeaker", "unit", "simulated", "recordings", "rejected"),
    *("level_db_spl", "drive_dbfs", "measured_db", "measured_in"),
    *(f"thd_{hz:.0f}hz_percent" for hz in SUMMARY_HZ),
    "multitone_distortion_db",
)


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one session."""

    session: str
    """Its folder, as it was named."""
    state: Literal["analysed", "unchanged", "failed"]
    problem: str = ""
    """Why it failed, in a sentence or two."""
    worker_died: bool = False
    """The process that had it in hand, or one beside it, ended without a word."""
    rows: tuple[tuple[Cell, ...], ...] = ()
    """Its part of the summary, one row a condition and level, from "condition" of SUMMARY_COLUMNS on."""


Work = Callable[[str, bool], Outcome]
"""What is done with one session: its folder, and whether it is done although nothing changed. It never raises."""


def analyze_archive(
    sessions: Sequence[Path], executor: Executor, *, again: bool = False, progress: Progress, work: Work | None = None
) -> tuple[Outcome, ...]:
    """Analyse the sessions in `executor` and return what became of each, in their order.

    again   analyse those, too, whose inputs and software are what they were
    work    what is done with one session, `analyze_if_changed` by default

    When this is interrupted, what has not begun is cancelled; finished sessions stay finished.
    """
    futures: dict[Future[Outcome], int] = {}
    outcomes: dict[int, Outcome] = {}
    try:
        for number, session in enumerate(sessions):
            futures[_submitted(executor, work or analyze_if_changed, str(session), again)] = number
        for future in as_completed(futures):
            outcomes[futures[future]] = _outcome(future, str(sessions[futures[future]]))
            progress("analysing sessions", len(outcomes), len(sessions))
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return tuple(outcomes[number] for number in range(len(sessions)))


def analyze_in_processes(
    sessions: Sequence[Path], *, jobs: int, again: bool = False, progress: Progress, work: Work | None = None
) -> tuple[Outcome, ...]:
    """The same in `jobs` processes of this machine. A session whose process dies is tried once more, by itself.

    A process that ends without a word (out of memory, say) takes those beside it along; only alone is it plain which
    of them it was.
    """
    with other_processes(jobs) as pool:
        outcomes = list(analyze_archive(sessions, pool, again=again, progress=progress, work=work))
    for number, outcome in enumerate(outcomes):
        if outcome.worker_died:
            with other_processes(1) as pool:
                (outcomes[number],) = analyze_archive(
                    [sessions[number]], pool, again=again, progress=lambda *_: None, work=work
                )
    return tuple(outcomes)


def analyze_if_changed(session: str, again: bool = False) -> Outcome:
    """Analyse one session in one thread, unless its inputs and the software are what they were. Never raises."""
    try:
        return _analyze(Path(session), again)
    except (DistortError, SignalError) as error:
        return Outcome(session=session, state="failed", problem=str(error))
    except Exception as error:  # noqa: BLE001  whatever is wrong with one session must not stop the others
        return Outcome(session=session, state="failed", problem=_fault(error))


def analyze_and_note(
    root: Path, *, condition: str | None = None, threads: int = 2, others: Others | None = None, progress: Progress
) -> tuple[ConditionResults, ...]:
    """`distort.pipeline.analyze_session`, with the session's lock held and a note of what the results rest on.

    Raises as `analyze_session` does, and SessionError when another process has the session.
    """
    folder = SessionFolder(root)
    folder.require()
    last = read_analysed(folder)
    with locked(root):
        plan = read_plan(root)
        before = inputs_seen(folder, input_names(folder, plan), () if last is None else last.inputs)
        found = analyze_session(root, condition=condition, threads=threads, others=others, progress=progress)
        after = inputs_seen(folder, input_names(folder, plan), before)  # the plan is one of them
        # Whoever edits something meanwhile gets no note; neither does one condition of several.
        whole = condition is None or folder.conditions_recorded() == (condition,)
        if whole and same_contents(before, after):
            written = [path for one in found for path in result_paths(folder, one.findings)]
            write_analysed(folder, plan, after, written)
    return found


def find_sessions(targets: Sequence[Path]) -> tuple[Path, ...]:
    """The sessions among `targets` and, of those that are folders of sessions, all below them, in order of name.

    Raises SessionError for a folder that neither is a session nor holds any.
    """
    found: dict[Path, None] = {}
    for target in targets:
        below = _below(target) if target.is_dir() else []
        if not below:
            SessionFolder(target).require()
        found.update(dict.fromkeys(below))
    return tuple(found)


def write_summary(path: Path, outcomes: Sequence[Outcome]) -> None:
    """Write one row a session, condition and level as CSV. Raises SessionError when it cannot be written."""
    empty = (None,) * (len(SUMMARY_COLUMNS) - 3)
    rows = (
        (outcome.session, outcome.state, outcome.problem, *row)
        for outcome in outcomes
        for row in (outcome.rows or (empty,))
    )
    with locked_file(path):
        write_mixed_table(path, SUMMARY_COLUMNS, rows)


def _analyze(root: Path, again: bool) -> Outcome:
    folder = SessionFolder(root)
    folder.require()
    state: Literal["analysed", "unchanged"] = "unchanged"
    if again or not is_unchanged(folder):
        analyze_and_note(root, threads=1, progress=lambda *_: None)
        state = "analysed"
    return Outcome(session=str(root), state=state, rows=_rows(folder))


def _rows(folder: SessionFolder) -> tuple[tuple[Cell, ...], ...]:
    """From the files as they are, so that a session that was not analysed again gives the same."""
    return tuple(
        row for condition in folder.conditions_recorded() for row in _rows_of_condition(read_results(folder, condition))
    )


def _rows_of_condition(results: ConditionResults) -> list[tuple[Cell, ...]]:
    findings = results.findings
    tones = {one.level_db_spl: one.distortion_db for one in findings.multitones}
    rejected = sum(one.rejected is not None for one in findings.recordings)
    rows: list[tuple[Cell, ...]] = []
    for level, harmonics in zip(findings.levels, results.harmonics, strict=True):
        nearest = [int(abs(harmonics.frequency_hz - hz).argmin()) for hz in SUMMARY_HZ]
        thd = [float(harmonics.thd_percent[row]) for row in nearest]
        rows.append(
            (
                findings.condition,
                findings.loudspeaker.name,
                findings.loudspeaker.unit,
                "yes" if findings.simulated else "no",
                len(findings.recordings) - rejected,
                rejected,
                level.level_db_spl,
                level.drive_dbfs,
                level.measured_db,
                level.unit,
                *(None if math.isnan(value) else value for value in thd),
                tones.get(level.level_db_spl),
            )
        )
    return rows


def _submitted(executor: Executor, work: Work, session: str, again: bool) -> "Future[Outcome]":
    try:
        return executor.submit(work, session, again)
    except BrokenExecutor as error:  # a worker has died already: no more is taken
        future: Future[Outcome] = Future()
        future.set_exception(error)
        return future


def _outcome(future: "Future[Outcome]", session: str) -> Outcome:
    try:
        return replace(future.result(), session=session)
    except BrokenExecutor:
        return Outcome(
            session=session,
            state="failed",
            problem="The process that analysed it ended without a word: was it out of memory, or killed? Try again.",
            worker_died=True,
        )
    except Exception as error:  # noqa: BLE001  each engine has its own way to say that a worker was lost
        return Outcome(session=session, state="failed", problem=f"Whatever ran the work gave it up: {_fault(error)}")


def _fault(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return "there is not enough memory for it"
    if isinstance(error, OSError):
        return f"{error.filename or 'a file'} cannot be read or written: {error.strerror or error}"
    return f"a fault in this program: {type(error).__name__}: {error}"


def _below(top: Path) -> list[Path]:
    """All sessions below `top`; nothing is sought inside a session."""
    found = []
    for place, folders, files in os.walk(top, onerror=_unreadable):
        if PLAN_FILE in files and Path(place, PLAN_FILE).is_file():
            found.append(Path(place))
            folders.clear()
        folders.sort()
    return found


def _unreadable(error: OSError) -> None:
    raise SessionError(f"{error.filename} cannot be searched for sessions: {error.strerror or error}") from error
