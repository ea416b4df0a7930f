"""What a sound card and the simulated loudspeaker have in common."""

from datetime import datetime
from typing import Protocol

import numpy as np
import numpy.typing as npt


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

        The recording has the same rate, starts at an unknown latency and is longer than what was played.
        """
        ...

    def rest(self, seconds: float) -> None:
        """Let the loudspeaker stand idle, as it would between two rungs."""
        ...

    def now(self) -> datetime:
        """The time by which this device plays and rests, UTC: of day, or simulated."""
        ...
