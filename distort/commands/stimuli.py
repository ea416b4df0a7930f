"""distort stimuli: writes what is to be played."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "stimuli",
        "write the stimuli",
        details="Writes stimuli/ of the session: a 24-bit WAV for every stimulus and level, and how to make it again.",
        examples=["distort stimuli our-monitor"],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "--replace", action="store_true", help="replace files that describe other stimuli, after session.toml changed"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write them. Raises PlanError for a plan that cannot be played, SessionError when the folder cannot be written."""
    from distort.report.capture_words import print_left_out
    from distort.report.console import make_console, progress, say
    from distort.session.drive_file import read_sensitivity
    from distort.session.folder import SessionFolder
    from distort.session.plan_reading import read_plan
    from distort.session.stimulus_files import drives_dbfs, planned, too_peaky, write_stimulus

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
            f"drive {item.stimulus.drive_dbfs:.1f} dBFS",
        )
    print_left_out(console, too_peaky(plan, drives))
    if sensitivity is None:
        say(
            console,
            "The loudspeaker's sensitivity is not known yet, so the files are exact steps below the highest drive: "
            "turn the player's volume until each level is right, and leave it there.",
        )
    say(console, f"Next: play them, record, and bring the recordings in with 'distort add {folder.root} ...'.")
    return 0
