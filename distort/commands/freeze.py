"""distort freeze: keeps the results that a publication rests on."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session

if TYPE_CHECKING:
    from rich.console import Console

    from distort.session.files.folder import SessionFolder


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "freeze",
        "keep the results that a publication rests on",
        details="Analyses the session and keeps the tables in frozen/LABEL, with the hashes of all inputs and the "
        "versions of all programs. Later analyses say what differs from them, and why. Nothing in there is ever "
        "written again.",
        examples=["distort freeze our-monitor spring-edition"],
    )
    add_session(parser, "the session", whole="an edition holds every condition of its session")
    parser.add_argument("label", metavar="LABEL", help="what to call it: letters, digits, - _ and .")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Freeze. Raises UsageError for a bad label, SessionError when it is taken, and what the analysis raises."""
    from functools import partial

    from distort.pipeline import analyze_session_into
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.published import frozen_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.published.frozen import freeze, frozen_folder
    from distort.session.results.software import software_here
    from distort.sharing import others_for

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    with others_for(folder) as others, progress() as moved:
        frozen = freeze(
            folder,
            plan,
            arguments.label,
            software=software_here(),
            write=partial(analyze_session_into, folder, others=others, progress=moved),
        )
    say(make_console(), *frozen_sentences(frozen, str(frozen_folder(folder, arguments.label))))
    return 0


def say_since_frozen(console: "Console", folder: "SessionFolder") -> None:
    """How today's results differ from every set that was frozen. Raises SessionError when one was changed since."""
    from distort.report.terminal.console import say
    from distort.report.text.published import difference_sentences
    from distort.session.plan.reading import read_plan
    from distort.session.published.frozen import frozen_labels, read_frozen
    from distort.session.published.frozen_differences import differences
    from distort.session.results.software import software_here

    for label in frozen_labels(folder):
        frozen = read_frozen(folder, label)
        say(
            console,
            *difference_sentences(differences(folder, read_plan(folder.root), frozen, software_here())),
        )
