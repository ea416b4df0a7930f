"""Two clocks: a recording made by a clock that runs fast or slow, resampled to the player's clock.

A recorder whose clock is `e` fast writes `1 + e` samples while the player plays one, so the player's sample m lies at
`m (1 + e)` of the recording. The value there is a windowed-sinc interpolation,

    y(m) = sum over k of r[i + k] h(k - mu),    m (1 + e) = i + mu,    -1/2 <= mu < 1/2,

with h a sinc under a Kaiser window (Oppenheim and Schafer, Discrete-Time Signal Processing, 3rd ed., 7.5, from memory).
Each tap is a polynomial in mu (Farrow, ISCAS 1988), so that a block costs a few convolutions whatever the ratio.
"""

import math
from functools import cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.errors import RecordingError

FloatArray = npt.NDArray[np.float64]

HALF_TAPS = 64
"""Taps on either side. 128 in all pass 20 kHz untouched at 44.1 kHz and above."""

KAISER_BETA = 14.5
"""140 dB: ripple of 1e-7 up to 0.927 of half the sample rate (Kaiser's formulas, Oppenheim and Schafer 7.6)."""

DEGREE = 13
"""Of the polynomials in mu. A sinc's Chebyshev series over one sample falls as (pi/4)^n / n!: 4e-13 is left."""

BLOCK = 1 << 16
"""Samples worked on at a time: some 15 MB."""

LARGEST_PPM = 10_000.0
"""Beyond it the kernel, which does not move its cut-off, would let through what folds over."""


def repair_clock(recording: npt.ArrayLike, clock_difference_ppm: float, sample_rate: int) -> FloatArray:
    """`recording` `(samples,)` as the player's clock would have sampled it: `(floor((samples - 1) / (1 + e)) + 1,)`.

    clock_difference_ppm   1e6 e, recorder against player; positive when the recorder's clock is the faster
    sample_rate            nominal rate of both, Hz; only stated in messages

    Sample 0 stays where it is; what lay at sample p of the recording lies at `p / (1 + e)` of the result. Tones up to
    20 kHz keep level and phase (128 taps); what is asked for before or after the recording counts as zero. Raises
    RecordingError when the difference is not a number or beyond 10,000 ppm.
    """
    samples = np.asarray(recording, dtype=np.float64)
    if samples.ndim != 1:
        raise ValueError(f"repair_clock takes one channel (samples,), not an array of shape {samples.shape}")
    if not abs(clock_difference_ppm) <= LARGEST_PPM:
        raise RecordingError(
            f"A clock difference of {clock_difference_ppm:g} ppm at {sample_rate} Hz is no clock's: "
            f"look for lost samples or a wrong sample rate, and record again."
        )
    if samples.size == 0 or clock_difference_ppm == 0.0:
        return samples.copy()
    ratio = 1.0 + clock_difference_ppm * 1e-6
    repaired = np.empty(math.floor((samples.size - 1) / ratio) + 1)
    for first in range(0, repaired.size, BLOCK):
        end = min(first + BLOCK, repaired.size)
        repaired[first:end] = _read_at(samples, np.asarray(np.arange(first, end) * ratio, dtype=np.float64))
    return repaired


def _read_at(samples: FloatArray, positions: FloatArray) -> FloatArray:
    """Values of `samples` `(n,)` at ascending fractional `positions` `(m,)`, which lie close together."""
    nearest = np.rint(positions).astype(np.int64)
    twice_mu = 2.0 * (positions - nearest)
    first, end = int(nearest[0]) - HALF_TAPS, int(nearest[-1]) + HALF_TAPS + 1
    piece = np.zeros(end - first)
    inside_first, inside_end = max(first, 0), min(end, samples.size)
    piece[inside_first - first : inside_end - first] = samples[inside_first:inside_end]
    index = nearest - first
    length = scipy.fft.next_fast_len(piece.size, real=True)  # what wraps around lies within the margin of HALF_TAPS
    spectrum = scipy.fft.rfft(piece, length)
    kernels = scipy.fft.rfft(_tap_polynomials(), length, axis=1)
    values = np.zeros(positions.size)
    for kernel in kernels:  # highest power first: Horner's rule
        branch = scipy.fft.irfft(spectrum * kernel, length)
        values = values * twice_mu + branch[index + HALF_TAPS]
    return values


@cache
def _tap_polynomials() -> FloatArray:
    """Convolution kernels `(DEGREE + 1, 2 HALF_TAPS + 1)`, one for each power of 2 mu, highest first.

    Kernel j at place p holds the coefficient of tap k = HALF_TAPS - p, since a convolution reads backwards.
    """
    nodes = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))  # Chebyshev, in 2 mu
    tap = np.arange(HALF_TAPS, -HALF_TAPS - 1, -1)
    offset = tap[None, :] - nodes[:, None] / 2.0
    inside = np.clip(1.0 - (offset / (HALF_TAPS + 0.5)) ** 2, 0.0, None)
    kernel = np.sinc(offset) * np.i0(KAISER_BETA * np.sqrt(inside)) / np.i0(KAISER_BETA)
    return np.asarray(np.linalg.solve(np.vander(nodes, DEGREE + 1), kernel))
