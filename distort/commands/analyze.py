"""distort analyze: the main job."""

import argparse
import os
from typing import TYPE_CHECKING

from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.archive import Outcome
from pathlib import Path

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_sessions, as_typed
from distort.commands.values import channel, jobs, path

if TYPE_CHECKING:
    from rich.console import Console

    from distort.session.files.folder import SessionFolder
    from distort.session.results.condition_results import ConditionResults


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
    from distort.report.text.alike import alike, and_more

    sessions = find_sessions(arguments.targets)
    with progress() as moved:
        outcomes = analyze_in_processes(sessions, jobs=arguments.jobs or 1, again=arguments.again, progress=moved)
    console = make_console()
    failed = [outcome for outcome in outcomes if outcome.state == "failed"]
    for group in alike(failed, lambda outcome: str(outcome.problem).replace(str(outcome.session), "")):
        say(console, f"{and_more([str(one.session) for one in group])} failed: {group[0].problem}")
    say(console, _counted(outcomes))
    if arguments.summary is not None:
        write_summary(arguments.summary, outcomes)
        say(console, f"The table of all is {arguments.summary}.")
    return SOME_FAILED if failed else DONE


def _counted(outcomes: "tuple[Outcome, ...]") -> str:
    states = [outcome.state for outcome in outcomes]
    parts = [f"{states.count(state)} {state}" for state in ("analysed", "unchanged", "failed") if state in states]
    return f"{len(states)} {'session' if len(states) == 1 else 'sessions'}: {', '.join(parts)}."


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "analyze",
        "check and analyse the recordings, write the results",
        details="Analyses a session, many of them, or one recording with the description of what was played. A session "
        "of which neither files nor software changed keeps its results; of many, one that fails stops no other.",
        examples=[
            "distort analyze our-monitor",
            "distort analyze archive --jobs 4 --summary archive.csv",
            "distort analyze take.wav --stimulus our-monitor/stimuli/sweep_86dB.json",
        ],
    )
    add_sessions(parser, "sessions, or folders of them; FOLDER:CONDITION; or one recording (WAV or FLAC)")
    many = parser.add_argument_group("many sessions")
    many.add_argument("--jobs", metavar="N", type=jobs, help="processes that share the work (default: 1)")
    many.add_argument("--summary", metavar="FILE", type=path, help="write a table of all of them, CSV")
    parser.add_argument("--again", action="store_true", help="analyse although neither files nor software changed")
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all that are recorded)")
    parser.add_argument("--stimulus", metavar="JSON", type=path, help="for one recording: the stimulus's description")
    parser.add_argument(
        "--channel",
        metavar="N",
        type=channel,
        help="for one recording: its channel, counted from 1 (default: the only one)",
    )
    parser.add_argument("--json", action="store_true", help="print the findings for machines")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Analyse. Raises UsageError for words that do not go together, and the errors of `distort.pipeline`."""
    check_words(arguments)
    if arguments.stimulus is not None:
        return _one_file(arguments)
    if are_many(arguments):
        return analyze_many(arguments)
    return _one_session(arguments)


def _one_session(arguments: argparse.Namespace) -> int:
    from distort.session.files.folder import SessionFolder
    from distort.session.results.analysed import is_unchanged

    (target,) = arguments.targets
    folder = SessionFolder(target)
    folder.require()
    # Known from times and hashes of files alone, before anything is loaded that analyses or reads results.
    unchanged = not arguments.again and is_unchanged(folder) and _is_recorded(folder, arguments.condition)
    if unchanged and not arguments.json:
        _say_unchanged()
    found = _read(folder, arguments.condition) if unchanged else _analysed(target, arguments.condition)
    _say_results(arguments, folder, found)
    return DONE


def _say_unchanged() -> None:
    """Before the results are read, which takes longer than to know this."""
    from distort.report.terminal.console import make_console, say

    say(make_console(), "Nothing changed since these results were made; --again analyses anew.")


def _is_recorded(folder: "SessionFolder", condition: str | None) -> bool:
    return condition is None or condition in folder.conditions_recorded()


def _read(folder: "SessionFolder", condition: str | None) -> "tuple[ConditionResults, ...]":
    from distort.session.results.condition_results import read_results

    chosen = folder.conditions_recorded() if condition is None else (condition,)
    return tuple(read_results(folder, name) for name in chosen)


def _analysed(root: Path, condition: str | None) -> "tuple[ConditionResults, ...]":
    from distort.session.files.folder import SessionFolder
    from distort.sharing import others_for

    with others_for(SessionFolder(root), condition) as others:
        others.begin()  # they load what they need while this process does
        from distort.archive import analyze_and_note
        from distort.report.terminal.console import progress

        with progress() as moved:
            return analyze_and_note(root, condition=condition, others=others, progress=moved)


def _say_results(
    arguments: argparse.Namespace,
    folder: "SessionFolder",
    found: "tuple[ConditionResults, ...]",
) -> None:
    from distort.commands.conditions import in_plan_order, say_stale
    from distort.commands.freeze import say_since_frozen
    from distort.report.terminal.console import make_console, say
    from distort.report.text.alike import alike, and_more_like
    from distort.report.text.many_conditions import are_many as told_together
    from distort.report.text.many_conditions import many_blocks
    from distort.report.text.summary import next_sentences, summary_blocks

    console, found = make_console(), in_plan_order(found)
    if arguments.json:
        from distort.report.terminal.documents import findings_documents, print_document

        print_document(console, findings_documents([results.findings for results in found]))
        return
    session = as_typed(folder.root)
    if told_together(found):
        say(console, *many_blocks(found, session=session))
    for results in () if told_together(found) else found:
        say(console, *summary_blocks(results, session=session))
    if arguments.condition is None:
        say_stale(folder, [results.findings for results in found])
    unlike = [one.to_mend(session) for results in found for one in results.findings.unlike_takes]
    say(console, *(and_more_like(group) for group in alike(unlike, str)))
    _say_calibrated_since(console, folder, found)
    say_since_frozen(console, folder)
    say(console, *next_sentences(found, session))


def _say_calibrated_since(console: "Console", folder: "SessionFolder", found: "tuple[ConditionResults, ...]") -> None:
    """Whoever calibrates after bringing recordings in expects SPL, and must hear why there is none."""
    from distort.report.terminal.console import say
    from distort.session.calibration.calibration_file import read_calibration

    uncalibrated = any(level.unit == "dbfs" for results in found for level in results.findings.levels)
    if uncalibrated and read_calibration(folder.calibration_path()) is not None:
        say(
            console,
            f"The session is calibrated now, but recordings were saved before that: if no gain changed since, say so "
            f"with 'distort calibrate {folder.root} --apply-to-earlier'.",
        )


def _one_file(arguments: argparse.Namespace) -> int:
    """One recording without a session: nothing is calibrated, so levels are in dBFS."""
    from distort.analysis.sweep.sweeps import Reference, Settings, sweep_harmonics, sweep_response
    from distort.pipeline import analyze_file
    from distort.report.terminal.console import make_console, say
    from distort.report.text.summary import single_blocks

    (target,) = arguments.targets
    read, quality = analyze_file(target, arguments.stimulus, channel=arguments.channel, settings=Settings())
    response = sweep_response(read, Reference())
    harmonics = sweep_harmonics(read, Reference(), linear=response)
    say(make_console(), *single_blocks(target.name, response, harmonics, quality=quality))
    return 0


def check_words(arguments: argparse.Namespace) -> None:
    """Raise UsageError when the words do not go together: a session takes no --stimulus, a file needs one."""
    if arguments.stimulus is not None:
        _check_words_of_a_file(arguments)
        return
    if arguments.channel is not None:
        raise UsageError("--channel goes with one recording: those of a session have theirs in the sidecar")
    for target in arguments.targets:
        if target.is_file():
            raise UsageError(
                f"{target} is one recording: say with --stimulus what was played, or name its session folder"
            )
    if are_many(arguments):
        check_words_of_many(arguments)


def _check_words_of_a_file(arguments: argparse.Namespace) -> None:
    target: Path = arguments.targets[0]
    if len(arguments.targets) > 1:
        raise UsageError("--stimulus goes with one recording: name one file")
    if target.is_dir():
        raise UsageError(f"{target} is a folder: --stimulus goes with one recording")
    if arguments.condition is not None:
        raise UsageError("--condition goes with a session, not with one recording")
    if arguments.json:
        raise UsageError("--json prints the findings of a session: one recording alone has none")
    if arguments.jobs is not None or arguments.again or arguments.summary is not None:
        raise UsageError("--jobs, --again and --summary go with sessions, not with one recording")
