"""What every command that plays through a sound card shares: which condition, which card, asking, stopping."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from distort.commands.listening import Meter
from distort.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from distort.capture.devices.sound_card import SoundCard
    from distort.session.plan.keys import Plan

GO_ON = "Stopped. What was recorded is kept: the same command again records the rest."

OF_A_CARD = ("output", "input", "output_channel", "input_channel", "loopback_channel", "block")
"""Options that mean nothing to the simulated loudspeaker."""


def require_somebody(arguments: argparse.Namespace) -> None:
    """Raises UsageError where nobody can be asked and `--yes` was not said."""
    if not (arguments.yes or sys.stdin.isatty()):
        raise UsageError("nothing is played, because nobody can be asked here: say --yes when the room is ready")


def condition_of(plan: "Plan", wanted: str | None) -> str:
    """The condition that stands there. Raises UsageError where that is not clear."""
    from distort.commands.conditions import of_the_plan

    conditions = of_the_plan(plan, wanted)
    if len(conditions) > 1:
        raise UsageError(
            f"the set-up stands in one condition at a time: say with --condition which of {', '.join(conditions)}"
        )
    return conditions[0]


def card_of(arguments: argparse.Namespace, plan: "Plan", meter: Meter) -> "SoundCard":
    """The sound card that the options name. Raises DeviceError."""
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


def agreed(console: "Console") -> bool:
    """Whether whoever measures says yes."""
    return console.input("Play it? Type yes: ").strip().lower() in {"y", "yes"}


@contextmanager
def stoppable(meter: Meter, *, go_on: str = GO_ON) -> Iterator[None]:
    """A progress bar; and a way to go on, `go_on`, is said to whoever presses Ctrl-C."""
    from distort.report.terminal.console import make_console, progress, say

    try:
        with progress() as meter.moved:
            yield
    except KeyboardInterrupt:
        say(make_console(stderr=True), go_on)
        raise
