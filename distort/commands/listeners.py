"""distort listeners: adds up what listeners saved in a blind test."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "listeners",
        "add up blind tests: did anyone hear it?",
        details="Takes the files that listeners saved on the page of one blind test. All runs of a listener count, "
        "those broken off as well, each once. Says of every pair whether more was heard than guessing explains, and "
        "if not, what is excluded.",
        examples=[
            "distort listeners blind-test-1f0c77aa.json blind-test-93be0d25.json",
            "distort listeners blind-test-*.json --keep our-monitor",
        ],
    )
    parser.add_argument(
        "results", metavar="RESULT.json", nargs="+", type=path, help="what the page of a blind test saved"
    )
    parser.add_argument(
        "--keep",
        dest="folder",
        metavar="FOLDER",
        type=path,
        help="keep it in this session, so that its findings and its report say what was heard",
    )
    parser.add_argument("--json", action="store_true", help="print the same for machines")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Add up. Raises the errors of `assembly.listeners.added_up`, and SessionError for a session of another page."""
    from distort.assembly.listeners import added_up
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.documents import print_document
    from distort.report.text.listeners import listeners_blocks
    from distort.session.files.folder import SessionFolder
    from distort.session.files.json_fields import as_document
    from distort.session.results.listened import keep_listened

    added = added_up(arguments.results)
    kept = None
    if arguments.folder is not None:
        folder = SessionFolder(arguments.folder)
        folder.require()
        kept = keep_listened(folder, added)
    console = make_console()
    if arguments.json:
        print_document(console, as_document(added))
        return 0
    say(console, *listeners_blocks(added))
    if kept is not None:
        say(console, f"Kept in {kept}")
    return 0
