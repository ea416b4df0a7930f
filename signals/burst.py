"""Tone bursts: one of them, and a series of one a band, the lowest first."""

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from signals.checks import (
    require_finite,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]

PERIODS = 6.5
"""Of each burst: its lobe is then 0.31 of its frequency wide to either side. CTA-2010 takes as many (from memory)."""

MOST_BANDS = 100

PEAK_OVER_RMS_DB = 20.0 * float(np.log10(np.sqrt(2.0)))
"""Of a sine: a level is that of its r.m.s., a peak lies as much above."""


def third_octaves_hz(lowest_hz: float, highest_hz: float) -> tuple[float, ...]:
    """Exact midbands of the third octaves nearest to `lowest_hz` and `highest_hz` and all between: 10^(x/10) Hz.

    IEC 61260-1, base ten. Empty where the highest is below the lowest.
    """
    first, last = (round(10.0 * float(np.log10(edge_hz))) for edge_hz in (lowest_hz, highest_hz))
    return tuple(10.0 ** (index / 10.0) for index in range(first, last + 1))


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
        require_positive(frequency_hz=self.frequency_hz, periods=self.periods)
        require_sample_rate(self.sample_rate)
        require_length(self.periods / self.frequency_hz * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        if self.highest_hz >= self.sample_rate / 2:
            raise SignalError(
                f"a burst of {self.periods:g} periods at {self.frequency_hz:.6g} Hz sounds up to {self.highest_hz:.6g} "
                f"Hz, not below half the sample rate ({self.sample_rate / 2:g} Hz): lower its frequency, take more "
                f"periods, or raise sample_rate"
            )

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


@dataclass(frozen=True, kw_only=True)
class BurstSeries:
    """A burst in every band, one after another from the lowest frequency up, silence between them.

    bands_hz     frequencies of the sines, rising; by default the third octaves from 63 Hz to 8 kHz
    periods      of each burst
    gap_s        of silence between one burst and the next: it is long enough for loudspeaker and room to ring out
    drive_dbfs   level (AES17) of the sine at the envelopes' tops

    Raises SignalError when the fields do not make such a series.
    """

    bands_hz: tuple[float, ...] = third_octaves_hz(63.0, 8000.0)
    periods: float = PERIODS
    gap_s: float = 0.3
    sample_rate: int = 48000
    drive_dbfs: float = -20.0

    def __post_init__(self) -> None:
        given: object = self.bands_hz  # of JSON it comes as a list, or as anything
        if not isinstance(given, list | tuple) or not 1 <= len(given) <= MOST_BANDS:
            raise SignalError(f"bands_hz must be a list of 1 to {MOST_BANDS} frequencies")
        object.__setattr__(self, "bands_hz", tuple(given))
        require_finite(gap_s=self.gap_s)
        for frequency_hz in self.bands_hz:
            require_positive(bands_hz=frequency_hz)
        if any(high_hz <= low_hz for low_hz, high_hz in itertools.pairwise(self.bands_hz)):
            raise SignalError("bands_hz must rise from band to band")
        if self.gap_s < 0.0:
            raise SignalError(f"gap_s must be 0 or more, not {self.gap_s:g}")
        sounding = sum(burst.n_samples for burst in self.bursts)
        require_length(sounding + self.gap_s * self.sample_rate * len(self.bands_hz))

    @cached_property
    def bursts(self) -> tuple[Burst, ...]:
        """The bursts, in their order."""
        return tuple(
            Burst(
                frequency_hz=frequency_hz,
                periods=self.periods,
                sample_rate=self.sample_rate,
                drive_dbfs=self.drive_dbfs,
            )
            for frequency_hz in self.bands_hz
        )

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """First sample of each burst."""
        gap = round(self.gap_s * self.sample_rate)
        lengths = [burst.n_samples + gap for burst in self.bursts]
        return tuple(itertools.accumulate(lengths[:-1], initial=0))

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return self.starts[-1] + self.bursts[-1].n_samples

    @property
    def highest_hz(self) -> float:
        """Where the lobe of the highest band ends."""
        return self.bursts[-1].highest_hz

    def seconds_in(self, low_hz: float, high_hz: float) -> float:
        """How long bursts sound whose frequencies are between `low_hz` and below `high_hz`."""
        return sum(one.n_samples for one in self.bursts if low_hz <= one.frequency_hz < high_hz) / self.sample_rate

    def samples(self) -> FloatArray:
        """The series as float64 `(n_samples,)`, digital full scale = 1."""
        played = np.zeros(self.n_samples)
        for start, burst in zip(self.starts, self.bursts, strict=True):
            played[start : start + burst.n_samples] = burst.samples()
        return played
