"""Sounds as they go into a page: FLAC files in memory, of 16 bits."""

import io

import numpy as np
import numpy.typing as npt
import soundfile

ENCODERS = 2
"""Threads that encode or decode sounds side by side: the library does not hold other threads up."""

SCALE = 2.0**15
DITHER_SEED = 0
"""The same noise in every sound: what differs between two is never the dither."""


def flac_bytes(samples: npt.NDArray[np.float64], sample_rate: int) -> bytes:
    """`samples`, `(n,)`, full scale 1, as a FLAC file of one channel and 16 bits, with triangular dither of +-1 step.

    Raises ValueError for samples beyond full scale or that are not finite.
    """
    if not np.all(np.abs(samples) <= 1.0 - 2.0 / SCALE):  # NaN is not, either
        raise ValueError("a sound in a page must stay two steps of 16 bits under full scale")
    noise = np.random.default_rng(DITHER_SEED).random((2, samples.size))
    steps = np.rint(samples * SCALE + noise[0] - noise[1]).astype(np.int16)
    file = io.BytesIO()
    soundfile.write(file, steps, sample_rate, format="FLAC", subtype="PCM_16")
    return file.getvalue()
