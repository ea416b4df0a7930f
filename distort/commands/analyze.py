"""distort analyze: the main job."""

import argparse
from pathlib import Path

from distort.commands.parser import Parser, Run, Subparsers, add_command
from distort.errors import UsageError


def add_parser(subparsers: "Subparsers[Parser]", run: Run) -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "analyze",
        "check and analyse the recordings, write the results",
        details="Analyses a session, or one recording with the description of what was played.",
        examples=[
            "distort analyze our-monitor",
            "distort analyze take.wav --stimulus our-monitor/stimuli/sweep_86dB.json",
        ],
    )
    parser.add_argument("target", metavar="FOLDER|FILE", type=Path, help="a session, or one recording (WAV or FLAC)")
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all that are recorded)")
    parser.add_argument("--stimulus", metavar="JSON", type=Path, help="for one recording: the stimulus's description")
    parser.set_defaults(run=run)


def check_words(arguments: argparse.Namespace) -> None:
    """Raise UsageError when the words do not go together: a session takes no --stimulus, a file needs one."""
    target: Path = arguments.target
    if arguments.stimulus is None and target.is_file():
        raise UsageError(f"{target} is one recording: say with --stimulus what was played, or name its session folder")
    if arguments.stimulus is not None and target.is_dir():
        raise UsageError(f"{target} is a folder: --stimulus goes with one recording")
    if arguments.stimulus is not None and arguments.condition is not None:
        raise UsageError("--condition goes with a session, not with one recording")
