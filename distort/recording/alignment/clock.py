"""Two clocks: a recording made by a clock that runs fast or slow, resampled to the player's clock.

A recorder whose clock is `e` fast writes `1 + e` samples while the player plays one, so the player's sample m lies at
`m (1 + e)` of the recording, and is read there between the samples (`distort.analysis.common.interpolation`).
"""

import math

import numpy as np
import numpy.typing as npt

from distort.analysis.common.interpolation import BLOCK, values_at
from distort.errors import RecordingError

FloatArray = npt.NDArray[np.float64]

LARGEST_CLOCK_DIFFERENCE = 5e-4
"""No pair of crystals differs by more: beyond it something was lost (one buffer of 512 samples from a default reel of
15.9 s looks like 6.7e-4), and what was recorded may well not be stretched."""

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
        repaired[first:end] = values_at(samples, np.asarray(np.arange(first, end) * ratio, dtype=np.float64))
    return repaired
