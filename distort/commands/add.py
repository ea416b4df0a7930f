"""distort add: brings in recordings that were made elsewhere."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import channel, finite, path

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan
    from distort.session.recordings.stored import Recording


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "add",
        "bring in recordings made elsewhere",
        details="The stimulus is one of the session's own files in stimuli/; it is found in the recording by itself. "
        "The samples are kept bit for bit, without the file's name and what else its recorder wrote: names, places, "
        "notes, pictures. Its date and time go into the sidecar first, and so does the file's SHA-256, which proves "
        "later which file it was.",
        examples=[
            "distort add our-monitor take1.wav take2.wav --stimulus sweep --level 86 --condition desk",
            "distort add our-monitor --reel recording.wav",
            "distort add our-monitor take.wav --stimulus-file sweep.wav --level 86",
            "distort add our-monitor off.wav --stimulus silence --condition desk",
        ],
    )
    add_session(parser, "the session")
    parser.add_argument(
        "files", metavar="FILE", type=path, nargs="*", help="WAV or FLAC; several are takes of the same"
    )
    parser.add_argument(
        "--reel", metavar="RECORDING", type=path, help="the recording of a reel: it is cut into its recordings"
    )
    parser.add_argument(
        "--stimulus",
        metavar="NAME",
        help="what was played: sweep, sweep-short or multitone; or silence, recorded with the loudspeaker switched off",
    )
    parser.add_argument(
        "--stimulus-file",
        metavar="SWEEP",
        type=path,
        help="the file that was played, when it is an exponential sweep made elsewhere",
    )
    parser.add_argument("--level", metavar="DB", type=finite, help="its nominal level, dB SPL at 1 m")
    _add_circumstances(parser)
    parser.add_argument(
        "--keep-metadata",
        action="store_true",
        help="keep the file byte for byte, with all that its recorder wrote, and its name (of a reel: its name)",
    )
    parser.set_defaults(run=run)


def _add_circumstances(parser: Parser) -> None:
    parser.add_argument("--condition", metavar="NAME", help="the condition it was made in (default: the only one)")
    parser.add_argument(
        "--playback-change-db",
        metavar="DB",
        type=finite,
        help="how far the volume was turned up since the first recording; 0: nothing was turned "
        "(unsaid: there will be no compression result)",
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's channel, counted from 1 (default: the only one)"
    )
    parser.add_argument(
        "--repositioned",
        action="store_true",
        help="microphone or loudspeaker was set up anew since the take before it (for 'compare')",
    )
    parser.add_argument(
        "--after",
        action="store_true",
        help="it is the sweep of the lowest level again, played after the others: shows drift, or residual heating",
    )


def run(arguments: argparse.Namespace) -> int:
    """Bring them in. Raises RecordingError for one that is not to be trusted; those before it are kept."""
    from distort.capture.importing.silence import SILENCE
    from distort.commands.conditions import of_the_plan
    from distort.errors import UsageError
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    _require_words(arguments)
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    if arguments.stimulus != SILENCE:
        _require_after(arguments, lowest_db_spl=min(plan.levels.db_spl))
    conditions = of_the_plan(plan, arguments.condition)
    if len(conditions) > 1:
        raise UsageError(f"say with --condition in which condition it was made: {', '.join(conditions)}")
    if arguments.stimulus == SILENCE:
        return _add_silences(arguments, folder, plan, conditions[0])
    if arguments.reel is not None:
        return _add_reel(arguments, folder, plan, conditions[0])
    return _add_files(arguments, folder, plan, conditions[0])


def _require_words(arguments: argparse.Namespace) -> None:
    from distort.capture.importing.silence import SILENCE
    from distort.errors import UsageError

    alone = (arguments.files, arguments.stimulus, arguments.level, arguments.stimulus_file)
    if arguments.reel is not None:
        if arguments.repositioned:
            raise UsageError(
                "--repositioned goes with single recordings: a reel of a new set-up is a condition of its own"
            )
        if any(given not in (None, []) for given in alone):
            raise UsageError(
                "--reel takes one recording, and neither stimulus nor level nor other files: it knows them"
            )
        return
    if not arguments.files:
        raise UsageError("name the recording, or say --reel RECORDING for that of a reel")
    if arguments.stimulus is not None and arguments.stimulus_file is not None:
        raise UsageError("say --stimulus for a file of the session, or --stimulus-file for a sweep made elsewhere")
    if arguments.stimulus is None and arguments.stimulus_file is None:
        raise UsageError("say with --stimulus what was played, or --reel RECORDING for the recording of a reel")
    if arguments.stimulus == SILENCE:
        if arguments.level is not None or arguments.after or arguments.playback_change_db is not None:
            raise UsageError("silence with the loudspeaker off has no level: leave --level and what goes with it out")
        return
    if arguments.level is None:
        raise UsageError("say with --level at which nominal level it was played, dB SPL at 1 m")


def _require_after(arguments: argparse.Namespace, *, lowest_db_spl: float) -> None:
    from distort.errors import UsageError

    if not arguments.after:
        return
    if arguments.reel is not None:
        raise UsageError("--after goes with single recordings: a reel knows which of its sweeps come after the others")
    if arguments.stimulus not in (None, "sweep"):
        raise UsageError(f"--after is about the sweep: a {arguments.stimulus} that is played again is another take")
    if arguments.level != lowest_db_spl:
        raise UsageError(f"--after is about the lowest level of the plan, {lowest_db_spl:g} dB SPL, played once more")
    if arguments.repositioned:
        raise UsageError("--after and --repositioned contradict each other: what was set up anew shows no drift")


def _add_silences(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan", condition: str) -> int:
    from distort.capture.importing.silence import add_silence
    from distort.report.terminal.console import make_console, say
    from distort.report.text.hiss import added_silence_sentences

    console = make_console()
    for source in arguments.files:
        added = add_silence(
            folder,
            plan,
            source,
            condition=condition,
            channel=arguments.channel,
            keep_metadata=arguments.keep_metadata,
        )
        say(console, *added_silence_sentences(added))
    say(console, f"Next: distort analyze {folder.root}")
    return 0


def _say_unlike(console: "Console", folder: "SessionFolder", plan: "Plan", recording: "Recording") -> None:
    """Where it cannot be of the same level as another take of it."""
    from distort.recording.take_levels import unlike_takes
    from distort.report.terminal.console import say
    from distort.report.text.mended import unlike_sentences
    from distort.session.recordings.stored import load_recordings

    sidecar = recording.sidecar
    same = [
        one
        for one in load_recordings(folder, sidecar.condition)
        if (one.sidecar.stimulus_name, one.sidecar.level_db_spl) == (sidecar.stimulus_name, sidecar.level_db_spl)
    ]
    say(console, *unlike_sentences(unlike_takes(same, plan.levels.band_hz), folder=str(folder.root)))


def _add_reel(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan", condition: str) -> int:
    from distort.capture.reel.importing import add_reel
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.capture import original_sentences
    from distort.report.text.reel import added_reel_sentences

    with progress() as moved:
        added = add_reel(
            folder,
            plan,
            arguments.reel,
            condition=condition,
            turned_db=arguments.playback_change_db,
            channel=arguments.channel,
            progress=moved,
            keep_metadata=arguments.keep_metadata,
        )
    console = make_console()
    say(console, *added_reel_sentences(condition, added, folder=str(folder.root)))
    say(console, *original_sentences(added.recordings[0]))
    if added.reel.up_to_db_spl is None:
        say(console, f"Next: distort analyze {folder.root}")
    return 1 if added.refused else 0


def _heard_sentences(folder: "SessionFolder", plan: "Plan", recording: "Recording") -> "Iterator[str]":
    """What sounded in a recording at a time, as far as it and the others of its condition tell."""
    from distort.assembly.condition.foreign import foreign_among
    from distort.report.text.foreign import foreign_sentences
    from distort.session.recordings.stored import load_recordings

    others = load_recordings(folder, recording.sidecar.condition)
    for found in foreign_among(others, plan, only=recording).values():
        yield f"  {' '.join(foreign_sentences(found))}"


def _add_files(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan", condition: str) -> int:
    from distort.capture.importing.expected_level import unexpected_level
    from distort.capture.importing.recordings import add, add_with_sweep
    from distort.capture.reel.player_level import level_of_recording
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import fitted_sentences, original_sentences, recorded_sentences, rest_sentences
    from distort.report.text.mended import unexpected_sentences
    from distort.report.text.reel import level_warning_sentences
    from distort.session.recordings.stored import load_recordings

    console = make_console()
    told = {
        "level_db_spl": arguments.level,
        "condition": condition,
        "turned_db": arguments.playback_change_db,
        "channel": arguments.channel,
        "repositioned": arguments.repositioned,
        "after": arguments.after,
        "keep_metadata": arguments.keep_metadata,
    }
    for source in arguments.files:
        if arguments.stimulus_file is not None:
            recording, fitted = add_with_sweep(folder, plan, source, stimulus_file=arguments.stimulus_file, **told)
            say(console, *fitted_sentences(arguments.stimulus_file.name, fitted))
        else:
            recording = add(folder, plan, source, stimulus_name=arguments.stimulus, **told)
        say(console, *recorded_sentences(condition, (recording,)))
        say(console, *original_sentences(recording))
        say(console, *_heard_sentences(folder, plan, recording))
        say(console, *level_warning_sentences(level_of_recording(folder, plan, recording)))
        _say_unlike(console, folder, plan, recording)
        say(console, *unexpected_sentences(unexpected_level(folder, plan, recording), folder=str(folder.root)))
    if arguments.after:
        say(console, *rest_sentences(load_recordings(folder, condition)))
    if recording.sidecar.calibration is None:
        say(console, "There is no calibration: results will be in dBFS, and no sound pressure level is known.")
    if arguments.playback_change_db is None:
        say(
            console,
            "Nobody said how far the volume was turned (--playback-change-db): there will be no compression result.",
        )
    say(console, f"Next: distort analyze {folder.root}")
    return 0
