"""distort measure: plays and records every stimulus that is not recorded yet."""

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from distort.capture.measuring.starting import Choice

from distort.commands.burst_series import play_live, simulate_bursts
from distort.commands.heating import heat_live, simulate_heating
from distort.commands.listening import Meter
from distort.commands.live import OF_A_CARD, agreed, card_of, condition_of, require_somebody, stoppable
from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.capture.devices.sound_card import SoundCard
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan
from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import block, channel

if TYPE_CHECKING:
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan


def choice_of(arguments: argparse.Namespace, condition: str) -> "Choice":
    """What the user wants measured in a condition."""
    from distort.capture.measuring.starting import Choice

    return Choice(
        condition=condition,
        only=arguments.only,
        again=arguments.again,
        repositioned=arguments.repositioned,
        relevel=arguments.relevel,
        past_limiting=arguments.past_limiting,
    )


DONE, NOT_WANTED = 0, 130


def measure_live(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """Measure one condition with a sound card; gives the exit status.

    Raises UsageError when nobody can be asked or the condition is not clear, DeviceError for the card, SessionError
    when another program plays on this machine, and the errors of `capture.measuring.starting` and `.ladder`.
    """
    from distort.capture.devices.alone import playing_alone
    from distort.capture.measuring.sounding import rest_owed_s
    from distort.capture.measuring.starting import planned_before, require_calibration
    from distort.capture.simulated.session import require_real
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import microphone_sentences
    from distort.report.text.plan import CAUTIONS, before_sentences, rest_sentences

    require_somebody(arguments)
    condition = condition_of(plan, arguments.condition)
    choice = choice_of(arguments, condition)
    calibration = require_calibration(folder)
    require_real(folder)
    meter = Meter()
    card = card_of(arguments, plan, meter)
    console = make_console()
    say(console, *CAUTIONS)
    say(console, *before_sentences(planned_before(folder, plan, choice), plan, condition=condition))
    say(console, *microphone_sentences(used=card.microphone_name, calibrated=calibration))
    say(console, *rest_sentences(rest_owed_s(folder, card.now())))
    with playing_alone():
        return _asked_and_played(arguments, folder, plan, card=card, meter=meter, choice=choice)


def _asked_and_played(
    arguments: argparse.Namespace,
    folder: "SessionFolder",
    plan: "Plan",
    *,
    card: "SoundCard",
    meter: Meter,
    choice: "Choice",
) -> int:
    from distort.capture.measuring.playing import play
    from distort.capture.measuring.starting import get_ready
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import left_out_sentences, recorded_sentences
    from distort.report.text.plan import ended_sentences, plan_sentences
    from distort.report.text.silences_checked import how_to_get_one
    from distort.session.recordings.silence_off import load_silences
    from distort.session.recordings.stimulus_files import left_out

    console, condition = make_console(), choice.condition
    with stoppable(meter):
        meter.progress("playing the quiet run", 0, 1)
        ready = get_ready(folder, plan, card, choice)
    if ready.steps:
        say(console, *plan_sentences(ready, plan))
        if not (arguments.yes or agreed(console)):
            say(console, "Nothing of it was played.")
            return NOT_WANTED
        if not arguments.yes:
            card.attended()
    with stoppable(meter):
        measured = play(folder, plan, card, ready, progress=meter.progress)
    say(console, *recorded_sentences(condition, measured.recordings, ended=measured.ended is not None))
    say(console, *ended_sentences(condition, measured.ended))
    say(console, *left_out_sentences(left_out(plan, ready.drives)))
    if measured.ended is None and plan.of(condition).near_field_of is None and not load_silences(folder, condition):
        say(console, how_to_get_one(condition, folder=str(folder.root)))
    say(console, f"Next: distort analyze {folder.root}")
    return DONE


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
            "distort measure our-monitor --output 3 --input 3 --condition desk --bursts",
            "distort measure our-monitor --output 3 --input 3 --condition desk --heating 91",
            "distort measure our-monitor --output 3 --input 3 --condition desk --again --repositioned",
        ],
    )
    add_session(parser, "the session, and the condition that stands there (default: the only one)")
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
        help="go on above the level at which an octave no longer rises (under 0.2 dB per dB on two levels)",
    )
    parser.add_argument(
        "--bursts",
        action="store_true",
        help="after the level series: short bursts, louder from recording to recording, until each band has ended",
    )
    parser.add_argument(
        "--heating",
        metavar="LEVEL",
        type=float,
        help="after the level series: its multitone of this level, in dB SPL, for [multitone] long_minutes",
    )
    _add_card(parser)
    parser.set_defaults(run=run)


