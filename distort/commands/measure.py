"""distort measure: plays and records every stimulus that is not recorded yet."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "measure",
        "play and record what is not recorded yet",
        examples=[
            "distort measure our-monitor --simulate --condition desk",
            "distort measure our-monitor --simulate --only sweep_96dB --again",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "--simulate", action="store_true", help="use the simulated loudspeaker; its results are marked as simulated"
    )
    parser.add_argument("--condition", metavar="NAME", help="this condition (default: the only one)")
    parser.add_argument("--only", metavar="NAME", help="this stimulus and level alone, such as sweep_96dB")
    parser.add_argument("--again", action="store_true", help="record another take of what is recorded already")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure. Raises UsageError for words that do not fit the session, and the errors of `capture.measuring`."""
    from distort.capture.measuring import measure
    from distort.capture.simulating import calibrate_simulated, simulated_monitor
    from distort.commands.conditions import of_the_plan
    from distort.errors import UsageError
    from distort.report.capture_words import print_calibration, print_left_out, print_recorded
    from distort.report.console import make_console, progress, say
    from distort.session.drive_file import read_sensitivity
    from distort.session.folder import SessionFolder
    from distort.session.plan_reading import read_plan
    from distort.session.stimulus_files import drives_dbfs, too_peaky

    if not arguments.simulate:
        raise UsageError("a sound card cannot be used yet: say --simulate, or bring recordings in with 'distort add'")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    console = make_console()
    conditions = of_the_plan(plan, arguments.condition)
    for condition in conditions:
        monitor = simulated_monitor(plan, condition)
        if reading := calibrate_simulated(folder, monitor):
            print_calibration(console, reading, db_spl=reading.spl_of_full_scale + reading.calibrator_dbfs)
        with progress() as moved:
            recorded = measure(
                folder,
                plan,
                monitor,
                condition=condition,
                only=arguments.only,
                again=arguments.again,
                progress=moved,
            )
        print_recorded(console, condition, recorded)
    drives = drives_dbfs(plan, read_sensitivity(folder.calibration_path("drive.json")))
    print_left_out(console, too_peaky(plan, drives))
    say(console, f"Next: distort analyze {folder.root}")
    return 0
