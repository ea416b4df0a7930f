"""What a sound card and the simulated loudspeaker have in common."""

from datetime import datetime
from typing import Protocol

import numpy as np
import numpy.typing as npt

from signals.errors import SignalError


class Device(Protocol):
    """Plays one signal and hears one microphone."""

    @property
    def name(self) -> str:
        """How sidecars and reports call it."""
        ...

    @property
    def simulated(self) -> bool:
        """True when no real loudspeaker is heard; every sidecar and report must then say so."""
        ...

    def play_and_record(self, playback: npt.NDArray[np.float64], *, sample_rate: int) -> npt.NDArray[np.float64]:
        """Play `(samples,)`, full scale 1, and return what the microphone heard meanwhile, full scale 1.

        The recording has the same rate, starts at an unknown latency and is longer than what was played. Raises
        SignalError for what is no playback, RecordingError when the recording is not whole.
        """
        ...

    def loopback(self) -> npt.NDArray[np.float64] | None:
        """What a cable from the output brought back in the last run, sample for sample beside the microphone's.

        None where there is no such cable.
        """
        ...

    def rest(self, seconds: float) -> None:
        """Let the loudspeaker stand idle, as it would between two rungs."""
        ...

    def now(self) -> datetime:
        """The time by which this device plays and rests, UTC: of day, or simulated."""
        ...


def require_playable(playback: npt.NDArray[np.float64]) -> None:
    """Raises SignalError when `playback` is empty, not one channel, not finite or beyond full scale."""
    if playback.ndim != 1 or playback.size == 0:
        raise SignalError(f"playback must be one channel of samples, not an array of shape {playback.shape}")
    if not np.all(np.isfinite(playback)):
        raise SignalError("playback holds values that are not finite numbers")
    if float(np.max(np.abs(playback))) > 1.0 + 1e-9:
        raise SignalError("playback passes digital full scale: lower the drive")
