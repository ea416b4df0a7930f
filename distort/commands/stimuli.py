"""distort stimuli: writes what is to be played."""

from pathlib import Path

from distort.commands.parser import Parser, Run, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]", run: Run) -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "stimuli",
        "write the stimuli",
        details="Writes stimuli/ of the session: a 24-bit WAV for every stimulus and level, and how to make it again.",
        examples=["distort stimuli our-monitor"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="the session")
    parser.set_defaults(run=run)
