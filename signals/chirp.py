"""The clock chirp: a short linear sweep whose sharp autocorrelation marks a moment in a recording."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.checks import require_below_nyquist, require_length, require_positive, require_within_full_scale
from signals.levels import db_to_amplitude
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

FADE_SHARE = 0.1
"""Share of the chirp's length that either fade takes."""


@dataclass(frozen=True, kw_only=True)
class Chirp:
    """A linear sweep from `low_hz` to `high_hz` in `seconds`, faded at both ends.

    Two of them, one before and one after the stimulus, tell by how much the recorder's clock differs from the player's.
    Raises SignalError when the fields do not make a chirp.
    """

    low_hz: float = 500.0
    high_hz: float = 12000.0
    seconds: float = 0.1
    sample_rate: int = 48000
    drive_dbfs: float = -20.0

    def __post_init__(self) -> None:
        require_positive(low_hz=self.low_hz, high_hz=self.high_hz, seconds=self.seconds, sample_rate=self.sample_rate)
        require_length(self.seconds * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        require_below_nyquist(self.high_hz, self.sample_rate, "high_hz")

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    def samples(self) -> FloatArray:
        """The chirp as float64 `(n_samples,)`, digital full scale = 1."""
        share = np.arange(self.n_samples) / self.n_samples
        turns = self.seconds * (self.low_hz * share + 0.5 * (self.high_hz - self.low_hz) * share**2)
        fades = rise(share / FADE_SHARE) * rise((1.0 - share) / FADE_SHARE)
        return np.asarray(db_to_amplitude(self.drive_dbfs) * fades * np.sin(2.0 * np.pi * turns))
