"""distort hear: writes what a loudspeaker does to music as sounds to listen to, and a picture of it."""

import argparse
from collections import deque
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import finite

if TYPE_CHECKING:
    from distort.analysis.hearing.over_masked import OverMasked
    from distort.assembly.condition.heard import HeardSounds
    from distort.errors import DistortError
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan
    from distort.session.results.heard_files import Heard, Sound

    Drawn = Callable[[Heard, OverMasked], Callable[[], bytes]]

DONE, SOME_FAILED = 0, 1


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
    """Write them; the exit status is 1 when a level or the page cannot be made. Raises UsageError where no condition is
    named among several, or no level of music that was not recorded; where nothing at all can be made SessionError,
    AnalysisError and RecordingError for recordings that are missing, do not go together or cannot be trusted, and for
    music that cannot be synthesised."""
    from distort.assembly.condition.heard import recorded_music
    from distort.commands.conditions import recorded_condition
    from distort.errors import DistortError, UsageError
    from distort.report.terminal.console import make_console, say
    from distort.report.text.heard import caution_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    if arguments.programme is not None and arguments.level is None:
        raise UsageError("--programme needs the level at which the music is synthesised: add --level")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    condition = recorded_condition(folder, arguments.named_condition)
    if arguments.programme is None:
        recorded = recorded_music(folder, plan, condition)
        levels, sounds_at = recorded.levels(arguments.level), recorded.sounds
    else:
        levels, sounds_at = (
            (arguments.level,),
            partial(_synthesised, folder, plan, condition, music=arguments.programme),
        )
    failed: list[DistortError] = []
    records = _written(folder, levels, sounds_at, failed)
    if not records:
        raise failed[0]
    try:
        _offer_blind_test(folder, plan, records[-1])
    except DistortError as error:
        failed.append(error)
    say(make_console(), *caution_sentences(records))
    say(make_console(stderr=True), *(f"Not done: {error}" for error in failed))
    return SOME_FAILED if failed else DONE


def _written(
    folder: "SessionFolder",
    levels: Sequence[float],
    sounds_at: "Callable[[float], HeardSounds]",
    failed: "list[DistortError]",
) -> "list[Heard]":
    """Write the sounds of each level and say what they are; what cannot be made is added to `failed`.

    The figure of one level is drawn while the sounds of the next are made.
    """
    from distort.errors import DistortError
    from distort.report.figures.heard import drawn_elsewhere

    records: list[Heard] = []
    begun: deque[Callable[[], Heard]] = deque()

    def finish() -> None:
        try:
            records.append(begun.popleft()())
        except DistortError as error:
            failed.append(error)

    with drawn_elsewhere() as drawn:
        for level in levels:
            try:
                begun.append(_begun(folder, sounds_at(level), drawn))
            except DistortError as error:
                failed.append(error)
            if len(begun) > 1:
                finish()
        while begun:
            finish()
    return records


def _begun(folder: "SessionFolder", heard: "HeardSounds", drawn: "Drawn") -> "Callable[[], Heard]":
    """Begin the figure; what is returned writes the sounds, and holds no more of `heard` than that takes."""
    from distort.report.text.heard import heard_sentences

    picture = drawn(heard.record, heard.masked)
    sentences = tuple(heard_sentences(heard.record, heard.parts, heard.masked))
    return partial(_finished, folder, heard.record, heard.sounds, sentences=sentences, picture=picture)


def _finished(
    folder: "SessionFolder",
    record: "Heard",
    sounds: "Sequence[Sound]",
    *,
    sentences: Sequence[str],
    picture: Callable[[], bytes],
) -> "Heard":
    """Write the sounds of a level once its figure is drawn, and say what they are."""
    from distort.report.terminal.console import make_console, say
    from distort.report.text.heard import file_sentences, tags_of
    from distort.session.results.heard_files import write_heard

    record = write_heard(folder, record, sounds, tags=tags_of(record), figure_png=picture)
    say(make_console(), *sentences, "", *file_sentences(record, folder.inside("results", "listening")), "")
    return record


def _offer_blind_test(folder: "SessionFolder", plan: "Plan", newest: "Heard") -> None:
    """Write the page of the blind test, and say where it is."""
    from distort.report.page.blind_pairs import write_blind_page
    from distort.report.terminal.console import make_console, say
    from distort.report.text.blind import NO_PAIR, blind_sentences, left_behind_sentence, without_dip_sentences
    from distort.session.results.listened import left_behind
    from distort.version import __version__

    page = write_blind_page(folder, plan, newest=newest.stem, software=f"distort {__version__}")
    if page is None:
        say(make_console(), NO_PAIR, "")
        return
    say(make_console(), *blind_sentences(page.path, page.pairs, shared=page.shared), "")
    say(make_console(stderr=True), *without_dip_sentences(page.without_dip))
    if (answers := left_behind(folder)) is not None:
        say(make_console(stderr=True), left_behind_sentence(answers))


def _synthesised(
    folder: "SessionFolder", plan: "Plan", condition: str, level_db_spl: float, *, music: Path
) -> "HeardSounds":
    """The sounds of `music`, synthesised."""
    from distort.assembly.condition.synthesised import synthesised_sounds
    from distort.report.terminal.console import progress

    with progress() as moved:
        return synthesised_sounds(folder, plan, condition, level_db_spl=level_db_spl, music=music, progress=moved)
