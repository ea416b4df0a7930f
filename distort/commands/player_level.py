"""distort player-level: for players without a cable, by how much to turn the volume."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.listening import add_input_options, require_one_source
from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import channel, finite, path

if TYPE_CHECKING:
    from distort.session.audio.long_recording import InMemory
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan

LISTEN_S = 180.0
"""The quiet part of a default plan, up to its sweep of 86 dB SPL, takes two and a half minutes."""


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "player-level",
        "say by how much to turn a player that has no cable",
        details="Listens to the sound card while the reel plays, or reads a recording, and says how loud its sweep is "
        "at 1 m. Start the player when it listens.",
        examples=[
            "distort player-level our-monitor --target 86 --from trial.wav",
            "distort player-level our-monitor --target 86 --input 3 --seconds 60",
        ],
    )
    add_session(parser, "the session", whole="the player is set once, for every condition of a session")
    parser.add_argument(
        "--target", metavar="DB", type=finite, required=True, help="the level of the plan to be set, dB SPL at 1 m"
    )
    parser.add_argument(
        "--from",
        metavar="FILE",
        dest="source",
        type=path,
        help="a recording of the reel, WAV or FLAC (default: listen to the sound card)",
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's in that file, from 1 (default: the only one)"
    )
    add_input_options(parser, seconds=LISTEN_S)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Say it. Raises UsageError for words that do not fit together, and the errors of `capture.reel.player_level`."""
    from distort.capture.reel.player_level import player_level
    from distort.report.terminal.console import make_console, say
    from distort.report.text.reel import player_level_sentences
    from distort.session.audio.long_recording import open_long
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    require_one_source(arguments)
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    if arguments.source is None:
        found = player_level(folder, plan, _listen(arguments, folder, plan), target_db_spl=arguments.target)
    else:
        with open_long(arguments.source, channel=arguments.channel) as recording:
            found = player_level(folder, plan, recording, target_db_spl=arguments.target)
    say(make_console(), *player_level_sentences(found, plan))
    return 0


def _listen(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> "InMemory":
    """What the sound card hears; what would make it useless is asked before."""
    from distort.capture.reel.player_level import require_ready
    from distort.capture.simulated.session import require_real
    from distort.commands.listening import listen
    from distort.session.audio.long_recording import InMemory

    require_real(folder)
    require_ready(folder, plan, target_db_spl=arguments.target)
    heard = listen(arguments, seconds=LISTEN_S, sample_rate=plan.sweep.sample_rate, what="listening to the reel")
    return InMemory(what="what was heard", sample_rate=heard.sample_rate, samples=heard.samples)
