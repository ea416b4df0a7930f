"""The frequency weighting A of sound level meters.

    A(f) = 20 log10( f4^2 f^4 / ((f^2 + f1^2) sqrt(f^2 + f2^2) sqrt(f^2 + f3^2) (f^2 + f4^2)) ) - A(1 kHz)

with f1 = 20.60, f2 = 107.7, f3 = 737.9 and f4 = 12194 Hz (IEC 61672-1:2013, formula (6) and annex E; from memory).
"""

import numpy as np
import numpy.typing as npt

POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""f1 to f4 of annex E, with more digits than the standard prints (from memory)."""

AT_1_KHZ_DB = -2.000
"""Of the formula without its last term; annex E states it with these digits (from memory)."""


def a_weighting_db(frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The weighting at any frequencies above 0 Hz, dB, of the same shape; 0 dB at 1 kHz."""
    square = np.square(np.asarray(frequency_hz, dtype=np.float64))
    f1, f2, f3, f4 = np.square(POLES_HZ)
    ratio = f4 * square**2 / ((square + f1) * np.sqrt((square + f2) * (square + f3)) * (square + f4))
    return np.asarray(20.0 * np.log10(ratio) - AT_1_KHZ_DB)
