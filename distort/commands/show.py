"""distort show: prints one result."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import finite, path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "show",
        "print one result",
        details="Reads what 'distort analyze' wrote; readings are printed at the octave midbands.",
        examples=["distort show our-monitor response", "distort show our-monitor harmonics --level 96"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="a session that was analysed")
    parser.add_argument("what", metavar="WHAT", choices=("response", "harmonics"), help="response or harmonics")
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all)")
    parser.add_argument("--level", metavar="DB", type=finite, help="this nominal level alone, dB SPL (harmonics)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print it. Raises SessionError when there are no results, UsageError for an unknown condition or level."""
    from distort.commands.conditions import analysed
    from distort.errors import UsageError
    from distort.report.console import make_console
    from distort.report.summary import print_harmonics, print_response
    from distort.session.folder import SessionFolder

    if arguments.level is not None and arguments.what != "harmonics":
        raise UsageError("--level goes with harmonics: the response is printed for all levels together")
    console = make_console()
    for results in analysed(SessionFolder(arguments.folder), arguments.condition):
        if arguments.what == "response":
            print_response(console, results)
        else:
            print_harmonics(console, results, level_db_spl=arguments.level)
    return 0