def _add_card(parser: Parser) -> None:
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


def run(arguments: argparse.Namespace) -> int:
    """Measure. Raises UsageError for words that do not fit the session, and the errors of `commands.measure`
    and `capture.measuring.playing`."""
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan

    useless = [name for name in OF_A_CARD if getattr(arguments, name) is not None]
    if arguments.simulate and useless:
        option = "--" + useless[0].replace("_", "-")
        raise UsageError(f"--simulate uses no sound card: leave out {option}, or --simulate")
    if arguments.bursts or arguments.heating is not None:
        _require_alone(arguments)
    if arguments.simulate and arguments.repositioned:
        raise UsageError("the simulated loudspeaker cannot be set up anew: leave out --repositioned, or --simulate")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    if arguments.bursts:
        return simulate_bursts(arguments, folder, plan) if arguments.simulate else play_live(arguments, folder, plan)
    if arguments.heating is not None:
        return simulate_heating(arguments, folder, plan) if arguments.simulate else heat_live(arguments, folder, plan)
    return _simulate(arguments, folder, plan) if arguments.simulate else measure_live(arguments, folder, plan)


def _require_alone(arguments: argparse.Namespace) -> None:
    if arguments.bursts and arguments.heating is not None:
        raise UsageError("--bursts and --heating are played one after the other: say one of them")
    of_levels = ("only", "again", "repositioned", "relevel", "past_limiting")
    others = [name for name in of_levels if getattr(arguments, name)]
    if others:
        option = "--" + others[0].replace("_", "-")
        own = "--bursts is a series" if arguments.bursts else "--heating is a recording"
        raise UsageError(f"{option} is about the level series, and {own} of its own: say one of them")


def _simulate(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    from distort.capture.measuring.playing import play
    from distort.capture.measuring.starting import get_ready
    from distort.capture.simulated.session import calibrate_simulated, simulated_monitor
    from distort.commands.conditions import of_the_plan
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.capture import (
        calibration_sentences,
        fault_sentences,
        left_out_sentences,
        recorded_sentences,
    )
    from distort.report.text.plan import before_sentences, ended_sentences, plan_sentences
    from distort.session.recordings.stimulus_files import left_out

    console = make_console()
    conditions = of_the_plan(plan, arguments.condition)
    for condition in conditions:
        monitor = simulated_monitor(plan, condition, takes_before=len(folder.recordings(condition)))
        say(console, *fault_sentences(condition, monitor.fault))
        if reading := calibrate_simulated(folder, monitor):
            say(console, *calibration_sentences(reading, db_spl=reading.spl_of_full_scale + reading.calibrator_dbfs))
        ready = get_ready(folder, plan, monitor, choice_of(arguments, condition))
        if ready.steps:  # what a card would say before its quiet run
            say(console, *before_sentences(ready.steps, plan, condition=condition))
            say(console, *plan_sentences(ready, plan))
        with progress() as moved:
            measured = play(folder, plan, monitor, ready, progress=moved)
        say(console, *recorded_sentences(condition, measured.recordings, ended=measured.ended is not None))
        say(console, *ended_sentences(condition, measured.ended))
    say(console, *left_out_sentences(left_out(plan, ready.drives)))
    say(console, f"Next: distort analyze {folder.root}")
    return 0
