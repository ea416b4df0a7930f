"""distort add: brings in recordings that were made elsewhere."""

from pathlib import Path

from distort.commands.parser import Parser, Run, Subparsers, add_command
from distort.commands.values import channel, finite


def add_parser(subparsers: "Subparsers[Parser]", run: Run) -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "add",
        "bring in recordings made elsewhere",
        details="The stimulus is one of the session's own files in stimuli/; it is found in the recording by itself.",
        examples=["distort add our-monitor take1.wav take2.wav --stimulus sweep --level 86 --condition desk"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="the session")
    parser.add_argument(
        "files", metavar="FILE", type=Path, nargs="+", help="WAV or FLAC; several are takes of the same"
    )
    parser.add_argument("--stimulus", metavar="NAME", required=True, help="what was played: sweep or sweep-short")
    parser.add_argument("--level", metavar="DB", type=finite, required=True, help="its nominal level, dB SPL at 1 m")
    parser.add_argument("--condition", metavar="NAME", help="the condition it was made in (default: the only one)")
    parser.add_argument(
        "--turned-db",
        metavar="DB",
        type=finite,
        help="how far the volume was turned up since the first recording; 0: nothing was turned "
        "(unsaid: there will be no compression result)",
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's channel, counted from 1 (default: the only one)"
    )
    parser.set_defaults(run=run)
