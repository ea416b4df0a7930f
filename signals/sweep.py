"""An exponential sweep that another program made: known by its samples, described by what was fitted to them.

The samples themselves are no part of the description, which names their SHA-256. Whoever has them says so once
(`hold_samples`); they are kept for as long as the program runs.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from signals.checks import (
    require_below_nyquist,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.held import held_samples, is_held
from signals.levels import db_to_amplitude
from signals.tapers import log_rise

FloatArray = npt.NDArray[np.float64]

PROTECTION_DB_PER_OCTAVE = 24.0
"""How fast the drive falls below `lowest_hz`."""


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """An exponential sweep as it is played; the same fields always give the same samples.

    start_hz, stop_hz    instantaneous frequency at the first and after the last sample; stop below half the sample rate
    full_level_hz        end of the fade-in: raised cosine over log frequency from start_hz
    fade_out_octaves     the fade-out ends at stop_hz and is this long
    seconds              length asked for; `duration_s` is the nearest that is synchronised
    drive_dbfs           level of the steady part (AES17): a sine of amplitude 1 has 0 dBFS
    lowest_hz            below it the drive falls by 24 dB an octave, to protect a small loudspeaker; None: nowhere

    Raises SignalError when the fields do not make a sweep.
    """

    start_hz: float = 10.0
    full_level_hz: float = 15.9
    stop_hz: float = 22000.0
    fade_out_octaves: float = 0.1
    seconds: float = 10.0
    sample_rate: int = 48000
    drive_dbfs: float = -20.0
    lowest_hz: float | None = None

    FULL_SCALE_TOLERANCE_DB = 0.0

    def __post_init__(self) -> None:
        require_positive(
            start_hz=self.start_hz,
            full_level_hz=self.full_level_hz,
            stop_hz=self.stop_hz,
            fade_out_octaves=self.fade_out_octaves,
            seconds=self.seconds,
            lowest_hz=self.lowest_hz,
        )
        require_sample_rate(self.sample_rate)
        require_length(self.seconds * self.sample_rate)
        require_within_full_scale(self.drive_dbfs, tolerance_db=self.FULL_SCALE_TOLERANCE_DB)
        require_below_nyquist(self.stop_hz, self.sample_rate, "stop_hz")
        if not self.start_hz < self.full_level_hz < self.fade_out_hz:
            raise SignalError(
                f"a sweep needs start_hz < full_level_hz < the start of its fade-out, "
                f"not {self.start_hz:g}, {self.full_level_hz:g}, {self.fade_out_hz:g} Hz"
            )
        if self._whole_turns < 1:
            shortest_s = math.log(self.stop_hz / self.start_hz) / self.start_hz
            raise SignalError(
                f"a sweep from {self.start_hz:g} to {self.stop_hz:g} Hz cannot be synchronised in {self.seconds:g} s: "
                f"it takes at least {shortest_s:.2g} s"
            )

    @property
    def highest_hz(self) -> float:
        """Where it stops, Hz."""
        return self.stop_hz

    @property
    def fade_out_hz(self) -> float:
        """Where the fade-out begins, Hz."""
        return float(self.stop_hz * 2.0**-self.fade_out_octaves)

    @property
    def _whole_turns(self) -> int:
        return round(self.start_hz * self.seconds / math.log(self.stop_hz / self.start_hz))

    @property
    def rate_s(self) -> float:
        """L: seconds in which the frequency grows e-fold."""
        return self._whole_turns / self.start_hz

    @property
    def duration_s(self) -> float:
        """T = L ln(f2 / f1), seconds."""
        return self.rate_s * math.log(self.stop_hz / self.start_hz)

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.duration_s * self.sample_rate)

    def advance_s(self, order: int) -> float:
        """Seconds by which the n-th order arrives before the fundamental: L ln n."""
        return self.rate_s * math.log(order)

    def time_s(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """When the sweep passes `frequency_hz` (any shape), seconds from its first sample: L ln(f / f1)."""
        return np.asarray(self.rate_s * np.log(np.asarray(frequency_hz, dtype=np.float64) / self.start_hz))

    def envelope(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """Amplitude at `frequency_hz` (any shape) as a share of the steady part's: fades and protection, 0 to 1."""
        frequency = np.asarray(frequency_hz, dtype=np.float64)
        fades = log_rise(frequency, from_hz=self.start_hz, to_hz=self.full_level_hz) * log_rise(
            frequency, from_hz=self.stop_hz, to_hz=self.fade_out_hz
        )
        if self.lowest_hz is None:
            return fades
        slope = PROTECTION_DB_PER_OCTAVE / (20.0 * math.log10(2.0))  # exponent of the amplitude over frequency
        return np.asarray(fades * np.minimum(frequency / self.lowest_hz, 1.0) ** slope)

    def samples(self) -> FloatArray:
        """The sweep as float64 `(n_samples,)`, digital full scale = 1."""
        return self._samples.copy()

    @cached_property
    def _samples(self) -> FloatArray:
        growth = np.exp(np.arange(self.n_samples) / (self.sample_rate * self.rate_s))
        carrier = np.sin(2.0 * np.pi * self.start_hz * self.rate_s * (growth - 1.0))
        amplitude = db_to_amplitude(self.drive_dbfs) * self.envelope(self.start_hz * growth)
        return np.asarray(amplitude * carrier)


@dataclass(frozen=True, kw_only=True)
class SampledSweep(Sweep):
    """A sweep made elsewhere. `start_hz`, `stop_hz`, `full_level_hz` and the fade-out were fitted; it is not
    synchronised, so the phases of its orders mean nothing; their levels do.

    n_given           its length in samples
    fitted_rate_s     L: seconds in which the frequency grows e-fold
    filed_dbfs        drive of its samples as they stand in the file (AES17)
    samples_sha256    of those samples as 64-bit floats

    Raises SignalError when the fields do not make a sweep.
    """

    n_given: int
    fitted_rate_s: float
    filed_dbfs: float
    samples_sha256: str

    FULL_SCALE_TOLERANCE_DB = 0.01
    """Its drive was fitted: the samples of one at exactly full scale read some ten-thousandths of a decibel more."""

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(n_given=self.n_given, fitted_rate_s=self.fitted_rate_s)

    @property
    def rate_s(self) -> float:
        """L, as fitted."""
        return self.fitted_rate_s

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return self.n_given

    @property
    def held(self) -> bool:
        """Whether somebody has given its samples."""
        return is_held(self.samples_sha256)

    def samples(self) -> FloatArray:
        """The samples of the file, at `drive_dbfs`. Raises SignalError when nobody has given them (`hold_samples`)."""
        given = held_samples(self.samples_sha256, what="sweep")
        return np.asarray(given * float(db_to_amplitude(self.drive_dbfs - self.filed_dbfs)))
