"""A sound with one dip of the response filled: what an equaliser would make of it that is the dip's mirror."""

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]

MOST_DB = 20.0
"""A deeper dip is filled by this much: what it leaves of the music is then under a tenth, and a narrow gain of more
rings for longer than most notes (own choice)."""

RINGS_FOR = 6.0
"""The gain rings for so many reciprocals of the bell's middle times its width in octaves, either way: by then what it
adds is under a ten-thousandth of its top (computed, up to two octaves and 20 dB). So much silence stands between the
end of a sound and its beginning, which meet in the transform."""


def with_dip_filled(
    samples: FloatArray, sample_rate: float, *, frequency_hz: float, depth_db: float, width_octaves: float
) -> FloatArray:
    """`samples`, `(n,)`, through a bell of `depth_db` > 0 at `frequency_hz`, without a change of phase.

        g(f) = depth_db exp(-ln 2 (2 log2(f / frequency_hz) / width_octaves)^2)     dB

    so that half of it, in dB, is left width_octaves / 2 to either side: as the width of a dip is stated. It says what
    the dip takes away, and nothing of the time at which a reflection would arrive.
    """
    pad = int(RINGS_FOR * sample_rate / (frequency_hz * width_octaves))
    n = scipy.fft.next_fast_len(samples.size + pad, real=True)
    bins_hz = np.maximum(scipy.fft.rfftfreq(n, 1.0 / sample_rate), np.finfo(np.float64).tiny)
    octaves = np.log2(bins_hz / frequency_hz)
    gain_db = min(depth_db, MOST_DB) * np.exp(-np.log(2.0) * np.square(2.0 * octaves / width_octaves))
    filled = scipy.fft.irfft(scipy.fft.rfft(samples, n) * 10.0 ** (gain_db / 20.0), n)
    return np.asarray(filled[: samples.size])
