"""What the orders make of a multitone: even and odd distortion of each third octave, re the lines in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.multitone.powers import band_of_bins, filled, free_bins
from distort.analysis.synthesis.structure import ADVANCED, Kernel, Structure
from distort.analysis.synthesis.ways import Way
from distort.analysis.synthesis.wick import pairs_of, wick_product
from signals import Multitone
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
IntArray = npt.NDArray[np.int64]

TOP_HZ = 11220.0
"""Products are made up to here, the upper edge of the third octave of 10 kHz."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """A multitone as it is played: one period, which repeats."""

    tone: Multitone
    path: PowerSpectrum
    """Power of the response: lines and products go through it alike."""
    turned_db: float = 0.0
    """By how much the volume was turned up."""

    @cached_property
    def lines(self) -> ComplexArray:
        """Complex amplitude of each line, `(lines,)`."""
        amplitude = 10.0 ** (self.turned_db / 20.0) * self.tone.line_amplitudes
        return np.asarray(amplitude * np.exp(1j * self.tone.line_phases_rad))

    @property
    def top(self) -> int:
        """Highest bin of the products."""
        return min(int(TOP_HZ * self.tone.period_s), self.tone.period_samples // 2 - 1)

    def product(self, kernel: Kernel, structure: Structure, way: Way) -> ComplexArray:
        """What an order of a way makes of it, as it would have to be played: amplitudes of bins 0 ... top."""
        parts = structure.parts(kernel.order)
        made = self.products(kernel.advanced_from(structure.advance_hz), way, tuple(parts))
        return np.asarray(sum(share * made[q] for q, share in parts.items()))

    def products(self, kernel: Kernel, way: Way, parts: Sequence[int]) -> dict[int, ComplexArray]:
        """The same of each of the `parts` of a structure, by its name there, as if it were all of the order."""
        bins, top, order = self.tone.line_bins, self.top, kernel.order
        lines = self.lines * way.share(self.tone.line_hz)
        # nothing that folds may fall on a bin that is kept, and all of them are there, also above the highest product
        points = 2 * scipy.fft.next_fast_len(max((order * int(bins[-1]) + top) // 2 + 1, top), real=True)
        x = _wave(lines, bins, points)
        at_hz = np.arange(top + 1) / self.tone.period_s
        found = {}
        for q in parts:
            of_u, of_x = kernel.factors(q)
            u = _wave(lines * kernel.before(q, self.tone.line_hz), bins, points) if of_u else x
            beside = _wave(lines * kernel.beside(q, self.tone.line_hz), bins, points) if q == ADVANCED else x
            made = wick_product(u, beside, of_u=of_u, of_x=of_x, pairs=pairs_of(u, beside))
            found[q] = np.asarray(scipy.fft.rfft(made)[: top + 1] * (2.0 / points) * kernel.after(q, at_hz))
        return found

    def even_db(self, made: ComplexArray) -> FloatArray:
        """Even products of each third octave re its lines, dB, `(bands,)`; NaN without a line or beyond the top.

        made   amplitudes of the bins from 0 on, as they would have to be played
        """
        return self._relative_db(self._power(made), self._even_bins)

    def even_power(self, made: ComplexArray, other: ComplexArray) -> FloatArray:
        """What two products have in common of even bins in each third octave, re its lines, `(bands,)`: with itself,
        the power of which `even_db` is the level."""
        common = np.zeros(self._bands[1].size)
        common[: made.size] = 0.5 * np.real(made * np.conj(other)) * self._through[: made.size]
        return self._relative(common, self._even_bins)

    def odd_db(self, made: ComplexArray) -> FloatArray:
        """Odd products likewise; what lies on a line is read beside it, as it is of a recording."""
        return self._relative_db(filled(self._power(made), self.tone), self._odd_bins)

    @cached_property
    def _bands(self) -> tuple[FloatArray, IntArray]:
        return band_of_bins(self.tone)

    @cached_property
    def _odd_bins(self) -> IntArray:
        band = self._bands[1][: self.top + 1]
        return np.flatnonzero((np.arange(band.size) % 2 == 1) & (band >= 0))

    @cached_property
    def _even_bins(self) -> IntArray:
        band = self._bands[1][: self.top + 1]
        return np.flatnonzero((np.arange(band.size) % 2 == 0) & (band >= 0) & free_bins(self.tone)[: band.size])

    @cached_property
    def _through(self) -> FloatArray:
        at = np.arange(self._bands[1].size) / self.tone.period_s / self.path.bin_hz
        return np.asarray(np.interp(at, np.arange(self.path.power.size), self.path.power))

    @cached_property
    def _lines(self) -> FloatArray:
        """Power of the lines of each band, `(bands,)`; NaN without a line or beyond the top."""
        midbands, band = self._bands
        bins = self.tone.line_bins
        power = np.where(band[bins] >= 0, 0.5 * np.square(np.abs(self.lines)) * self._through[bins], 0.0)
        sums = np.bincount(np.maximum(band[bins], 0), weights=power, minlength=midbands.size)
        return np.asarray(np.where((sums > 0) & (midbands < TOP_HZ), sums, np.nan))

    def _power(self, made: ComplexArray) -> FloatArray:
        power = np.zeros(self._bands[1].size)
        power[: made.size] = 0.5 * np.square(np.abs(made)) * self._through[: made.size]
        return power

    def _relative(self, power: FloatArray, bins: IntArray) -> FloatArray:
        midbands, band = self._bands
        return np.asarray(np.bincount(band[bins], weights=power[bins], minlength=midbands.size) / self._lines)

    def _relative_db(self, power: FloatArray, bins: IntArray) -> FloatArray:
        return power_to_db(self._relative(power, bins))


def _wave(amplitudes: ComplexArray, bins: IntArray, points: int) -> FloatArray:
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex128)
    spectrum[bins] = amplitudes * (points / 2.0)
    return np.asarray(scipy.fft.irfft(spectrum, points))
