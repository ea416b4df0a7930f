"""A recording at one sample rate, at another: polyphase, with a Kaiser-windowed low-pass."""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError

MOST_SAMPLES = 4 * 48_000 * 3600
"""An hour at 192 kHz; 5.5 GB."""

FloatArray = npt.NDArray[np.float64]

PASSBAND = 0.45
STOPBAND = 0.5
"""Edges of the low-pass as shares of the lower of the two rates: flat up to one, images gone from the other on."""

STOPBAND_DB = 140.0
"""Attenuation designed for: 20 dB more than is asked, because images of all branches add up."""

MOST_BRANCHES = 50_000
"""Rates whose ratio needs more are no rates that a converter runs at, and the filter would take minutes."""


def resample(samples: npt.ArrayLike, *, from_rate: int, to_rate: int) -> FloatArray:
    """`samples` `(n,)` at `from_rate` Hz as `(ceil(n to_rate / from_rate),)` at `to_rate` Hz; themselves if both agree.

    Sample 0 keeps its moment: sample k of the result stands for the time k / to_rate. Flat within 0.001 dB up to 0.45
    of the lower rate; images and aliases below -120 dB. Beyond either end there is taken to be silence.
    Raises RecordingError when a rate is not above 0, or the two have no simple ratio.
    """
    values = np.asarray(samples, dtype=np.float64)
    if from_rate < 1 or to_rate < 1:
        raise RecordingError(f"sample rates of {from_rate} and {to_rate} Hz: both must be at least 1 Hz")
    common = math.gcd(from_rate, to_rate)
    up, down = to_rate // common, from_rate // common
    if up == down:
        return values
    if max(up, down) > MOST_BRANCHES:
        raise RecordingError(f"{from_rate} Hz cannot be resampled to {to_rate} Hz: is the rate in the file right?")
    if values.size * up / down > MOST_SAMPLES:
        raise RecordingError(
            f"{values.size} samples at {from_rate} Hz would be {values.size * up / down:.3g} at {to_rate} Hz: is the "
            f"rate in the file right?"
        )
    from scipy.signal import resample_poly

    # The stubs do not know that scipy takes the filter's coefficients here.
    return np.asarray(resample_poly(values, up, down, window=_low_pass(up, down)))  # type: ignore[call-overload]


@lru_cache(maxsize=8)
def _low_pass(up: int, down: int) -> FloatArray:
    """Odd, symmetric FIR at `up` times the lower of both rates' common multiple; unity gain at 0 Hz.

    Kaiser's design (Kaiser, Proc. IEEE Int. Symp. Circuits and Systems, 1974) as scipy.signal.kaiserord gives it.
    """
    from scipy.signal import firwin, kaiserord

    nyquist = max(up, down) / 2.0  # of the filter's own rate, in units of the lower rate
    taps, beta = kaiserord(STOPBAND_DB, (STOPBAND - PASSBAND) / nyquist)
    cutoff = 0.5 * (PASSBAND + STOPBAND) / nyquist
    return np.asarray(firwin(taps | 1, cutoff, window=("kaiser", beta), scale=True))
