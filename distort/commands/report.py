"""distort report: draws the figures and writes the page."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session

if TYPE_CHECKING:
    from distort.report.figures.drawing import Drawers
    from distort.report.figures.saving import FileKind
    from distort.session.files.folder import SessionFolder

LEAST_FIGURES = 8
"""Of a condition of one level of sweeps."""


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "report",
        "draw the figures of a session and write its report page",
        details="Reads what 'distort analyze' wrote. Title and credit are those of session.toml. Only what changed "
        "since the last time is drawn again. The page, results/report.html, needs no other file and no network.",
        examples=[
            "distort report our-monitor",
            "distort report our-monitor --dark --pdf",
            "distort report our-monitor --format square",
        ],
    )
    add_session(parser, "a session that was analysed")
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all)")
    parser.add_argument("--pdf", action="store_true", help="also write every figure as PDF, for print")
    parser.add_argument(
        "--dark", action="store_true", help="also draw every figure on a dark ground, for slides and screens"
    )
    parser.add_argument(
        "--format",
        metavar="FORMAT",
        choices=("wide", "square", "upright"),
        action="append",
        default=[],
        help="also draw the figures for publishing, with large letters: wide (1920 x 1080), square (1080 x 1080), "
        "upright (1080 x 1920); may be given several times",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Draw them. Raises SessionError when there are no results, UsageError for an unknown condition."""
    from distort.report.figures.drawing import Drawers
    from distort.session.files.folder import SessionFolder

    folder = SessionFolder(arguments.folder)
    with Drawers() as drawers:
        known = [name for name in folder.conditions_analysed() if arguments.condition in (None, name)]
        if known and not folder.figures_folder().exists():
            drawers.begin(expected=LEAST_FIGURES * len(known))
        return _draw_and_write(folder, arguments, drawers)


def _draw_and_write(folder: "SessionFolder", arguments: argparse.Namespace, drawers: "Drawers") -> int:
    from distort.commands.conditions import analysed
    from distort.errors import shown
    from distort.report.figures.session_figures import draw_session
    from distort.report.figures.style import lacking
    from distort.report.page.document import write_page
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.published import left_out_sentences
    from distort.session.plan.reading import read_plan

    conditions = analysed(folder, arguments.condition, drawers=drawers)
    words = read_plan(folder.root).report
    kinds: tuple[FileKind, ...] = ("png", "svg", "pdf") if arguments.pdf else ("png", "svg")
    raster: tuple[FileKind, ...] = ("png",)
    new: list[Path] = []
    with progress() as moved:
        draw = partial(draw_session, folder, conditions, words, progress=moved, drawers=drawers)
        drawn = draw(kinds=kinds)
        new += drawn.new
        for dark in (False, True) if arguments.dark else (False,):
            if dark:
                new += draw(kinds=kinds, dark=True).new
            for form in dict.fromkeys(arguments.format):
                new += draw(kinds=raster, dark=dark, form=form).new
    page = write_page(folder, conditions, words, figures=drawn.paths)
    say(make_console(stderr=True), *left_out_sentences(page.left_out, str(folder.root)))
    if lost := lacking(" ".join([words.title, words.credit, *(one.findings.loudspeaker.name for one in conditions)])):
        say(
            make_console(stderr=True),
            f"Careful: the figures' typeface has no {shown(lost)}, so a mark stands there for each. The page has them.",
        )
    console = make_console()
    say(console, *(f"Drew {path}" for path in new))
    if page.written:
        say(console, f"Wrote {page.path}")
    elif not new:
        say(console, f"Nothing changed since {page.path} was written and its figures were drawn.")
    return 0
