"""distort measure: plays and records every stimulus that is not recorded yet."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import block, channel, path
from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "measure",
        "play and record what is not recorded yet",
        details="Shows what will be played how loud, and asks once before anything is loud. Ctrl-C stops the sound; "
        "the same command again goes on. 'distort devices' lists the sound cards.",
        examples=[
            "distort measure our-monitor --output 3 --input 3 --input-channel 2 --condition desk",
            "distort measure our-monitor --simulate --condition desk",
            "distort measure our-monitor --simulate --only sweep_96dB --again",
            "distort measure our-monitor --output 3 --input 3 --condition desk --again --repositioned",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "--simulate", action="store_true", help="use the simulated loudspeaker; its results are marked as simulated"
    )
    parser.add_argument("--condition", metavar="NAME", help="this condition (default: the only one)")
    parser.add_argument("--only", metavar="NAME", help="this stimulus and level alone, such as sweep_96dB")
    parser.add_argument("--again", action="store_true", help="record another take of what is recorded already")
    parser.add_argument(
        "--repositioned", action="store_true", help="microphone or loudspeaker was set up anew (for 'compare')"
    )
    parser.add_argument(
        "--relevel",
        action="store_true",
        help="find the drive of each level anew, after a new calibration, distance or volume; the old ones are kept",
    )
    parser.add_argument(
        "--past-limiting",
        action="store_true",
        help="go on above the level at which an octave stands still (under 0.2 dB per dB on two rungs)",
    )
    card = parser.add_argument_group("sound card")
    card.add_argument("--output", metavar="CARD", help="number or name of what plays (default: the system's)")
    card.add_argument("--input", metavar="CARD", help="number or name of what records (default: the system's)")
    card.add_argument("--output-channel", metavar="N", type=channel, help="the loudspeaker's, from 1 (default: 1)")
    card.add_argument("--input-channel", metavar="N", type=channel, help="the microphone's, from 1 (default: 1)")
    card.add_argument(
        "--loopback-channel",
        metavar="N",
        type=channel,
        help="input to which a cable leads from the output; its recordings are kept in loopback/",
    )
    card.add_argument(
        "--block", metavar="SAMPLES", type=block, help="about how many samples a block has (default: 0.05 s in four)"
    )
    card.add_argument("--yes", action="store_true", help="do not ask before it is loud: the room is ready")
    parser.set_defaults(run=run)


OF_A_CARD = ("output", "input", "output_channel", "input_channel", "loopback_channel", "block")
"""Options that mean nothing to the simulated loudspeaker."""


def run(arguments: argparse.Namespace) -> int:
    """Measure. Raises UsageError for words that do not fit the session, and the errors of `commands.aloud`
    and `capture.measuring.ladder`."""
    from distort.commands.aloud import measure_aloud
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    useless = [name for name in OF_A_CARD if getattr(arguments, name) is not None]
    if arguments.simulate and useless:
        option = "--" + useless[0].replace("_", "-")
        raise UsageError(f"--simulate uses no sound card: leave out {option}, or --simulate")
    if arguments.simulate and arguments.repositioned:
        raise UsageError("the simulated loudspeaker cannot be set up anew: leave out --repositioned, or --simulate")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    return _simulate(arguments, folder, plan) if arguments.simulate else measure_aloud(arguments, folder, plan)


def _simulate(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    from distort.capture.devices.simulating import calibrate_simulated, simulated_monitor
    from distort.capture.measuring.ladder import play
    from distort.capture.measuring.starting import get_ready
    from distort.commands.choice import choice_of
    from distort.commands.conditions import of_the_plan
    from distort.report.terminal.capture_words import print_calibration, print_left_out, print_recorded
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.terminal.plan_words import print_ended, print_plan
    from distort.session.recordings.stimulus_files import too_peaky

    console = make_console()
    conditions = of_the_plan(plan, arguments.condition)
    for condition in conditions:
        monitor = simulated_monitor(plan, condition, takes_before=len(folder.recordings(condition)))
        if reading := calibrate_simulated(folder, monitor):
            print_calibration(console, reading, db_spl=reading.spl_of_full_scale + reading.calibrator_dbfs)
        ready = get_ready(folder, plan, monitor, choice_of(arguments, condition))
        if ready.steps:
            print_plan(console, ready, plan)
        with progress() as moved:
            measured = play(folder, plan, monitor, ready, progress=moved)
        print_recorded(console, condition, measured.recordings, ended=measured.ended is not None)
        print_ended(console, condition, measured.ended)
    print_left_out(console, too_peaky(plan, ready.drives))
    say(console, f"Next: distort analyze {folder.root}")
    return 0
