"""distort measure: plays and records every stimulus that is not recorded yet."""

from pathlib import Path

from distort.commands.parser import Parser, Run, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]", run: Run) -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "measure",
        "play and record what is not recorded yet",
        examples=[
            "distort measure our-monitor --simulate --condition desk",
            "distort measure our-monitor --simulate --only sweep_96dB --again",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="the session")
    parser.add_argument(
        "--simulate", action="store_true", help="use the simulated loudspeaker; its results are marked as simulated"
    )
    parser.add_argument("--condition", metavar="NAME", help="this condition (default: the only one)")
    parser.add_argument("--only", metavar="NAME", help="this stimulus and level alone, such as sweep_96dB")
    parser.add_argument("--again", action="store_true", help="record another take of what is recorded already")
    parser.set_defaults(run=run)
