"""distort measure with a sound card: says what will be loud, asks once, and then plays."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from distort.commands.meter import Meter
from distort.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from distort.capture.devices.sound_card import SoundCard
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan

DONE, NOT_WANTED = 0, 130

GO_ON = "Stopped. What was recorded is kept: the same command again records the rest."


def measure_aloud(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """Measure one condition with a sound card; gives the exit status.

    Raises UsageError when nobody can be asked or the condition is not clear, DeviceError for the card, SessionError
    when another program plays on this machine, and the errors of `capture.measuring.starting` and `.ladder`.
    """
    from distort.capture.devices.alone import playing_alone
    from distort.capture.devices.simulating import require_real
    from distort.capture.measuring.starting import require_calibration
    from distort.report.terminal.capture_words import print_microphone
    from distort.report.terminal.console import make_console
    from distort.report.terminal.plan_words import print_cautions

    if not (arguments.yes or sys.stdin.isatty()):
        raise UsageError("nothing is played, because nobody can be asked here: say --yes when the room is ready")
    condition = _condition(plan, arguments.condition)
    calibration = require_calibration(folder)
    require_real(folder)
    meter = Meter()
    card = _card(arguments, plan, meter)
    console = make_console()
    print_cautions(console)
    print_microphone(console, used=card.microphone_name, calibrated=calibration)
    with playing_alone():
        return _asked_and_played(arguments, folder, plan, card=card, meter=meter, condition=condition)


def _asked_and_played(
    arguments: argparse.Namespace,
    folder: "SessionFolder",
    plan: "Plan",
    *,
    card: "SoundCard",
    meter: Meter,
    condition: str,
) -> int:
    from distort.capture.measuring.ladder import play
    from distort.capture.measuring.starting import get_ready
    from distort.commands.choice import choice_of
    from distort.report.terminal.capture_words import print_left_out, print_recorded
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.plan_words import print_ended, print_plan
    from distort.session.recordings.stimulus_files import too_peaky

    console = make_console()
    with _stoppable(meter):
        meter.progress("playing the quiet run", 0, 1)
        ready = get_ready(folder, plan, card, choice_of(arguments, condition))
    if ready.steps:
        print_plan(console, ready, plan)
        if not (arguments.yes or _agreed(console)):
            say(console, "Nothing of it was played.")
            return NOT_WANTED
        if not arguments.yes:
            card.attended()
    with _stoppable(meter):
        measured = play(folder, plan, card, ready, progress=meter.progress)
    print_recorded(console, condition, measured.recordings, ended=measured.ended is not None)
    print_ended(console, condition, measured.ended)
    print_left_out(console, too_peaky(plan, ready.drives))
    say(console, f"Next: distort analyze {folder.root}")
    return DONE


def _condition(plan: "Plan", wanted: str | None) -> str:
    from distort.commands.conditions import of_the_plan

    conditions = of_the_plan(plan, wanted)
    if len(conditions) > 1:
        raise UsageError(
            f"the set-up stands in one condition at a time: say with --condition which of {', '.join(conditions)}"
        )
    return conditions[0]


def _card(arguments: argparse.Namespace, plan: "Plan", meter: Meter) -> "SoundCard":
    from distort.capture.devices.sound_card import Connections, SoundCard

    connections = Connections(
        output=arguments.output,
        input=arguments.input,
        output_channel=arguments.output_channel or 1,
        input_channel=arguments.input_channel or 1,
        loopback_channel=arguments.loopback_channel,
        block_samples=arguments.block or 0,
    )
    return SoundCard(connections, max_drive_dbfs=plan.safety.max_drive_dbfs, watch=meter.watch)


def _agreed(console: "Console") -> bool:
    return console.input("Play it? Type yes: ").strip().lower() in {"y", "yes"}


@contextmanager
def _stoppable(meter: Meter) -> Iterator[None]:
    """A progress bar; and a way to go on is said to whoever presses Ctrl-C."""
    from distort.report.terminal.console import make_console, progress, say

    try:
        with progress() as meter.moved:
            yield
    except KeyboardInterrupt:
        say(make_console(stderr=True), GO_ON)
        raise
