"""distort report: draws the figures and writes the page."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "report",
        "draw the figures of a session and write its report page",
        details="Reads what 'distort analyze' wrote. Title and credit are those of session.toml.",
        examples=["distort report our-monitor"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="a session that was analysed")
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Draw them. Raises SessionError when there are no results, UsageError for an unknown condition."""
    from distort.commands.conditions import analysed
    from distort.report.console import make_console, progress, say
    from distort.report.page.document import write_page
    from distort.report.session_figures import draw_session
    from distort.session.folder import SessionFolder
    from distort.session.plan_reading import read_plan

    folder = SessionFolder(arguments.folder)
    conditions = analysed(folder, arguments.condition)
    words = read_plan(folder.root).report
    with progress() as moved:
        paths = draw_session(folder, conditions, words, progress=moved)
    page = write_page(folder, conditions, words, figures=paths)
    say(make_console(), *(f"Drew {path}" for path in paths), f"Wrote {page}")
    return 0
