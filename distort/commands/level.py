"""distort level: for players without a cable, by how much to turn the volume."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import channel, finite, path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "level",
        "say by how much to turn a player that has no cable",
        details="Looks for the reel of the session in the recording, and reads the level at 1 m of its sweep.",
        examples=["distort level our-monitor --target 86 --from trial.wav"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "--target", metavar="DB", type=finite, required=True, help="the level of the plan to be set, dB SPL at 1 m"
    )
    parser.add_argument(
        "--from", metavar="FILE", dest="source", type=path, required=True, help="a recording of the reel, WAV or FLAC"
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's channel, counted from 1 (default: the only one)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Say it. Raises the errors of `capture.player_level`."""
    from distort.capture.player_level import player_level
    from distort.report.console import make_console
    from distort.report.reel_words import print_player_level
    from distort.session.folder import SessionFolder
    from distort.session.long_audio import open_long
    from distort.session.plan_reading import read_plan

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    with open_long(arguments.source, channel=arguments.channel) as recording:
        found = player_level(folder, plan, recording, target_db_spl=arguments.target)
    print_player_level(make_console(), found, plan)
    return 0
