"""distort hear: writes what a loudspeaker does to music as sounds to listen to, and a picture of it."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import finite

if TYPE_CHECKING:
    from distort.assembly.condition.heard import HeardSounds
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "hear",
        "write what the loudspeaker does to music as sounds to listen to",
        details="Of music that was recorded at a level and at a lower one: as meant, as it comes out, and the "
        "remainder, as it is and raised. FLAC files and a figure in results/listening, with a record of where they "
        "come from beside them. With --programme, music that was not recorded: synthesised from the sweeps, as far as "
        "they predict the multitones; a likeness.",
        examples=[
            "distort hear our-monitor:desk --level 96",
            "distort hear our-monitor:desk",
            "distort hear our-monitor:desk --level 86 --programme song.flac",
        ],
    )
    add_session(parser, "a session with recordings of music")
    parser.add_argument("--level", metavar="DB", type=finite, help="nominal level of the music, dB SPL; all without it")
    parser.add_argument(
        "--programme",
        metavar="FILE",
        type=Path,
        help="music that was not recorded, WAV or FLAC of 5 to 60 s: synthesised at --level",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write them. Raises UsageError where no condition is named among several, or no level of music that was not
    recorded; SessionError, AnalysisError and RecordingError for recordings that are missing, do not go together or
    cannot be trusted, and for music that cannot be synthesised."""
    from distort.assembly.condition.heard import levels_heard
    from distort.commands.conditions import recorded_condition
    from distort.errors import UsageError
    from distort.report.figures.heard import heard_figure
    from distort.report.figures.saving import png_of
    from distort.report.page.blind_pairs import write_blind_page
    from distort.report.terminal.console import make_console, say
    from distort.report.text.blind import NO_PAIR, blind_sentences
    from distort.report.text.heard import caution_sentences, file_sentences, heard_sentences, tags_of
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.results.heard_files import write_heard
    from distort.version import __version__

    if arguments.programme is not None and arguments.level is None:
        raise UsageError("--programme needs the level at which the music is synthesised: add --level")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    condition, console = recorded_condition(folder, arguments.named_condition), make_console()
    levels = levels_heard(folder, condition) if arguments.level is None else (arguments.level,)
    for level in levels:
        heard = _sounds(folder, plan, condition, level, music=arguments.programme)
        picture = png_of(heard_figure(heard.record, heard.masked))
        record = write_heard(folder, heard.record, heard.sounds, tags=tags_of(heard.record), figure_png=picture)
        say(console, *heard_sentences(record, heard.parts, heard.masked))
        say(console, "", *file_sentences(record, folder.inside("results", "listening")), "")
    page = write_blind_page(folder, plan, newest=record.stem, software=f"distort {__version__}")
    said = [NO_PAIR] if page is None else blind_sentences(page.path, page.pairs, shared=page.shared)
    say(console, *said, "")
    say(console, *caution_sentences(record))
    return 0


def _sounds(
    folder: "SessionFolder", plan: "Plan", condition: str, level_db_spl: float, *, music: Path | None
) -> "HeardSounds":
    """Of recorded music, or of `music`, synthesised."""
    from distort.assembly.condition.heard import heard_sounds
    from distort.assembly.condition.synthesised import synthesised_sounds
    from distort.report.terminal.console import progress

    if music is None:
        return heard_sounds(folder, plan, condition, level_db_spl)
    with progress() as moved:
        return synthesised_sounds(folder, plan, condition, level_db_spl=level_db_spl, music=music, progress=moved)
