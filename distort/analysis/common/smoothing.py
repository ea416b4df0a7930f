"""Fractional-octave smoothing: the mean power over a band about each frequency."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import OCTAVE_RATIO

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PowerSpectrum:
    """A power spectrum on uniform bins from 0 Hz, taken as straight lines between them."""

    power: FloatArray
    """`(bins,)`"""
    bin_hz: float

    @cached_property
    def _running(self) -> FloatArray:
        """Integral from 0 Hz up to each bin, in bins: the trapezoidal rule."""
        running = np.zeros_like(self.power)
        np.cumsum((self.power[1:] + self.power[:-1]) / 2.0, out=running[1:])
        return running

    def _integral(self, position: FloatArray) -> FloatArray:
        below = np.minimum(position.astype(np.int64), self.power.size - 2)
        share, there = position - below, self.power[below]
        slope = self.power[below + 1] - there
        return np.asarray(self._running[below] + share * there + 0.5 * share**2 * slope)

    def mean(self, low_hz: FloatArray, high_hz: FloatArray) -> FloatArray:
        """Mean power between `low_hz` and `high_hz`, `(bands,)` each; where both are equal the value there.

        Bands that reach beyond the last bin are NaN.
        """
        low, high = low_hz / self.bin_hz, high_hz / self.bin_hz
        inside = high <= self.power.size - 1
        low, high = np.where(inside, low, 0.0), np.where(inside, high, 1.0)
        width = high - low
        up_to_low, up_to_high = self._integral(np.array([low, high]))
        if np.all(width > 0):
            mean = (up_to_high - up_to_low) / width
        else:
            at_point = np.interp(low, np.arange(self.power.size), self.power)
            mean = np.where(width > 0, (up_to_high - up_to_low) / np.where(width > 0, width, 1.0), at_point)
        return np.where(inside, mean, np.nan)

    def smoothed(self, at_hz: FloatArray, octaves: float) -> FloatArray:
        """Mean over `octaves` (0: the value itself) centred, on a logarithmic axis, on each frequency of `at_hz`."""
        half = OCTAVE_RATIO ** (octaves / 2.0)
        return self.mean(at_hz / half, at_hz * half)


def band_width_hz(at_hz: FloatArray, octaves: float) -> FloatArray:
    """Width of the smoothing band about each frequency."""
    half = OCTAVE_RATIO ** (octaves / 2.0)
    return np.asarray(at_hz * (half - 1.0 / half))
