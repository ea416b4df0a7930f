"""distort compare: two conditions, or two loudspeakers, against each other."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import decibels, session_and_condition
from distort.errors import SessionError, UsageError, did_you_mean, shown

if TYPE_CHECKING:
    from distort.assembly.comparison.side import Side
    from distort.session.files.folder import SessionFolder


Target = tuple[Path, str | None]


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "compare",
        "what changed between two conditions or loudspeakers, and what did not",
        details="Lists first what was unlike, then every change with its uncertainty, and which change can be "
        "excluded. Writes results/compare/ in A's folder.",
        examples=[
            "distort compare our-monitor:stand our-monitor:desk",
            "distort compare our-monitor their-monitor --basis output",
        ],
    )
    parser.add_argument("a", metavar="A", type=session_and_condition, help="FOLDER or FOLDER:CONDITION")
    parser.add_argument("b", metavar="B", type=session_and_condition, help="the same")
    parser.add_argument(
        "--basis",
        choices=("drive", "output"),
        help="levels of equal drive, or of equal output, interpolated between levels and never beyond "
        "(default: drive for one loudspeaker, output for two)",
    )
    parser.add_argument(
        "--calibration-uncertainty",
        metavar="DB",
        type=decibels,
        help="95 %% uncertainty of one side's level calibration against the other's (default: left out)",
    )
    parser.add_argument("--json", action="store_true", help="print the comparison for machines")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Compare.

    Raises UsageError for sides that are not clear or the same, and the errors of `assembly.comparison.comparing`.
    """
    from distort.assembly.comparison.comparing import compare_sides
    from distort.report.terminal.comparison_files import comparison_text, write_comparison
    from distort.report.terminal.console import make_console, say
    from distort.report.text.comparison import comparison_blocks

    a, b = _sides(arguments.a, arguments.b)
    compared = compare_sides(a, b, basis=arguments.basis, calibration_db=arguments.calibration_uncertainty)
    written = write_comparison(compared)
    console = make_console()
    if arguments.json:
        console.out(comparison_text(compared))
        return 0
    say(console, *comparison_blocks(compared))
    console.print()
    say(console, f"Written: {', '.join(str(path) for path in written)}")
    return 0


def _sides(a: Target, b: Target) -> "tuple[Side, Side]":
    from distort.assembly.comparison.side import read_side
    from distort.report.terminal.console import progress

    (folder_a, condition_a), (folder_b, condition_b) = (_found(target) for target in (a, b))
    if folder_a.root.resolve() == folder_b.root.resolve():
        if condition_a == condition_b:
            raise UsageError(
                f"{folder_a.root}:{condition_a} stands on both sides: name two, as in FOLDER:stand FOLDER:desk"
            )
        names = (condition_a, condition_b)
    else:
        names = (f"{folder_a.root.name}:{condition_a}", f"{folder_b.root.name}:{condition_b}")
    with progress() as moved:
        return (
            read_side(folder_a, condition_a, name=names[0], progress=moved),
            read_side(folder_b, condition_b, name=names[1], progress=moved),
        )


def _found(target: Target) -> "tuple[SessionFolder, str]":
    """The session and the condition that are meant. Raises SessionError, and UsageError where that is not clear."""
    from distort.session.files.folder import SessionFolder

    root, condition = target
    folder = SessionFolder(root)
    folder.require()
    recorded = folder.conditions_recorded()
    if condition is None and len(recorded) == 1:
        return folder, recorded[0]
    listed = ", ".join(recorded)
    if not recorded:
        raise SessionError(f"{root} has no recordings yet: `distort measure` or `distort add` makes some")
    if condition is None:
        raise UsageError(f"say which condition of {root} is meant, as in {root}:{recorded[0]}: {listed}")
    if condition not in recorded:
        raise UsageError(
            f"{root} has no recordings of condition {shown(condition)}{did_you_mean(condition, recorded)}: "
            f"there are {listed}"
        )
    return folder, condition
