"""distort measure --bursts: bursts that get louder until every band has ended."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.listening import Meter
from distort.commands.live import agreed, card_of, condition_of, require_somebody, stoppable

if TYPE_CHECKING:
    from distort.capture.bursts.playing import BurstsPlayed
    from distort.capture.bursts.starting import BurstsReady
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan

DONE, NOT_WANTED = 0, 130


def play_live(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """Play the series of one condition with a sound card; gives the exit status.

    Raises UsageError when nobody can be asked or the condition is not clear, DeviceError for the card, and the errors
    of `capture.bursts`.
    """
    from distort.capture.bursts.playing import play_bursts
    from distort.capture.bursts.starting import get_ready_for_bursts
    from distort.capture.devices.alone import playing_alone
    from distort.capture.measuring.sounding import rest_owed_s
    from distort.capture.measuring.starting import require_calibration
    from distort.capture.simulated.session import require_real
    from distort.report.terminal.console import make_console, say
    from distort.report.text.burst_series import series_sentences
    from distort.report.text.capture import microphone_sentences
    from distort.report.text.plan import CAUTIONS, rest_sentences, switched_on_sentences

    require_somebody(arguments)
    condition = condition_of(plan, arguments.condition)
    calibration = require_calibration(folder)
    require_real(folder)
    meter, console = Meter(), make_console()
    card = card_of(arguments, plan, meter)
    say(console, *CAUTIONS, *switched_on_sentences(plan))
    say(console, *microphone_sentences(used=card.microphone_name, calibrated=calibration))
    say(console, *rest_sentences(rest_owed_s(folder, card.now())))
    with playing_alone():
        with stoppable(meter):
            meter.progress("playing the quiet run", 0, 1)
            ready = get_ready_for_bursts(folder, plan, card, condition)
        say(console, *series_sentences(ready, plan))
        if ready.most is not None:
            if not (arguments.yes or agreed(console)):
                say(console, "Nothing of it was played.")
                return NOT_WANTED
            if not arguments.yes:
                card.attended()
        with stoppable(meter):
            played = play_bursts(folder, plan, card, ready, progress=meter.progress)
    _say_played(folder, ready, played)
    return DONE


def simulate_bursts(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """The same with the simulated loudspeaker, in every condition unless one is named."""
    from distort.capture.bursts.playing import play_bursts
    from distort.capture.bursts.starting import get_ready_for_bursts
    from distort.capture.simulated.session import calibrate_simulated, simulated_monitor
    from distort.commands.conditions import of_the_plan
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.burst_series import series_sentences

    console = make_console()
    for condition in of_the_plan(plan, arguments.condition):
        monitor = simulated_monitor(plan, condition, takes_before=len(folder.recordings(condition)))
        calibrate_simulated(folder, monitor)
        ready = get_ready_for_bursts(folder, plan, monitor, condition)
        say(console, *series_sentences(ready, plan))
        with progress() as moved:
            played = play_bursts(folder, plan, monitor, ready, progress=moved)
        _say_played(folder, ready, played)
    return DONE


def _say_played(folder: "SessionFolder", ready: "BurstsReady", played: "BurstsPlayed") -> None:
    from distort.report.terminal.console import make_console, say
    from distort.report.text.burst_series import played_sentences
    from distort.report.text.capture import recorded_sentences

    console, condition = make_console(), ready.ready.choice.condition
    if played.recordings:
        say(console, *recorded_sentences(condition, played.recordings))
    say(console, *played_sentences(condition, played))
    say(console, f"Next: distort analyze {folder.root}, then distort show {folder.root} burst")
