"""distort verify: checks this installation against closed forms."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "verify",
        "check this installation against closed forms",
        details="Runs devices whose distortion is known exactly through the real analysis; status 1 if one is missed.",
    )
    parser.add_argument("--json", action="store_true", help="print it for machines")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the checks and print their table; status 1 when one is missed."""
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.documents import checks_documents, print_document
    from distort.report.text.verification import checks_table
    from distort.verification import verify

    checks = verify()
    console = make_console()
    missed = [check.name for check in checks if not check.passed]
    if arguments.json:
        print_document(console, checks_documents(checks))
        return 1 if missed else 0
    console.print(checks_table(checks))
    if missed:
        say(
            console,
            f"{len(missed)} of {len(checks)} checks are missed: results of this installation cannot be trusted.",
        )
        return 1
    say(console, f"All {len(checks)} checks passed.")
    return 0
