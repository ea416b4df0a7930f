"""distort stimuli: writes what is to be played."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import finite


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "stimuli",
        "write the stimuli",
        details="Writes stimuli/ of the session: a 24-bit WAV for every stimulus and level, and how to make it again.",
        examples=[
            "distort stimuli our-monitor",
            "distort stimuli our-monitor --reel --up-to 86",
            "distort stimuli our-monitor --next-burst --condition desk",
        ],
    )
    add_session(parser, "the session", whole="what is played is the same in every condition")
    parser.add_argument(
        "--replace", action="store_true", help="replace files that describe other stimuli, after session.toml changed"
    )
    parser.add_argument(
        "--reel",
        action="store_true",
        help="write all of them as one file, to play from anything; the louder part only when the quiet part has been "
        "brought in",
    )
    parser.add_argument(
        "--up-to", metavar="DB", type=finite, help="with --reel: its quiet part alone, up to this level, dB SPL at 1 m"
    )
    parser.add_argument(
        "--next-burst",
        action="store_true",
        help="write the next file of the burst series alone: bursts at the next level, of the bands that have not "
        "ended by the recordings brought in so far",
    )
    parser.add_argument(
        "--condition", metavar="NAME", help="with --next-burst: the condition that is played (default: the only one)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write them. Raises PlanError for a plan that cannot be played, SessionError when the folder cannot be written."""
    from distort.errors import UsageError

    if arguments.next_burst:
        if arguments.reel or arguments.up_to is not None:
            raise UsageError("--next-burst writes one file of its own: leave --reel and --up-to out")
        return _write_next_burst(arguments)
    if arguments.condition is not None:
        raise UsageError("--condition goes with --next-burst: all else that is played is the same in every condition")
    if arguments.reel:
        return _write_reel(arguments)
    if arguments.up_to is not None:
        raise UsageError("--up-to says how far the quiet part of a reel goes: say it with --reel")
    return _write_single(arguments)


def _write_next_burst(arguments: argparse.Namespace) -> int:
    from distort.capture.bursts.next_file import write_next_file
    from distort.commands.live import condition_of
    from distort.report.terminal.console import make_console, say
    from distort.report.text.burst_series import next_file_sentences
    from distort.report.text.plan import CAUTIONS
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    condition = condition_of(plan, arguments.condition)
    made = write_next_file(folder, plan, condition, replace=arguments.replace)
    console = make_console()
    if made.item is not None and made.references == 0:
        say(console, *CAUTIONS)
    say(console, *next_file_sentences(made, plan, folder=str(folder.root), condition=condition))
    return 0


def _write_reel(arguments: argparse.Namespace) -> int:
    from distort.capture.reel.making import make_reel, require_may_be_written, write_reel
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.capture import left_out_sentences
    from distort.report.text.reel import reel_sentences
    from distort.session.calibration.drive_file import read_sensitivity
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.recordings.stimulus_files import drives_dbfs, left_out

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    sensitivity = read_sensitivity(folder.calibration_path("drive.json"))
    require_may_be_written(folder, plan, sensitivity, up_to_db_spl=arguments.up_to)
    made = make_reel(plan, sensitivity, up_to_db_spl=arguments.up_to)
    console = make_console()
    with progress() as moved:
        moved("writing the reel", 0, 1)
        reel = write_reel(folder, made, replace=arguments.replace)
    say(console, *reel_sentences(reel, made.steps, plan))
    say(console, *left_out_sentences(left_out(plan, drives_dbfs(plan, sensitivity))))
    if arguments.up_to is None:
        say(console, f"Next: play stimuli/{reel.file}, record it, and distort add {folder.root} --reel RECORDING")
        return 0
    say(
        console,
        f"Next: turn the volume low, play stimuli/{reel.file}, record it, and distort player-level {folder.root} "
        f"--target {arguments.up_to:g} --from RECORDING; when it is right, distort add {folder.root} --reel RECORDING",
    )
    return 0


def _write_single(arguments: argparse.Namespace) -> int:
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.capture import left_out_sentences
    from distort.session.calibration.drive_file import read_sensitivity
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.recordings.stimulus_files import drives_dbfs, left_out, planned, write_stimulus

    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    sensitivity = read_sensitivity(folder.calibration_path("drive.json"))
    drives = drives_dbfs(plan, sensitivity)
    items = planned(plan, drives)
    console = make_console()
    with progress() as moved:
        for done, item in enumerate(items):
            moved(f"writing {item.stem}", done, len(items))
            write_stimulus(folder, item, replace=arguments.replace)
    for item in items:
        say(
            console,
            f"{item.stem}.wav: {item.reel.n_samples / item.reel.sample_rate:.1f} s, "
            f"drive {item.stimulus.drive_dbfs:.1f} dBFS{', ' if item.facts else ''}{item.facts}",
        )
    say(console, *left_out_sentences(left_out(plan, drives)))
    if sensitivity is None:
        say(
            console,
            "The loudspeaker's sensitivity is not known yet, so the files are exact steps below the highest drive: "
            "turn the player's volume until each level is right, and leave it there.",
        )
    say(console, f"Next: play them, record, and bring the recordings in with 'distort add {folder.root} ...'.")
    return 0
