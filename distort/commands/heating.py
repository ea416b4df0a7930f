"""distort measure --heating LEVEL: a multitone for minutes, and how the loudspeaker recovers from it."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.listening import Meter
from distort.commands.live import agreed, card_of, condition_of, require_somebody, stoppable

if TYPE_CHECKING:
    from distort.capture.heating.playing import HeatingPlayed
    from distort.capture.heating.starting import HeatingReady
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan

DONE, NOT_WANTED = 0, 130


def heat_live(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """Play it in one condition with a sound card; gives the exit status.

    Raises UsageError when nobody can be asked, the condition is not clear or the level is not on record, DeviceError
    for the card, and the errors of `capture.heating`.
    """
    from distort.capture.devices.alone import playing_alone
    from distort.capture.heating.playing import play_heating
    from distort.capture.heating.starting import get_ready_for_heating, heating_of
    from distort.capture.measuring.starting import require_calibration
    from distort.capture.simulated.session import require_real
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import microphone_sentences
    from distort.report.text.heating_played import heating_sentences
    from distort.report.text.plan import CAUTIONS, switched_on_sentences

    require_somebody(arguments)
    condition = condition_of(plan, arguments.condition)
    calibration = require_calibration(folder)
    require_real(folder)
    heating_of(folder, plan, condition, arguments.heating)  # what is refused is refused before anything sounds
    meter, console = Meter(), make_console()
    card = card_of(arguments, plan, meter)
    say(console, *CAUTIONS, *switched_on_sentences(plan))
    say(console, *microphone_sentences(used=card.microphone_name, calibrated=calibration))
    with playing_alone():
        with stoppable(meter):
            meter.progress("playing the quiet run", 0, 1)
            ready = get_ready_for_heating(folder, plan, card, condition=condition, level_db_spl=arguments.heating)
        say(console, *heating_sentences(ready, folder))
        if not (arguments.yes or agreed(console)):
            say(console, "Nothing of it was played.")
            return NOT_WANTED
        if not arguments.yes:
            card.attended()
        with stoppable(meter, go_on=BROKEN_OFF):
            meter.progress(f"recording {condition}/{ready.name.stem}", 0, 1)
            played = play_heating(folder, plan, card, ready)
            _say_played(folder, ready, played)
    return DONE


BROKEN_OFF = "Stopped. The same command again plays another take from its beginning: let the loudspeaker cool before."


def simulate_heating(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """The same with the simulated loudspeaker, in every condition unless one is named."""
    from distort.capture.heating.playing import play_heating
    from distort.capture.heating.starting import get_ready_for_heating
    from distort.capture.simulated.session import calibrate_simulated, simulated_monitor
    from distort.commands.conditions import of_the_plan
    from distort.report.terminal.console import make_console, progress, say
    from distort.report.text.heating_played import heating_sentences

    console = make_console()
    for condition in of_the_plan(plan, arguments.condition):
        monitor = simulated_monitor(plan, condition, takes_before=len(folder.recordings(condition)))
        calibrate_simulated(folder, monitor)
        ready = get_ready_for_heating(folder, plan, monitor, condition=condition, level_db_spl=arguments.heating)
        say(console, *heating_sentences(ready, folder))
        with progress() as moved:
            moved(f"recording {condition}/{ready.name.stem}", 0, 1)
            played = play_heating(folder, plan, monitor, ready)
        _say_played(folder, ready, played)
    return DONE


def _say_played(folder: "SessionFolder", ready: "HeatingReady", played: "HeatingPlayed") -> None:
    """Say what was kept. Raises what broke it off."""
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import recorded_sentences
    from distort.report.text.heating_played import played_sentences

    console = make_console()
    if played.recording is not None:
        say(console, *recorded_sentences(ready.condition, (played.recording,)))
    say(console, *played_sentences(ready, played))
    if played.broken_off is not None:
        raise played.broken_off
    say(console, f"Next: distort analyze {folder.root}, then distort show {folder.root} heating")
