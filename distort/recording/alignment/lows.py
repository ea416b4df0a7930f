"""A sweep of which a steep low-pass let nothing but the lowest octaves through, as close to a passive radiator or a
port: in what is left of the whole band its response is a hump of some 20 ms that hardly stands out."""

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.alignment.matched import Lags, deconvolve
from distort.recording.kinds import aligned
from signals import Stimulus

FloatArray = npt.NDArray[np.float64]

LOW_OCTAVES = 5.0

LOW_STANDS_OUT_DB = 25.0
"""Behind a low-pass of 40 to 50 Hz, 18 or 24 dB an octave, the right sweep stands 40 to 44 dB out; noise, hum, and
sweeps whose length differs by 5 % and more do not so far. One that differs by 1 % is taken for the right one."""

NEXT_TO_NOTHING = 0.01
"""Share of the recording's energy above those octaves. Of a loudspeaker that passes the sweep about half of it is
there: such a recording is found as a whole, or holds something else."""


def flat_band(stimulus: Stimulus) -> tuple[float, float] | None:
    """Band in cycles a sample over which the stimulus is at its full level; None where it is to be correlated."""
    flat_hz = aligned(stimulus).flat_hz
    if flat_hz is None:
        return None
    low_hz, high_hz = flat_hz(stimulus)
    return low_hz / stimulus.sample_rate, high_hz / stimulus.sample_rate


def through_lows(samples: FloatArray, stimulus: Stimulus, signal: FloatArray, *, whole: bool = False) -> Lags | None:
    """`samples` `(n,)` divided by `signal` `(s,)`, which is `stimulus` as recorded, over its lowest octaves; None where
    it is no sweep, has hardly more than those, or the recording holds more.

    whole   as for `deconvolve`
    """
    band = flat_band(stimulus) if aligned(stimulus).passes else None
    if band is None or band[1] < band[0] * 2.0 ** (LOW_OCTAVES + 1.0):
        return None
    low = band[0], band[0] * 2.0**LOW_OCTAVES
    if _share_above(samples, low[1]) > NEXT_TO_NOTHING:
        return None
    return deconvolve(samples, signal, band=low, whole=whole)


def _share_above(samples: FloatArray, edge: float) -> float:
    """Share of the energy above `edge`, cycles a sample."""
    length = scipy.fft.next_fast_len(samples.size, real=True)
    power = np.square(np.abs(scipy.fft.rfft(samples - np.mean(samples), length)))
    return float(np.sum(power[scipy.fft.rfftfreq(length) > edge]) / max(float(np.sum(power)), 1e-300))
