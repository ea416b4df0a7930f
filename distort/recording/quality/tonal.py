"""Whether a recording is made of tones, standing or gliding, rather than of noise."""

import numpy as np
import numpy.typing as npt
import scipy

from signals.windows import blackman_harris

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 0.1

BAND_OCTAVES = 1.0 / 24.0
"""A sweep of an octave a second passes two of these in a block."""

AROUND_BANDS = 48
"""Bands on either side that a band is held against: two octaves. Less than half of them hold a gliding tone's decay."""

RANGE_HZ = (700.0, 12000.0)
"""Above the strong orders of mains hum, which is no stimulus, and below the whistle of power supplies."""

STANDS_OUT_DB = 20.0
"""Of a band over the median of those around it. Noise does not: its power in the narrowest band, two bins wide, passes
100 times its mean with a chance of exp(-200) or so."""


MOST_BLOCKS = 500
"""Of a longer recording every second block, or fewer."""


def tonal_share(samples: FloatArray, sample_rate: int) -> float:
    """Share of the blocks of `samples` `(n,)` in which some band stands out of its surroundings; 0 without a block."""
    size = round(BLOCK_S * sample_rate)
    if samples.size < size:
        return 0.0
    blocks = samples[: samples.size // size * size].reshape(-1, size)
    blocks = blocks[:: blocks.shape[0] // MOST_BLOCKS + 1]
    window = blackman_harris(size)  # sidelobes of -92 dB: hum leaks into no band
    power = np.square(np.abs(scipy.fft.rfft(blocks * window, axis=1)))
    frequency_hz = np.arange(power.shape[1]) * (sample_rate / size)
    low_hz, high_hz = RANGE_HZ[0], min(RANGE_HZ[1], 0.45 * sample_rate)
    edges_hz = low_hz * 2.0 ** (BAND_OCTAVES * np.arange(int(np.log2(high_hz / low_hz) / BAND_OCTAVES) + 1))
    first = np.searchsorted(frequency_hz, edges_hz)
    bands = np.add.reduceat(power, first[:-1], axis=1) / np.diff(first)
    around = scipy.ndimage.median_filter(bands, (1, 2 * AROUND_BANDS + 1), mode="nearest")
    tonal = np.any(bands > 10.0 ** (STANDS_OUT_DB / 10.0) * around, axis=1)
    return float(np.mean(tonal))
