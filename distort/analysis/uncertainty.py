"""How far noise scatters a smoothed reading.

A reading is the mean power of signal s plus noise n over the smoothing band, less the noise power N expected there.
For a steady signal power S and Gaussian noise seen through the window w its variance is

    var = 2 S N c + N^2 q
    c = 1/B^2  int_{-B}^{B} (B - |v|) Re G(v) dv          (signal times noise: only noise near the arrival counts)
    q = 1/B^2  int_{-B}^{B} (B - |v|) |G(v)|^2 dv         (noise times noise)

where B is the width of the band and G the correlation of the noise between two frequencies v apart, the Fourier
transform of w^2 over its sum (time counted from the arrival). With no smoothing c = q = 1. Own derivation, checked in
the tests against seeded trials.
"""

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.analysis.orders import WindowedSpectrum

FloatArray = npt.NDArray[np.float64]

TWO_SIDED_95 = 1.959964
"""Normal quantile: 95 % of a normal variable lie within this many standard deviations."""

DB_PER_NEPER_OF_POWER = 10.0 / np.log(10.0)


def averaging_factors(
    spectrum: WindowedSpectrum, sample_rate: int, width_hz: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """c and q of the module's formula for smoothing bands `width_hz` wide, each of that shape, between 0 and 1."""
    energy = np.square(spectrum.shape)
    n_fft = int(scipy.fft.next_fast_len(4 * energy.size, real=True))
    step_hz = sample_rate / n_fft
    correlation = scipy.fft.rfft(energy, n_fft) / np.sum(energy)
    lag_hz = np.arange(correlation.size) * step_hz
    correlation = correlation * np.exp(-2j * np.pi * lag_hz * spectrum.first_s)

    def factor(kernel: FloatArray) -> FloatArray:
        """2/B^2 int_0^B (B - v) kernel(v) dv, by integrating the running integral once more."""
        once = np.concatenate([[0.0], np.cumsum(0.5 * (kernel[1:] + kernel[:-1]))]) * step_hz
        twice = np.concatenate([[0.0], np.cumsum(0.5 * (once[1:] + once[:-1]))]) * step_hz
        width = np.maximum(width_hz, step_hz)
        return np.clip(2.0 * np.interp(width, lag_hz, twice) / np.square(width), 0.0, 1.0)

    return factor(np.real(correlation)), factor(np.square(np.abs(correlation)))


def relative_variance(
    signal: FloatArray, noise: FloatArray, *, cross: FloatArray, square: FloatArray, silence_averages: FloatArray
) -> FloatArray:
    """Variance of a reading relative to the square of its signal power, elementwise.

    signal, noise       powers S and N
    cross, square       c and q of the module's formula
    silence_averages    how many independent readings stand behind N; its own scatter is N^2 / that
    """
    ratio = noise / np.where(signal > 0, signal, np.nan)
    return np.asarray(2.0 * ratio * cross + np.square(ratio) * (square + 1.0 / silence_averages))


def interval_db(relative: FloatArray) -> FloatArray:
    """Half-width in dB of the 95 % interval, from the variance relative to the squared power."""
    return np.asarray(TWO_SIDED_95 * DB_PER_NEPER_OF_POWER * np.sqrt(relative))
