"""distort measure with a sound card: says what will be loud, asks once, and then plays."""

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from distort.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from distort.capture.sound_card import SoundCard
    from distort.session.folder import SessionFolder
    from distort.session.plan import Plan

DONE, NOT_WANTED = 0, 130

GO_ON = "Stopped. What was recorded is kept: the same command again records the rest."


class Meter:
    """Puts what is being done and the newest input level into one line of the progress bar."""

    def __init__(self) -> None:
        self.moved: Callable[[str, int, int], None] = lambda what, done, total: None
        self._step = ("", 0, 1)

    def progress(self, what: str, done: int, total: int) -> None:
        """A new step has begun."""
        self._step = (what, done, total)
        self.moved(what, done, total)

    def watch(self, share: float, peak_dbfs: float) -> None:
        """How far the step is, 0 to 1, and how loud the microphone's channel."""
        what, done, total = self._step
        self.moved(f"{what}, {100.0 * share:.0f} %, input peak {max(peak_dbfs, -144.0):.0f} dBFS", done, total)


def measure_aloud(arguments: argparse.Namespace, folder: "SessionFolder", plan: "Plan") -> int:
    """Measure one condition with a sound card; gives the exit status.

    Raises UsageError when nobody can be asked or the condition is not clear, DeviceError for the card, and the errors
    of `capture.measuring`.
    """
    from distort.capture.measuring import find_drives, measure, remaining, require_calibration
    from distort.capture.simulating import require_real
    from distort.report.capture_words import print_left_out, print_recorded
    from distort.report.console import make_console, say
    from distort.report.plan_words import print_cautions, print_plan
    from distort.session.stimulus_files import too_peaky

    if not (arguments.yes or sys.stdin.isatty()):
        raise UsageError("nothing is played, because nobody can be asked here: say --yes when the room is ready")
    condition = _condition(plan, arguments.condition)
    require_calibration(folder)
    require_real(folder)
    meter = Meter()
    card = _card(arguments, plan, meter)
    console = make_console()
    print_cautions(console)
    with _stoppable(meter):
        meter.progress("playing the quiet run", 0, 1)
        drives = find_drives(folder, plan, card, condition=condition)
    chosen = {"condition": condition, "only": arguments.only, "again": arguments.again}
    steps = remaining(folder, plan, drives, **chosen)
    if steps:
        print_plan(console, condition, steps)
        if not (arguments.yes or _agreed(console)):
            say(console, "Nothing of it was played.")
            return NOT_WANTED
    with _stoppable(meter):
        recorded = measure(folder, plan, card, repositioned=arguments.repositioned, progress=meter.progress, **chosen)
    print_recorded(console, condition, recorded)
    print_left_out(console, too_peaky(plan, drives))
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
    from distort.capture.sound_card import Connections, SoundCard

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
    from distort.report.console import make_console, progress, say

    try:
        with progress() as meter.moved:
            yield
    except KeyboardInterrupt:
        say(make_console(stderr=True), GO_ON)
        raise
