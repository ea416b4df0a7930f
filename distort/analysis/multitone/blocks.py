"""Spectra of a recorded multitone, block by block, and what repeats in them and what does not.

A block is 8 periods under a Blackman-Harris window (Harris, Proc. IEEE 66(1), 1978), whose main lobe is 4 of the
block's own bins wide either way: half of the way from one bin of the period to the next. Whatever repeats with the
period is read exactly, and what drifts slowly (heating, a clock) stays inside the lobe instead of spilling into the
neighbouring bins. Only every eighth bin of the block is wanted, so the windowed periods are added up first and one
period's transform serves for all eight. Halfway between two bins of the period nothing that repeats is left: noise is
read there too.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

from signals.windows import blackman_harris

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
IntArray = npt.NDArray[np.int64]

BLOCK_PERIODS = 8
HOP_PERIODS = 2
"""From block to block; with a hop of 1 the blocks tell little more, with 4 the noise is less well known."""

MANY_PERIODS = 20
"""Beyond so many, a hop of 4 tells enough of the noise and takes half the work."""

SIDEBANDS = np.arange(1, 8)
"""Offsets from a line, in bins of the period, at which what stands beside it is kept block by block."""


@dataclass(frozen=True, kw_only=True)
class Statistics:
    """What the windows do to noise: all that is needed to state a power per bin of the period."""

    blocks: int
    block_width: float
    """Noise bandwidth of one block, bins of the period."""
    mean_width: float
    """Of the mean of all blocks: this share of a bin's noise is left in it."""
    scatter_freedom: float
    """Degrees of freedom of the scatter about the mean, at one bin."""
    between_freedom: float
    """Degrees of freedom of the mean power halfway between two bins."""


@dataclass(frozen=True, kw_only=True)
class BlockSpectra:
    """The periodic part of a recording, and its noise, over the bins 0 ... N/2 of a period of N samples."""

    mean: ComplexArray
    """Complex amplitude of what repeats, `(bins,)`: a full-scale sine reads 1."""
    scatter_noise: FloatArray
    """Noise power of a bin (a full-scale sine: 1/2), from the scatter of the blocks, `(bins,)`."""
    between_noise: FloatArray
    """Noise power of a bin, read halfway between bin k and k + 1, `(bins - 1,)`."""
    beside: ComplexArray
    """Complex amplitudes beside the bins asked for, `(blocks, 2, sidebands, asked)`: above and below, re the bin's own.
    The block's delay is out of neither, since it turns both alike."""
    statistics: Statistics


def block_starts(periods: int) -> range:
    """First period of each block of a recording of so many measured periods."""
    return range(0, periods - BLOCK_PERIODS + 1, HOP_PERIODS if periods <= MANY_PERIODS else 2 * HOP_PERIODS)


@lru_cache(maxsize=4)
def block_window(period_samples: int) -> FloatArray:
    """Blackman-Harris window over a block, `(8, period_samples)`, of mean 1."""
    window = blackman_harris(BLOCK_PERIODS * period_samples)
    window = window / np.mean(window)
    window.setflags(write=False)
    return np.asarray(window.reshape(BLOCK_PERIODS, period_samples))


@lru_cache(maxsize=16)
def statistics(periods: int) -> Statistics:
    """From the correlation of the windows, for noise whose density hardly changes over a bin of the period."""
    points = 64  # a period; the window is so smooth that more change nothing
    window = block_window(points).ravel()
    starts = np.array(block_starts(periods))
    apart = np.arange(BLOCK_PERIODS) * points
    overlap = np.array([np.sum(window[lag:] * window[: window.size - lag]) for lag in apart])
    lags = np.abs(starts[:, None] - starts[None, :])
    covariance = np.where(lags < BLOCK_PERIODS, overlap[np.minimum(lags, BLOCK_PERIODS - 1)], 0.0)
    covariance *= points / np.sum(window) ** 2
    centred = covariance - covariance.mean(axis=0)
    alternating = covariance  # a block starts an even number of periods after another: no sign changes
    return Statistics(
        blocks=starts.size,
        block_width=float(covariance[0, 0]),
        mean_width=float(np.mean(covariance)),
        scatter_freedom=float(2.0 * np.trace(centred) ** 2 / np.trace(centred @ centred)) if starts.size > 1 else 0.0,
        between_freedom=float(2.0 * np.trace(alternating) ** 2 / np.sum(np.square(alternating))),
    )


