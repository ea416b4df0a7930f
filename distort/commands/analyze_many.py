"""distort analyze with many sessions: who failed and why, how many were done, and a table of all."""

import argparse
import os
from typing import TYPE_CHECKING

from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.archive import Outcome

DONE, SOME_FAILED = 0, 1


def are_many(arguments: argparse.Namespace) -> bool:
    """Whether the words are about many sessions: several are named, or a folder of them, or what only many have."""
    from distort.session.files.folder import SessionFolder

    if len(arguments.targets) > 1 or arguments.jobs is not None or arguments.summary is not None:
        return True
    (target,) = arguments.targets
    return target.is_dir() and not os.path.lexists(SessionFolder(target).plan_path)


def check_words_of_many(arguments: argparse.Namespace) -> None:
    """Raise UsageError for what goes with one session alone."""
    if arguments.condition is not None:
        raise UsageError("--condition goes with one session: of many, all that is recorded is analysed")
    if arguments.json:
        raise UsageError("--json goes with one session: of many, --summary writes a table")


def analyze_many(arguments: argparse.Namespace) -> int:
    """Analyse them; the exit status is 1 when any of them failed.

    Raises SessionError for a folder that holds no session, or a summary that cannot be written.
    """
    from distort.archive import analyze_in_processes, find_sessions, write_summary
    from distort.report.terminal.console import make_console, progress, say

    sessions = find_sessions(arguments.targets)
    with progress() as moved:
        outcomes = analyze_in_processes(sessions, jobs=arguments.jobs or 1, again=arguments.again, progress=moved)
    console = make_console()
    failed = [outcome for outcome in outcomes if outcome.state == "failed"]
    say(console, *(f"{outcome.session} failed: {outcome.problem}" for outcome in failed), _counted(outcomes))
    if arguments.summary is not None:
        write_summary(arguments.summary, outcomes)
        say(console, f"The table of all is {arguments.summary}.")
    return SOME_FAILED if failed else DONE


def _counted(outcomes: "tuple[Outcome, ...]") -> str:
    states = [outcome.state for outcome in outcomes]
    parts = [f"{states.count(state)} {state}" for state in ("analysed", "unchanged", "failed") if state in states]
    return f"{len(states)} {'session' if len(states) == 1 else 'sessions'}: {', '.join(parts)}."
