"""What the orders make of a multitone: even and odd distortion of each third octave, re the lines in it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.multitone.powers import band_of_bins, filled, free_bins
from distort.analysis.synthesis.structure import Kernel, Structure, filtered_factors
from distort.analysis.synthesis.wick import pairs_of, wick_product
from signals import Multitone

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

TOP_HZ = 11220.0
"""Products are made up to here, the upper edge of the third octave of 10 kHz."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """A multitone as it is played: one period, which repeats."""

    tone: Multitone
    amplitude: float = 1.0
    """By how much it is louder than the file says, where the volume was turned."""

    @property
    def lines(self) -> ComplexArray:
        """Complex amplitude of each line, `(lines,)`."""
        return np.asarray(self.amplitude * self.tone.line_amplitudes * np.exp(1j * self.tone.line_phases_rad))

    @property
    def top(self) -> int:
        """Highest bin of the products."""
        return min(int(TOP_HZ * self.tone.period_s), self.tone.period_samples // 2 - 1)

    def product(self, kernel: Kernel, structure: Structure) -> ComplexArray:
        """What an order makes of it, as it would have to be played: amplitudes of bins 0 ... top."""
        q = filtered_factors(structure, kernel.order)
        bins, top = self.tone.line_bins, self.top
        # nothing that folds may fall on a bin that is kept
        points = 2 * scipy.fft.next_fast_len((kernel.order * int(bins[-1]) + top) // 2 + 1, real=True)
        x = _wave(self.lines, bins, points)
        u = x
        if q:
            u = _wave(self.lines * kernel.curve.root(q).at(self.tone.line_hz), bins, points)
        made = wick_product(u, x, of_u=q, of_x=kernel.order - q, pairs=pairs_of(u, x))
        spectrum = scipy.fft.rfft(made)[: top + 1] * (2.0 / points)
        if not q:
            spectrum = spectrum * kernel.curve.at(np.arange(top + 1) / self.tone.period_s / kernel.order)
        return np.asarray(kernel.sign * spectrum)


def _wave(amplitudes: ComplexArray, bins: npt.NDArray[np.int64], points: int) -> FloatArray:
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex128)
    spectrum[bins] = amplitudes * (points / 2.0)
    return np.asarray(scipy.fft.irfft(spectrum, points))


def products_of(played: Played, kernels: Iterable[Kernel], structures: Mapping[int, Structure]) -> ComplexArray:
    """All orders together; `structures` by order."""
    return np.asarray(sum(played.product(one, structures[one.order]) for one in kernels))


def relative_bands(played: Played, made: ComplexArray, path: PowerSpectrum) -> tuple[FloatArray, FloatArray]:
    """Power of even and odd products of each third octave re its lines, `(bands,)` each; NaN without a line or beyond.

    made  amplitudes of the bins from 0 on, as played
    path  power of the response, through which lines and products go alike
    """
    tone = played.tone
    midbands, band = band_of_bins(tone)
    power = np.zeros(band.size)
    through = np.interp(np.arange(band.size) / tone.period_s / path.bin_hz, np.arange(path.power.size), path.power)
    power[: made.size] = 0.5 * np.square(np.abs(made))
    power *= through
    lines = np.bincount(
        np.maximum(band[tone.line_bins], 0),
        weights=np.where(band[tone.line_bins] >= 0, 0.5 * np.square(np.abs(played.lines)) * through[tone.line_bins], 0),
        minlength=midbands.size,
    )
    odd = np.arange(band.size) % 2 == 1
    inside = band >= 0

    def summed(values: FloatArray, where: npt.NDArray[np.bool_]) -> FloatArray:
        both = inside & where
        return np.asarray(np.bincount(band[both], weights=values[both], minlength=midbands.size), dtype=np.float64)

    stated = np.where((lines > 0) & (midbands < TOP_HZ), lines, np.nan)
    return summed(power, ~odd & free_bins(tone)) / stated, summed(filled(power, tone), odd) / stated
