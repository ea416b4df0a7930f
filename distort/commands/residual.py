"""distort residual: writes what a loudspeaker makes beyond the tenth order as a sound to listen to."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import finite


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "residual",
        "write a rattle or a rub as a sound to listen to",
        details="What the loudspeaker makes beyond the tenth harmonic while the sweep passes 28 to 640 Hz, without the "
        "sweep itself: a FLAC file in results/listening, with a record of where it comes from beside it.",
        examples=["distort residual our-monitor:desk --level 96"],
    )
    add_session(parser, "a session with recordings")
    parser.add_argument("--level", metavar="DB", type=finite, required=True, help="nominal level of the sweep, dB SPL")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write it. Raises UsageError where no condition is named among several, SessionError and RecordingError for
    recordings that are missing or cannot be trusted."""
    from dataclasses import fields

    from distort.assembly.condition.residual_sound import residual_sound
    from distort.commands.conditions import recorded_condition
    from distort.report.terminal.console import make_console, say
    from distort.report.text.impulsive import residual_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.files.names import format_level
    from distort.session.results.listening_file import write_listening

    folder = SessionFolder(arguments.folder)
    folder.require()
    condition = recorded_condition(folder, arguments.named_condition)
    sound = residual_sound(folder, condition, arguments.level)
    stem = f"residual_{condition}_{format_level(sound.level_db_spl)}dB{'_simulated' if sound.simulated else ''}"
    record = {one.name: getattr(sound, one.name) for one in fields(sound) if one.name != "samples"}
    path = write_listening(folder, stem, sound.samples, sample_rate=sound.sample_rate, record=record)
    say(make_console(), *residual_sentences(sound, path))
    return 0
