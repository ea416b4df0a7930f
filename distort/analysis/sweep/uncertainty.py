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

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.sweep.windows import OrderWindow, window_samples

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class NoiseAveraging:
    """How far smoothing averages noise that was seen through one window: c and q of the module's formula."""

    lag_hz: FloatArray
    cross: FloatArray
    """Twice the running integral of Re G, `(lags,)`."""
    square: FloatArray
    """The same of |G|^2."""

    def factors(self, width_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
        """c and q for smoothing bands `width_hz` wide, each of that shape, between 0 and 1."""
        width = np.maximum(width_hz, self.lag_hz[1])

        def factor(twice: FloatArray) -> FloatArray:
            return np.asarray(np.clip(2.0 * np.interp(width, self.lag_hz, twice) / np.square(width), 0.0, 1.0))

        return factor(self.cross), factor(self.square)


@lru_cache(maxsize=64)
def noise_averaging(window: OrderWindow, sample_rate: int) -> NoiseAveraging:
    """The averaging of one window; kept, because every recording of a sweep has the same windows."""
    before, shape = window_samples(window, sample_rate)
    energy = np.square(shape)
    n_fft = int(scipy.fft.next_fast_len(4 * energy.size, real=True))
    lag_hz = np.asarray(np.arange(n_fft // 2 + 1) * (sample_rate / n_fft), dtype=np.float64)
    correlation = scipy.fft.rfft(energy, n_fft) / np.sum(energy)
    correlation *= np.exp(-2j * np.pi * lag_hz * (-before / sample_rate))

    def twice_integrated(kernel: FloatArray) -> FloatArray:
        """int_0^B (B - v) kernel(v) dv at every B, as the running integral of the running integral."""
        once = scipy.integrate.cumulative_trapezoid(kernel, initial=0) * lag_hz[1]
        return np.asarray(scipy.integrate.cumulative_trapezoid(once, initial=0) * lag_hz[1])

    return NoiseAveraging(
        lag_hz=lag_hz,
        cross=twice_integrated(np.real(correlation)),
        square=twice_integrated(np.square(np.abs(correlation))),
    )


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
