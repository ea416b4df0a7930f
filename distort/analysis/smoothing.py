"""Fractional-octave smoothing: the mean power over a band about each frequency."""

import numpy as np
import numpy.typing as npt

from distort.analysis.grid import OCTAVE_RATIO

FloatArray = npt.NDArray[np.float64]


def band_mean(power: FloatArray, *, bin_hz: float, low_hz: FloatArray, high_hz: FloatArray) -> FloatArray:
    """Mean of a power spectrum over bands, `(bands,)`.

    power            `(bins,)`, power at 0, bin_hz, 2 bin_hz, ...; taken as straight lines between bins
    low_hz, high_hz  edges of the bands, `(bands,)`; where both are equal the value there is given

    Bands that reach beyond the last bin are NaN.
    """
    running = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1]))])  # integral up to each bin, in bins

    def integral(position: FloatArray) -> FloatArray:
        below = np.minimum(position.astype(np.int64), power.size - 2)
        share = position - below
        return np.asarray(running[below] + share * power[below] + 0.5 * share**2 * (power[below + 1] - power[below]))

    low, high = low_hz / bin_hz, high_hz / bin_hz
    inside = high <= power.size - 1
    low, high = np.where(inside, low, 0.0), np.where(inside, high, 1.0)
    width = high - low
    value = np.interp(low, np.arange(power.size), power)
    mean = (integral(high) - integral(low)) / np.where(width > 0, width, 1.0)
    return np.where(inside, np.where(width > 0, mean, value), np.nan)


def smoothing_edges_hz(frequency_hz: FloatArray, octaves: float) -> tuple[FloatArray, FloatArray]:
    """Edges of the band of `octaves` (0: none) centred, on a logarithmic axis, on each frequency."""
    half = OCTAVE_RATIO ** (octaves / 2.0)
    return frequency_hz / half, frequency_hz * half


def smooth_power(power: FloatArray, *, bin_hz: float, at_hz: FloatArray, octaves: float) -> FloatArray:
    """Power smoothed over `octaves` about each frequency of `at_hz`, `(at_hz.size,)`.

    `power` is `(bins,)` on uniform bins of `bin_hz` from 0 Hz. With `octaves = 0` the value at the frequency is given.
    NaN where the band leaves the spectrum.
    """
    low_hz, high_hz = smoothing_edges_hz(at_hz, octaves)
    return band_mean(power, bin_hz=bin_hz, low_hz=low_hz, high_hz=high_hz)
