"""The steady tone and the calibration tone."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.checks import (
    require_below_nyquist,
    require_finite,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.levels import db_to_amplitude
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Tone:
    """A sine of constant amplitude between raised-cosine fades.

    frequency_hz   below half the sample rate
    seconds        whole length, fades included
    fade_s         length of either fade; 0 starts and stops at once
    drive_dbfs     level of the steady part (AES17)
    phase_deg      phase of the sine at the first sample

    Raises SignalError when the fields do not make a tone.
    """

    frequency_hz: float = 1000.0
    seconds: float = 1.0
    fade_s: float = 0.01
    sample_rate: int = 48000
    drive_dbfs: float = -20.0
    phase_deg: float = 0.0

    def __post_init__(self) -> None:
        require_positive(frequency_hz=self.frequency_hz, seconds=self.seconds)
        require_sample_rate(self.sample_rate)
        require_finite(fade_s=self.fade_s, phase_deg=self.phase_deg)
        require_length(self.seconds * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        require_below_nyquist(self.frequency_hz, self.sample_rate, "frequency_hz")
        if not 0 <= 2 * self.fade_s <= self.seconds:
            raise SignalError(f"two fades of {self.fade_s:g} s do not fit into {self.seconds:g} s: shorten fade_s")

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    @property
    def highest_hz(self) -> float:
        """Of the sine."""
        return self.frequency_hz

    def samples(self) -> FloatArray:
        """The tone as float64 `(n_samples,)`, digital full scale = 1."""
        time_s = np.arange(self.n_samples) / self.sample_rate
        sine = np.sin(2.0 * np.pi * self.frequency_hz * time_s + math.radians(self.phase_deg))
        return np.asarray(db_to_amplitude(self.drive_dbfs) * sine * self._fades(time_s))

    def _fades(self, time_s: FloatArray) -> FloatArray:
        if self.fade_s == 0:
            return np.ones_like(time_s)
        return rise(time_s / self.fade_s) * rise((self.seconds - time_s) / self.fade_s)


def calibration_tone(*, frequency_hz: float = 1000.0, drive_dbfs: float = -20.0, sample_rate: int = 48000) -> Tone:
    """Ten seconds of the tone that a sound calibrator gives: 1 kHz, or 250 Hz (IEC 60942, from memory)."""
    return Tone(frequency_hz=frequency_hz, seconds=10.0, drive_dbfs=drive_dbfs, sample_rate=sample_rate)
