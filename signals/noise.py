"""Band-limited noise, flat or pink, made again exactly from its seed."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
import scipy

from signals.checks import (
    require_below_nyquist,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude

FloatArray = npt.NDArray[np.float64]
Spectrum = Literal["flat", "pink"]


@dataclass(frozen=True, kw_only=True)
class Noise:
    """Gaussian noise between two frequencies, periodic in its own length.

    low_hz, high_hz   band edges; outside there is nothing
    spectrum          "flat": equal power per hertz; "pink": equal power per octave
    seconds, seed     length, and what makes it again exactly
    drive_dbfs        r.m.s. level (AES17)

    Raises SignalError when the fields do not make noise, or its peak would pass full scale.
    """

    low_hz: float = 20.0
    high_hz: float = 20000.0
    spectrum: Spectrum = "pink"
    seconds: float = 10.0
    sample_rate: int = 48000
    drive_dbfs: float = -30.0
    seed: int = 1

    def __post_init__(self) -> None:
        require_positive(low_hz=self.low_hz, high_hz=self.high_hz, seconds=self.seconds)
        require_sample_rate(self.sample_rate)
        require_length(self.seconds * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        require_below_nyquist(self.high_hz, self.sample_rate, "high_hz")
        if self.spectrum not in get_args(Spectrum):
            raise SignalError(f"spectrum must be one of {', '.join(get_args(Spectrum))}, not {self.spectrum!r:.80}")
        if not np.any(self._inside(self._bins_hz())):
            raise SignalError(
                f"no frequency between {self.low_hz:g} and {self.high_hz:g} Hz fits into {self.seconds:g} s of noise: "
                f"widen the band or make it longer"
            )

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    @property
    def highest_hz(self) -> float:
        """The upper band edge."""
        return self.high_hz

    def _bins_hz(self) -> FloatArray:
        return np.asarray(scipy.fft.rfftfreq(self.n_samples, 1.0 / self.sample_rate))

    def _inside(self, frequency_hz: FloatArray) -> npt.NDArray[np.bool_]:
        return (frequency_hz >= self.low_hz) & (frequency_hz <= self.high_hz)

    def samples(self) -> FloatArray:
        """The noise as float64 `(n_samples,)`, digital full scale = 1. Raises SignalError when its peak passes that."""
        frequency_hz = self._bins_hz()
        random = np.random.default_rng(self.seed)
        bins = random.standard_normal(frequency_hz.size) + 1j * random.standard_normal(frequency_hz.size)
        weight = self._inside(frequency_hz).astype(np.float64)
        if self.spectrum == "pink":
            weight /= np.sqrt(np.maximum(frequency_hz, self.low_hz))
        shape = scipy.fft.irfft(bins * weight, self.n_samples)
        rms = math.sqrt(float(np.mean(np.square(shape))))
        noise = np.asarray(shape * (FULL_SCALE_SINE_RMS * float(db_to_amplitude(self.drive_dbfs)) / rms))
        require_within_full_scale(20.0 * math.log10(float(np.max(np.abs(noise)))))
        return noise
