"""One stretch of time at three sample rates, and its spectra.

All filtering is done on the spectrum of the whole stretch, with the exact response of the analogue filter: no
discretisation error, linear-phase resampling as long as the stretch itself, and a stretch that repeats when it holds
whole periods. The converters pass everything up to 20 kHz unchanged (0.4536 of the sample rate).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

WOOFER_RATE_HZ = 24000
"""About this rate is enough for what the woofer adds to a linear woofer."""

OVERSAMPLING = 4
"""The curves are of order 5: at 3 fs their products would fold back to (5/2 - 3) fs = -fs/2 at most, the band's edge;
one more for their iron, whose odd orders have no end."""

PASS_SHARE = 0.4536
"""Share of the sample rate up to which the converters pass unchanged; the rest, up to one half, is a cosine slope."""


def slope_down(frequency_hz: FloatArray, start_hz: float, stop_hz: float) -> FloatArray:
    """Gain that falls from 1 at `start_hz` to 0 at `stop_hz` along half a cosine, `(bins,)`."""
    share = np.clip((frequency_hz - start_hz) / (stop_hz - start_hz), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * share))


@dataclass(frozen=True)
class Grid:
    """`n_samples` at `sample_rate`, a multiple of twice `decimation(sample_rate)`."""

    n_samples: int
    sample_rate: int

    @staticmethod
    def decimation(sample_rate: int) -> int:
        """How many samples make one at the woofer's rate."""
        return max(1, round(sample_rate / WOOFER_RATE_HZ))

    @staticmethod
    def for_length(n_samples: int, sample_rate: int) -> "Grid":
        """The shortest grid of at least `n_samples` with fast transforms."""
        step = 2 * Grid.decimation(sample_rate)
        return Grid(step * int(scipy.fft.next_fast_len(-(-n_samples // step), real=True)), sample_rate)

    @cached_property
    def step(self) -> int:
        """Samples in one sample at the woofer's rate."""
        return Grid.decimation(self.sample_rate)

    @cached_property
    def frequency_hz(self) -> FloatArray:
        """Frequency of each bin, `(n_samples / 2 + 1,)`."""
        return np.asarray(np.arange(self.n_samples // 2 + 1) * (self.sample_rate / self.n_samples))

    @cached_property
    def n_woofer(self) -> int:
        """Samples at the woofer's rate."""
        return self.n_samples // self.step

    @cached_property
    def woofer_hz(self) -> FloatArray:
        """Frequency of each bin at the woofer's rate."""
        return self.frequency_hz[: self.n_woofer // 2 + 1]

    @cached_property
    def converter(self) -> FloatArray:
        """Gain of the converters' filter, `(n_samples / 2 + 1,)`."""
        return slope_down(self.frequency_hz, PASS_SHARE * self.sample_rate, 0.5 * self.sample_rate)

    @cached_property
    def woofer_band(self) -> FloatArray:
        """Gain of the filter between the sample rate and the woofer's rate: 1 up to 80 % of its band."""
        top_hz = 0.5 * self.sample_rate / self.step
        return slope_down(self.woofer_hz, 0.8 * top_hz, top_hz)

    def spectrum(self, samples: FloatArray) -> ComplexArray:
        """Spectrum of `(n,)` at any of the rates, up to the edge of the band; all rates share one scale."""
        bins = np.asarray(scipy.fft.rfft(samples)) * (self.n_samples / samples.size)
        return bins[: self.n_samples // 2 + 1]

    def samples(self, spectrum: ComplexArray, n_samples: int | None = None) -> FloatArray:
        """Signal of `spectrum` at the rate that gives `n_samples` (default: the sample rate)."""
        size = self.n_samples if n_samples is None else n_samples
        bins = spectrum[: size // 2 + 1]
        return np.asarray(scipy.fft.irfft(bins, size)) * (size / self.n_samples)
