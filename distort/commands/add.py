"""distort add: brings in recordings that were made elsewhere."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import channel, finite, path

if TYPE_CHECKING:
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "add",
        "bring in recordings made elsewhere",
        details="The stimulus is one of the session's own files in stimuli/; it is found in the recording by itself.",
        examples=[
            "distort add our-monitor take1.wav take2.wav --stimulus sweep --level 86 --condition desk",
            "distort add our-monitor --reel recording.wav",
            "distort add our-monitor take.wav --stimulus-file sweep.wav --level 86",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "files", metavar="FILE", type=path, nargs="*", help="WAV or FLAC; several are takes of the same"
    )
    parser.add_argument(
        "--reel", metavar="RECORDING", type=path, help="the recording of a reel: it is cut into its recordings"
    )
    parser.add_argument("--stimulus", metavar="NAME", help="what was played: sweep, sweep-short or multitone")
    parser.add_argument(
        "--stimulus-file",
        metavar="SWEEP",
        type=path,
        help="the file that was played, when it is an exponential sweep made elsewhere",
    )
    parser.add_argument("--level", metavar="DB", type=finite, help="its nominal level, dB SPL at 1 m")
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
    parser.add_argument(
        "--repositioned",
        action="store_true",
        help="microphone or loudspeaker was set up anew since the take before it (for 'compare')",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Bring them in. Raises RecordingError for one that is not to be trusted; those before it are kept."""
    from distort.commands.conditions import of_the_plan
    from distort.errors import UsageError
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    _require_words(arguments)
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    conditions = of_the_plan(plan, arguments.condition)
    if len(conditions) > 1:
        raise UsageError(f"say with --condition in which condition it was made: {', '.join(conditions)}")
    if arguments.reel is not None:
        return _add_reel(arguments, folder, plan, conditions[0])
    return _add_files(arguments, folder, plan, conditions[0])


def _require_words(arguments: argparse.Namespace) -> None:
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
    if arguments.level is None:
        raise UsageError("say with --level at which nominal level it was played, dB SPL at 1 m")


def _add_reel(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan", condition: str) -> int:
    from distort.capture.reel.bringing_in import add_reel
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.terminal.reel_words import print_added_reel

    with progress() as moved:
        added = add_reel(
            folder,
            plan,
            arguments.reel,
            condition=condition,
            turned_db=arguments.turned_db,
            channel=arguments.channel,
            progress=moved,
        )
    console = make_console()
    print_added_reel(console, condition, added, folder=str(folder.root))
    if added.reel.up_to_db_spl is None:
        say(console, f"Next: distort analyze {folder.root}")
    return 1 if added.refused else 0


def _add_files(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan", condition: str) -> int:
    from distort.capture.elsewhere.bringing_in import add, add_with_sweep
    from distort.capture.reel.player_level import level_of_recording
    from distort.report.terminal.capture_words import print_fitted, print_recorded
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.reel_words import print_level_warning

    console = make_console()
    told = {
        "level_db_spl": arguments.level,
        "condition": condition,
        "turned_db": arguments.turned_db,
        "channel": arguments.channel,
        "repositioned": arguments.repositioned,
    }
    for source in arguments.files:
        if arguments.stimulus_file is not None:
            recording, fitted = add_with_sweep(folder, plan, source, stimulus_file=arguments.stimulus_file, **told)
            print_fitted(console, arguments.stimulus_file.name, fitted)
        else:
            recording = add(folder, plan, source, stimulus_name=arguments.stimulus, **told)
        print_recorded(console, condition, (recording,))
        print_level_warning(console, level_of_recording(folder, plan, recording))
    if recording.sidecar.calibration is None:
        say(console, "There is no calibration: results will be in dBFS, and no sound pressure level is known.")
    if arguments.turned_db is None:
        say(console, "Nobody said how far the volume was turned (--turned-db): there will be no compression result.")
    say(console, f"Next: distort analyze {folder.root}")
    return 0
