"""Weighted means that move along a row of values, by Fourier transforms.

scipy has the same, in a part of it that takes a second to load.
"""

from typing import TypeVar

import numpy as np
import numpy.typing as npt
import scipy

Values = TypeVar("Values", npt.NDArray[np.float64], npt.NDArray[np.complex128])


def convolved(values: Values, taps: npt.NDArray[np.float64]) -> Values:
    """`sum over k of taps[k] values[i + (m - 1) // 2 - k]`, `(n,)`: values `(n,)`, 0 beyond their ends, taps `(m,)`."""
    n_fft = scipy.fft.next_fast_len(values.size + taps.size - 1, real=not np.iscomplexobj(values))
    first = (taps.size - 1) // 2
    if np.iscomplexobj(values):
        whole = scipy.fft.ifft(scipy.fft.fft(values, n_fft) * scipy.fft.fft(taps, n_fft), overwrite_x=True)
    else:
        whole = scipy.fft.irfft(scipy.fft.rfft(values, n_fft) * scipy.fft.rfft(taps, n_fft), n_fft, overwrite_x=True)
    return np.asarray(whole[first : first + values.size])
