"""distort check: may I pack up?"""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from distort.session.files.folder import SessionFolder


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "check",
        "say whether you may pack up",
        details="Holds the session against its plan: what is missing, damaged, doubtful, uncalibrated or rejected, and "
        "how to repeat it. Exit status 0: nothing is missing; 1: something is.",
        examples=["distort check our-monitor", "distort check our-monitor:desk"],
    )
    add_session(parser, "the session, or one condition of it")
    parser.add_argument("--json", action="store_true", help="print it for machines")
    parser.set_defaults(run=run)


def _of_silences(folder: "SessionFolder", condition: str | None) -> "Iterator[str]":
    """What the silences with the loudspeaker off are worth."""
    from distort.assembly.condition.silences_checked import silences_checked
    from distort.report.text.silences_checked import silence_sentences
    from distort.session.files.silences import conditions_with_silence
    from distort.session.recordings.silence_off import load_silences
    from distort.session.recordings.stored import load_recordings

    for name in conditions_with_silence(folder):
        if condition in (None, name):
            yield from silence_sentences(silences_checked(load_silences(folder, name), load_recordings(folder, name)))


def run(arguments: argparse.Namespace) -> int:
    """Check. Raises PlanError and SessionError for what cannot be read or trusted, UsageError for a wrong condition."""
    from distort.assembly.condition.foreign import foreign_in_session
    from distort.capture.measuring.completeness import check_session
    from distort.capture.measuring.exposure import day_of
    from distort.commands.conditions import of_the_plan, say_stale
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.documents import completeness_document, print_document
    from distort.report.text.check import check_sentences
    from distort.report.text.plan import day_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.results.condition_results import read_results

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan, condition = read_plan(folder.root), getattr(arguments, "condition", None)
    asked = None if condition is None else of_the_plan(plan, condition)
    found = check_session(folder, plan, conditions=asked)
    day = day_of(folder)
    if arguments.json:
        print_document(make_console(), completeness_document(found, day))
    else:
        foreign = foreign_in_session(folder, plan, condition=condition)
        said = check_sentences(found, folder=str(folder.root), condition=condition, foreign=foreign)
        say(make_console(), *day_sentences(day, plan), *_of_silences(folder, condition), *said)
    if analysed := [name for name in folder.conditions_analysed() if condition in (None, name)]:
        say_stale(folder, [read_results(folder, name).findings for name in analysed])
    return 0 if found.complete else 1
