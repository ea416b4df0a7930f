"""distort show: prints one result."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import finite, path

if TYPE_CHECKING:
    from rich.console import Console

    from distort.session.condition_results import ConditionResults
    from distort.session.folder import SessionFolder

RESULTS = ("quality", "response", "harmonics", "multitone", "compression")
OF_ONE_LEVEL = ("harmonics", "multitone")
IN_FINDINGS = {"multitone": ("multitones",), "compression": ("compression", "no_compression")}
"""Results that are more than a table, and the fields of findings.json that hold them."""


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "show",
        "print one result",
        details="Reads what 'distort analyze' wrote; response and harmonics at octave midbands, the rest per octave. "
        "The quality of the recordings is known without it.",
        examples=[
            "distort show our-monitor quality",
            "distort show our-monitor response",
            "distort show our-monitor harmonics --level 96",
            "distort show our-monitor multitone --level 96",
            "distort show our-monitor compression",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="a session; analysed, for all but quality")
    parser.add_argument("what", metavar="WHAT", choices=RESULTS, help=", ".join(RESULTS))
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all)")
    parser.add_argument(
        "--level",
        metavar="DB",
        type=finite,
        help="this nominal level alone, dB SPL (harmonics; multitone, then in third octaves)",
    )
    parser.add_argument(
        "--json", action="store_true", help="print this part of the findings for machines (multitone, compression)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print it. Raises SessionError when there are no results, UsageError for words that do not go together."""
    from distort.commands.conditions import analysed
    from distort.report.console import make_console
    from distort.report.summary import print_json_part
    from distort.session.folder import SessionFolder

    check_words(arguments)
    console = make_console()
    if arguments.what == "quality":
        _print_quality(console, SessionFolder(arguments.folder), arguments.condition)
        return 0
    found = analysed(SessionFolder(arguments.folder), arguments.condition)
    if arguments.json:
        print_json_part(console, [results.findings for results in found], IN_FINDINGS[arguments.what])
        return 0
    for results in found:
        _print(console, results, arguments.what, level_db_spl=arguments.level)
    return 0


def check_words(arguments: argparse.Namespace) -> None:
    """Raise UsageError for a level of a result that holds all levels, or --json of one that is in CSV files alone."""
    from distort.errors import UsageError

    if arguments.level is not None and arguments.what not in OF_ONE_LEVEL:
        raise UsageError(
            f"--level goes with harmonics and multitone: the {arguments.what} is printed for all levels together"
        )
    if arguments.json and arguments.what == "quality":
        raise UsageError("--json goes with multitone and compression: the quality is in the sidecar of each recording")
    if arguments.json and arguments.what not in IN_FINDINGS:
        raise UsageError(
            f"--json goes with multitone and compression: the {arguments.what} is in the CSV files in "
            f"{arguments.folder / 'results'}"
        )
    if arguments.json and arguments.level is not None:
        raise UsageError("--json prints all levels: leave --level out")


def _print_quality(console: "Console", folder: "SessionFolder", wanted: str | None) -> None:
    """Reads the sweeps as well, to hold them against one another.

    Raises SessionError when nothing is recorded, UsageError when the condition `wanted` is not.
    """
    from distort.capture.against_others import against_others
    from distort.errors import SessionError, UsageError
    from distort.report.check_words import print_qualities
    from distort.session.plan_reading import read_plan
    from distort.session.recordings import load_recordings

    folder.require()
    recorded = folder.conditions_recorded()
    if not recorded:
        raise SessionError(f"{folder.root} has no recordings yet: `distort measure` or `distort add` makes some")
    if wanted is not None and wanted not in recorded:
        raise UsageError(f"{folder.root} has no recordings of condition {wanted!r}: there are {', '.join(recorded)}")
    plan = read_plan(folder.root)
    for name in recorded:
        if wanted in (None, name):
            recordings = load_recordings(folder, name)
            print_qualities(console, name, recordings, beside=against_others(recordings, plan))


def _print(console: "Console", results: "ConditionResults", what: str, *, level_db_spl: float | None) -> None:
    from distort.report.summary import print_harmonics, print_response
    from distort.report.tables_compression import print_compression
    from distort.report.tables_multitone import print_multitone

    if what == "response":
        print_response(console, results)
    elif what == "harmonics":
        print_harmonics(console, results, level_db_spl=level_db_spl)
    elif what == "multitone":
        print_multitone(console, results, level_db_spl=level_db_spl)
    else:
        print_compression(console, results)
