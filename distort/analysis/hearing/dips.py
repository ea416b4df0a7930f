"""A sound with one dip of the response filled: what an equaliser would make of it that is the dip's mirror."""

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]

MOST_DB = 20.0
"""A deeper dip is filled by this much: what it leaves of the music is then under a tenth, and a narrow gain of more
rings for longer than most notes (own choice)."""

RINGS_FOR = 4.0
"""Reciprocal bandwidths for which the gain rings either way, which the sound is extended by before it is filtered."""


def with_dip_filled(
    samples: FloatArray, sample_rate: float, *, frequency_hz: float, depth_db: float, width_octaves: float
) -> FloatArray:
    """`samples`, `(n,)`, through a bell of `depth_db` > 0 at `frequency_hz`, without a change of phase.

        g(f) = depth_db exp(-ln 2 (2 log2(f / frequency_hz) / width_octaves)^2)     dB

    so that half of it, in dB, is left width_octaves / 2 to either side: as the width of a dip is stated. It says what
    the dip takes away, and nothing of the time at which a reflection would arrive.
    """
    bandwidth_hz = frequency_hz * (2.0 ** (width_octaves / 2.0) - 2.0 ** (-width_octaves / 2.0))
    pad = int(np.ceil(RINGS_FOR * sample_rate / bandwidth_hz))
    n = scipy.fft.next_fast_len(samples.size + 2 * pad, real=True)
    spectrum = scipy.fft.rfft(np.concatenate([np.zeros(pad), samples]), n)
    bins_hz = scipy.fft.rfftfreq(n, 1.0 / sample_rate)
    octaves = np.log2(np.maximum(bins_hz, bins_hz[1]) / frequency_hz)
    gain_db = min(depth_db, MOST_DB) * np.exp(-np.log(2.0) * np.square(2.0 * octaves / width_octaves))
    return np.asarray(scipy.fft.irfft(spectrum * 10.0 ** (gain_db / 20.0), n)[pad : pad + samples.size])
