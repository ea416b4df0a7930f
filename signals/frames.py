"""Frames: a quiet sine, a loud stretch of it, and the quiet sine again, at one frequency after another."""

import itertools
import math
from dataclasses import dataclass
from functools import cached_property

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
from signals.levels import db_to_amplitude, db_to_power
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

EDGE_PERIODS = 2
"""Of the sine, for every change of its amplitude: shorter ones would sound at other frequencies as well."""

HOLD_PERIODS, LEAST_HOLD_S = 24, 0.08
"""Of the loud stretch: long enough for an attack of ten periods to be seen to its end."""

STEP_S = 0.001
"""The loud stretch is a whole number of steps of whole periods, the shortest that last so long: it is read in such."""

LEAST_GAP_S = 0.5
"""Of silence after each frame: the room rings out."""

MOST_BELOW_DB = 30.0
"""Further below the test, noise would hide the probes."""

MOST_FREQUENCIES = 32


@dataclass(frozen=True, kw_only=True)
class Frames:
    """A frame at every frequency, the lowest first.

    In each a sine sounds quietly for `lead_s` (probe), then loud for 24 periods or 80 ms (test), then as quietly as
    before for `tail_s` (probe again). Its amplitude changes within two periods. The silence after it is so long that
    the mean power of every frame with its silence is at most that of the probe: a test heats the loudspeaker no more
    than a steady sine of the probe's level would.

    frequencies_hz   of the sines, rising
    below_db         how far the probes lie below the test
    lead_s, tail_s   length of the probes before and after it, s
    drive_dbfs       level (AES17) of the sine during the test

    Raises SignalError when the fields do not make frames.
    """

    frequencies_hz: tuple[float, ...] = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
    below_db: float = 20.0
    lead_s: float = 0.6
    tail_s: float = 2.0
    sample_rate: int = 48000
    drive_dbfs: float = -20.0

    def __post_init__(self) -> None:
        given: object = self.frequencies_hz  # of JSON it comes as a list, or as anything
        if not isinstance(given, list | tuple) or not 1 <= len(given) <= MOST_FREQUENCIES:
            raise SignalError(f"frequencies_hz must be a list of 1 to {MOST_FREQUENCIES} frequencies")
        object.__setattr__(self, "frequencies_hz", tuple(given))
        require_sample_rate(self.sample_rate)
        require_positive(lead_s=self.lead_s, tail_s=self.tail_s)
        require_finite(below_db=self.below_db)
        for frequency_hz in self.frequencies_hz:
            require_positive(frequencies_hz=frequency_hz)
            require_below_nyquist(frequency_hz, self.sample_rate, "frequencies_hz")
        if any(high_hz <= low_hz for low_hz, high_hz in itertools.pairwise(self.frequencies_hz)):
            raise SignalError("frequencies_hz must rise from frame to frame")
        if not 0.0 < self.below_db <= MOST_BELOW_DB:
            raise SignalError(f"below_db must be above 0 and at most {MOST_BELOW_DB:g}, not {self.below_db:g}")
        require_within_full_scale(self.drive_dbfs)
        require_length(sum(frame.seconds for frame in self.frames) * self.sample_rate)

    @cached_property
    def frames(self) -> tuple["Frame", ...]:
        """The frames, in their order."""
        return tuple(Frame(frequency_hz=frequency_hz, series=self) for frequency_hz in self.frequencies_hz)

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """First sample of each frame."""
        lengths = [round(frame.seconds * self.sample_rate) for frame in self.frames]
        return tuple(itertools.accumulate(lengths[:-1], initial=0))

    @property
    def n_samples(self) -> int:
        """Length in samples, the silence after the last frame included: it belongs to its mean power."""
        return self.starts[-1] + round(self.frames[-1].seconds * self.sample_rate)

    @property
    def highest_hz(self) -> float:
        """Of the highest sine."""
        return self.frequencies_hz[-1]

    def seconds_in(self, low_hz: float, high_hz: float) -> float:
        """How long probes and tests sound whose frequencies are between `low_hz` and below `high_hz`."""
        return sum(frame.sounding_s for frame in self.frames if low_hz <= frame.frequency_hz < high_hz)

    def samples(self) -> FloatArray:
        """The frames as float64 `(n_samples,)`, digital full scale = 1."""
        played = np.zeros(self.n_samples)
        for start, frame in zip(self.starts, self.frames, strict=True):
            sine = frame.samples()
            played[start : start + sine.size] = sine
        return played


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One frame of a series; times in seconds from its first sample."""

    frequency_hz: float
    series: Frames

    @property
    def step_s(self) -> float:
        """Whole periods, a millisecond or more."""
        return math.ceil(STEP_S * self.frequency_hz - 1e-9) / self.frequency_hz

    @property
    def edge_s(self) -> float:
        """Length of each change of amplitude."""
        return EDGE_PERIODS / self.frequency_hz

    @property
    def hold_s(self) -> float:
        """From the begin of the test's rise to the begin of its fall: whole steps."""
        least_s = max((HOLD_PERIODS + EDGE_PERIODS) / self.frequency_hz, LEAST_HOLD_S)
        return math.ceil(least_s / self.step_s - 1e-9) * self.step_s

    @property
    def test_s(self) -> float:
        """When the test begins to rise."""
        return self.series.lead_s

    @property
    def after_s(self) -> float:
        """When it begins to fall."""
        return self.test_s + self.hold_s

    @property
    def end_s(self) -> float:
        """When the last probe begins to fall."""
        return self.after_s + self.series.tail_s

    @property
    def sounding_s(self) -> float:
        """Length without the silence after it."""
        return self.end_s + self.edge_s

    @property
    def seconds(self) -> float:
        """Length, with as much silence that the mean power is at most the probe's."""
        louder = float(db_to_power(self.series.below_db)) - 1.0
        return self.sounding_s + max(louder * (self.hold_s + self.edge_s), LEAST_GAP_S)

    def samples(self) -> FloatArray:
        """The frame without the silence after it, float64, digital full scale = 1."""
        rate = self.series.sample_rate
        time_s = np.arange(round(self.sounding_s * rate)) / rate
        probe = float(db_to_amplitude(-self.series.below_db))
        envelope = probe * self._between(time_s, 0.0, self.end_s)
        envelope += (1.0 - probe) * self._between(time_s, self.test_s, self.after_s)
        sine = np.sin(2.0 * np.pi * self.frequency_hz * time_s)
        return np.asarray(db_to_amplitude(self.series.drive_dbfs) * envelope * sine)

    def _between(self, time_s: FloatArray, from_s: float, to_s: float) -> FloatArray:
        return rise((time_s - from_s) / self.edge_s) - rise((time_s - to_s) / self.edge_s)
