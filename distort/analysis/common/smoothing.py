"""Fractional-octave smoothing: the mean power over a band about each frequency."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

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
        """Integral from 0 Hz up to each bin, in bins."""
        return np.asarray(scipy.integrate.cumulative_trapezoid(self.power, initial=0))

    def _integral(self, position: FloatArray) -> FloatArray:
        power, below = self.power, np.minimum(position.astype(np.int64), self.power.size - 2)
        share = position - below
        slope = power[below + 1] - power[below]
        return np.asarray(self._running[below] + share * power[below] + 0.5 * share**2 * slope)

    def mean(self, low_hz: FloatArray, high_hz: FloatArray) -> FloatArray:
        """Mean power between `low_hz` and `high_hz`, `(bands,)` each; where both are equal the value there.

        Bands that reach beyond the last bin are NaN.
        """
        low, high = low_hz / self.bin_hz, high_hz / self.bin_hz
        inside = high <= self.power.size - 1
        low, high = np.where(inside, low, 0.0), np.where(inside, high, 1.0)
        width = high - low
        at_point = np.interp(low, np.arange(self.power.size), self.power) if np.any(width == 0) else np.zeros_like(low)
        mean = (self._integral(high) - self._integral(low)) / np.where(width > 0, width, 1.0)
        return np.where(inside, np.where(width > 0, mean, at_point), np.nan)

    def smoothed(self, at_hz: FloatArray, octaves: float) -> FloatArray:
        """Mean over `octaves` (0: the value itself) centred, on a logarithmic axis, on each frequency of `at_hz`."""
        half = OCTAVE_RATIO ** (octaves / 2.0)
        return self.mean(at_hz / half, at_hz * half)


def band_width_hz(at_hz: FloatArray, octaves: float) -> FloatArray:
    """Width of the smoothing band about each frequency."""
    half = OCTAVE_RATIO ** (octaves / 2.0)
    return np.asarray(at_hz * (half - 1.0 / half))
