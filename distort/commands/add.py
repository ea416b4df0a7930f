"""distort add: brings in recordings that were made elsewhere."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import channel, finite, path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "add",
        "bring in recordings made elsewhere",
        details="The stimulus is one of the session's own files in stimuli/; it is found in the recording by itself.",
        examples=["distort add our-monitor take1.wav take2.wav --stimulus sweep --level 86 --condition desk"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "files", metavar="FILE", type=path, nargs="+", help="WAV or FLAC; several are takes of the same"
    )
    parser.add_argument(
        "--stimulus", metavar="NAME", required=True, help="what was played: sweep, sweep-short or multitone"
    )
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
    parser.add_argument(
        "--repositioned",
        action="store_true",
        help="microphone or loudspeaker was set up anew since the take before it (for 'compare')",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Bring them in. Raises RecordingError for one that is not to be trusted; those before it are kept."""
    from distort.capture.bringing_in import add
    from distort.commands.conditions import of_the_plan
    from distort.errors import UsageError
    from distort.report.capture_words import print_recorded
    from distort.report.console import make_console, say
    from distort.session.folder import SessionFolder
    from distort.session.plan_reading import read_plan

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    conditions = of_the_plan(plan, arguments.condition)
    if len(conditions) > 1:
        raise UsageError(f"say with --condition in which condition it was made: {', '.join(conditions)}")
    console = make_console()
    for source in arguments.files:
        recording = add(
            folder,
            plan,
            source,
            stimulus_name=arguments.stimulus,
            level_db_spl=arguments.level,
            condition=conditions[0],
            turned_db=arguments.turned_db,
            channel=arguments.channel,
            repositioned=arguments.repositioned,
        )
        print_recorded(console, conditions[0], (recording,))
    if recording.sidecar.calibration is None:
        say(console, "There is no calibration: results will be in dBFS, and no sound pressure level is known.")
    if arguments.turned_db is None:
        say(console, "Nobody said how far the volume was turned (--turned-db): there will be no compression result.")
    say(console, f"Next: distort analyze {folder.root}")
    return 0
