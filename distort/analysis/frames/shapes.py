"""How a limiter's reduction comes and goes: two curves with a time and a shape, 63 % of the way at that time.

    come(t) = 1 - exp(-(t / T)^b)                         b = 1: exponential in dB; above, it settles sooner
    held(t) = 1 + ln(1 - exp(-t / tau)) / D, 0 at least   of a detector that follows the square
    go(t)   = (1 - p c t / T)^(1/p), c = (1 - e^-p) / p   p -> 0: exponential in dB, p = 1: a straight line in dB

A detector that follows the square of the signal lets go in a straight line: what it holds falls by the same number of
decibels each second until it is under the threshold.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def come(since_s: FloatArray, *, time_s: float, shape: float) -> FloatArray:
    """From 0 at 0 s to 1, elementwise; `shape` is b."""
    return np.asarray(-np.expm1(-np.power(np.maximum(since_s, 0.0) / time_s, shape)))


def held(since_s: FloatArray, *, time_s: float, over: float) -> FloatArray:
    """Likewise, of a detector: `time_s` is tau, `over` is D, nepers of power by which a tone is over the threshold."""
    share = np.maximum(come(since_s, time_s=time_s, shape=1.0), 1e-12)
    return np.asarray(np.maximum(1.0 + np.log(share) / over, 0.0))


def go(since_s: FloatArray, *, time_s: float, shape: float) -> FloatArray:
    """From 1 at 0 s to 0, elementwise; `shape` is p, above 0."""
    slope = -np.expm1(-shape) / shape
    left = np.maximum(1.0 - shape * slope * np.maximum(since_s, 0.0) / time_s, 0.0)
    return np.asarray(np.power(left, 1.0 / shape))
