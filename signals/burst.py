"""The tone burst."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.checks import (
    require_below_nyquist,
    require_length,
    require_positive,
    require_within_full_scale,
)
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Burst:
    """Some periods of a sine under a raised-cosine (Hann) envelope.

    Its spectrum is one lobe about `frequency_hz`, `4 frequency_hz / periods` wide between its first zeros, so it tests
    short-term behaviour at one frequency. `drive_dbfs` is the level (AES17) of the sine at the envelope's top.
    Raises SignalError when the fields do not make a burst.
    """

    frequency_hz: float = 1000.0
    periods: float = 8.0
    sample_rate: int = 48000
    drive_dbfs: float = -20.0

    def __post_init__(self) -> None:
        require_positive(frequency_hz=self.frequency_hz, periods=self.periods, sample_rate=self.sample_rate)
        require_length(self.periods / self.frequency_hz * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        require_below_nyquist(self.frequency_hz, self.sample_rate, "frequency_hz")

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.periods / self.frequency_hz * self.sample_rate)

    @property
    def highest_hz(self) -> float:
        """The first zero above its lobe."""
        return self.frequency_hz * (1.0 + 2.0 / self.periods)

    def samples(self) -> FloatArray:
        """The burst as float64 `(n_samples,)`, digital full scale = 1."""
        turns = self.frequency_hz * np.arange(self.n_samples) / self.sample_rate
        envelope = 0.5 - 0.5 * np.cos(2.0 * np.pi * turns / self.periods)
        return np.asarray(db_to_amplitude(self.drive_dbfs) * envelope * np.sin(2.0 * np.pi * turns))
