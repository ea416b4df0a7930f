"""What commands that only listen to a sound card have in common: options, level meter, Ctrl-C."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from distort.commands.parser import Parser
from distort.commands.values import block, channel, duration, whole_rate

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


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


OF_AN_INPUT = ("input", "input_channel", "seconds", "rate", "block")
"""Options that mean nothing where the recording is a file."""


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What a sound card's input recorded."""

    samples: "npt.NDArray[np.float64]"
    """`(n,)`, full scale 1."""
    sample_rate: int
    device: str


def add_input_options(parser: Parser, *, seconds: float) -> None:
    """Add the options of a sound card's input; `seconds` is how long is listened by default."""
    card = parser.add_argument_group("sound card")
    card.add_argument("--input", metavar="CARD", help="number or name of what records (default: the system's)")
    card.add_argument("--input-channel", metavar="N", type=channel, help="the microphone's, from 1 (default: 1)")
    card.add_argument("--seconds", metavar="S", type=duration, help=f"how long to listen (default: {seconds:g})")
    card.add_argument("--rate", metavar="HZ", type=whole_rate, help="sample rate (default: that of the plan)")
    card.add_argument(
        "--block", metavar="SAMPLES", type=block, help="about how many samples a block has (default: 0.05 s in four)"
    )


def require_one_source(arguments: argparse.Namespace) -> None:
    """Raises UsageError when options of a file (`source`, `channel`) and of a sound card stand side by side."""
    from distort.errors import UsageError

    if arguments.source is None:
        if arguments.channel is not None:
            raise UsageError(
                "--channel is that of a file: with a sound card say --input-channel, or name a file --from"
            )
        return
    for name in OF_AN_INPUT:
        if getattr(arguments, name) is not None:
            option = "--" + name.replace("_", "-")
            raise UsageError(f"{option} is for a sound card, and --from reads a file: leave out one of them")


def listen(arguments: argparse.Namespace, *, seconds: float, sample_rate: int, what: str) -> Heard:
    """Record the input that `arguments` name; a recording that lost samples is made once more.

    seconds, sample_rate   where the arguments do not say
    what                   is done, for the level meter, such as "listening to the calibrator"

    Raises DeviceError for the card, RecordingError when samples were lost twice.
    """
    from distort.capture.devices.sound_input import SoundInput
    from distort.errors import RecordingError
    from distort.report.terminal.console import make_console, progress, say

    meter = Meter()
    microphone = SoundInput(
        arguments.input,
        channel=arguments.input_channel or 1,
        block_samples=arguments.block or 0,
        watch=meter.watch,
    )
    long_s, rate_hz = arguments.seconds or seconds, arguments.rate or sample_rate
    say(make_console(), f"Listening to {microphone.name} for {long_s:g} s at {rate_hz} Hz.")
    with progress() as meter.moved:
        meter.progress(what, 0, 1)
        try:
            samples = microphone.record(long_s, sample_rate=rate_hz)
        except RecordingError:
            samples = microphone.record(long_s, sample_rate=rate_hz)
    return Heard(samples=samples, sample_rate=rate_hz, device=microphone.name)