def block_spectra(
    samples: FloatArray,
    *,
    first: int,
    period_samples: int,
    periods: int,
    delays: FloatArray | None = None,
    beside_bins: IntArray | None = None,
) -> BlockSpectra:
    """Read the `periods` that begin at sample `first` of `samples` `(n,)`, which must hold them all.

    delays        how late each block comes, `(blocks,)`, samples; taken out of its phases before the mean
    beside_bins   bins, more than 7 from either end, whose sidebands are kept

    Memory does not grow with the number of periods. There must be at least two blocks.
    """
    kept = statistics(periods)
    bins = np.arange(period_samples // 2 + 1)
    mean = np.zeros(bins.size, dtype=np.complex128)
    scatter, between = np.zeros(bins.size), np.zeros(bins.size - 1)
    asked = np.zeros(0, dtype=np.int64) if beside_bins is None else beside_bins
    beside = np.empty((kept.blocks, 2, SIDEBANDS.size, asked.size), dtype=np.complex128)
    for number, (on, off) in enumerate(_folded(samples, first, period_samples, periods)):
        spectrum = scipy.fft.rfft(on)
        if delays is not None and np.any(delays):
            spectrum *= np.exp((2j * np.pi / period_samples * delays[number]) * bins)
        for side, sign in enumerate((1, -1)):
            beside[number, side] = spectrum[asked + sign * SIDEBANDS[:, None]] / spectrum[asked]
        step = spectrum - mean
        mean += step / (number + 1)
        scatter += (number / (number + 1)) * _power(step)  # Welford, Technometrics 4(3), 1962
        between += _power_halfway(off)
    scale = 2.0 / (BLOCK_PERIODS * period_samples)
    power = 0.5 * scale**2 / kept.blocks
    return BlockSpectra(
        mean=np.asarray(mean * scale),
        scatter_noise=np.asarray(scatter * (power / (kept.block_width - kept.mean_width))),
        between_noise=np.asarray(between * (power / kept.block_width)),
        beside=beside,
        statistics=kept,
    )


def _folded(
    samples: FloatArray, first: int, period_samples: int, periods: int
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """For each block its windowed periods added up, and the same with every second one subtracted."""
    window = block_window(period_samples)
    for start in block_starts(periods):
        begin = first + start * period_samples
        block = samples[begin : begin + BLOCK_PERIODS * period_samples].reshape(BLOCK_PERIODS, period_samples)
        even = np.einsum("pn,pn->n", block[::2], window[::2])
        odd = np.einsum("pn,pn->n", block[1::2], window[1::2])
        yield even + odd, even - odd


def _power(spectrum: ComplexArray) -> FloatArray:
    return np.asarray(np.square(spectrum.real) + np.square(spectrum.imag))


def _power_halfway(alternating: FloatArray) -> FloatArray:
    """Power of the transform of `(n,)` real values halfway between its bins: at 1/2, 3/2, ..., `(n / 2,)`.

    `X(2k + 1/2) = sum over n < N/2 of (x[n] - i x[n + N/2]) exp(-2 pi i n (2k + 1/2) / N)`, one transform of half the
    length, and `X(2k + 3/2)` is the conjugate of the value as far from the other end.
    """
    half = alternating.size // 2
    folded = (alternating[:half] - 1j * alternating[half:]) * _half_turn(alternating.size)
    power = _power(scipy.fft.fft(folded))
    halfway = np.empty(half)
    halfway[0::2] = power[: (half + 1) // 2]
    halfway[1::2] = power[::-1][: half // 2]
    return halfway


@lru_cache(maxsize=4)
def _half_turn(period_samples: int) -> ComplexArray:
    turn = np.exp(-1j * math.pi / period_samples * np.arange(period_samples // 2))
    turn.setflags(write=False)
    return np.asarray(turn)
