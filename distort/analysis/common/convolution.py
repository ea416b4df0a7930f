"""Weighted means that move along a row of values, by Fourier transforms.

scipy has the same, in a part of it that takes a second to load.
"""

from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
import scipy

Transform = Callable[[Any, int], Any]
Values = TypeVar("Values", npt.NDArray[np.float64], npt.NDArray[np.complex128])


def convolved(values: Values, taps: npt.NDArray[np.float64]) -> Values:
    """`sum over k of taps[k] values[i + (m - 1) // 2 - k]`, `(n,)`: values `(n,)`, 0 beyond their ends, taps `(m,)`."""
    real = not np.iscomplexobj(values)
    n_fft = scipy.fft.next_fast_len(values.size + taps.size - 1, real=real)
    forth: Transform = scipy.fft.rfft if real else scipy.fft.fft
    back: Transform = scipy.fft.irfft if real else scipy.fft.ifft
    whole = back(forth(values, n_fft) * forth(taps, n_fft), n_fft)
    first = (taps.size - 1) // 2
    return np.asarray(whole[first : first + values.size])
