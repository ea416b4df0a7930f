"""Smooth steps that bands, fades and windows are made of."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def rise(position: npt.ArrayLike) -> FloatArray:
    """Raised cosine from 0 to 1 while `position` goes from 0 to 1; held at either end. Elementwise, any shape."""
    held = np.clip(np.asarray(position, dtype=np.float64), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * held))


def log_rise(frequency_hz: npt.ArrayLike, *, from_hz: float, to_hz: float) -> FloatArray:
    """`rise` over the logarithm of frequency: 0 at `from_hz`, 1 at `to_hz` (which may be the lower of the two).

    Frequencies at or below 0 count as infinitely low.
    """
    frequency = np.maximum(np.asarray(frequency_hz, dtype=np.float64), np.finfo(np.float64).tiny)
    return rise(np.log(frequency / from_hz) / np.log(to_hz / from_hz))
