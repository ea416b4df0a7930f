"""What a sound card and the simulated loudspeaker have in common."""

import math
from datetime import datetime
from typing import Protocol

import numpy as np
import numpy.typing as npt

from distort.capture.devices.guard import Guard
from signals.errors import SignalError


class Microphone(Protocol):
    """Hears."""

    @property
    def name(self) -> str:
        """How sidecars and reports call it."""
        ...

    def record(self, seconds: float, *, sample_rate: int) -> npt.NDArray[np.float64]:
        """What is heard in `seconds` while this program plays nothing, `(samples,)`, full scale 1.

        Raises SignalError unless `seconds` hold a sample, RecordingError when the recording is not whole.
        """
        ...


class Device(Microphone, Protocol):
    """Plays one signal and hears one microphone."""

    @property
    def simulated(self) -> bool:
        """True when no real loudspeaker is heard; every sidecar and report must then say so."""
        ...

    def play_and_record(
        self, playback: npt.NDArray[np.float64], *, sample_rate: int, guard: Guard | None = None
    ) -> npt.NDArray[np.float64]:
        """Play `(samples,)`, full scale 1, and return what the microphone heard meanwhile, full scale 1.

        guard   what the microphone may hear and what it must: otherwise the sound is faded out at once; None: anything

        The recording has the same rate, starts at an unknown latency and is longer than what was played. Raises
        SignalError for what is no playback, RecordingError when the recording is not whole, TooLoudError or DeafError
        when the guard stopped it, PausedError when the computer paused meanwhile, or since somebody last `attended`.
        """
        ...

    def loopback(self) -> npt.NDArray[np.float64] | None:
        """What a cable from the output brought back in the last run, sample for sample beside the microphone's.

        None where there is no such cable.
        """
        ...

    def rest(self, seconds: float) -> None:
        """Let the loudspeaker stand idle, as it would between two rungs. Raises PausedError as `play_and_record`."""
        ...

    def now(self) -> datetime:
        """The time by which this device plays and rests, UTC: of day, or simulated."""
        ...


def samples_in(seconds: float, sample_rate: int) -> int:
    """Length of a recording of `seconds`. Raises SignalError unless that is finite and holds one sample at least."""
    n_samples = round(seconds * sample_rate) if math.isfinite(seconds) else 0
    if n_samples < 1:
        raise SignalError(f"a recording must hold one sample at least, which {seconds} s at {sample_rate} Hz do not")
    return n_samples


def require_playable(playback: npt.NDArray[np.float64]) -> None:
    """Raises SignalError when `playback` is empty, not one channel, not finite or beyond full scale."""
    if playback.ndim != 1 or playback.size == 0:
        raise SignalError(f"playback must be one channel of samples, not an array of shape {playback.shape}")
    if not np.all(np.isfinite(playback)):
        raise SignalError("playback holds values that are not finite numbers")
    if float(np.max(np.abs(playback))) > 1.0 + 1e-9:
        raise SignalError("playback passes digital full scale: lower the drive")
