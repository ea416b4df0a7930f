"""Windows that stretches of sound are looked at under, as Harris states them (Proc. IEEE 66(1), 1978).

They are periodic: the next sample would be the first again, so that Hann windows half their length apart add up to 1.
Symmetric ones, which end as they begin, are numpy's.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

HANN = (0.5, 0.5)

BLACKMAN_HARRIS = (0.35875, 0.48829, 0.14128, 0.01168)
"""Four terms; its side lobes lie 92 dB down."""


@lru_cache(maxsize=16)
def hann(size: int) -> FloatArray:
    """Hann window of `size` samples, `(size,)`, read-only."""
    return _sum_of_cosines(size, HANN)


@lru_cache(maxsize=16)
def blackman_harris(size: int) -> FloatArray:
    """Blackman-Harris window of `size` samples, `(size,)`, read-only."""
    return _sum_of_cosines(size, BLACKMAN_HARRIS)


def _sum_of_cosines(size: int, terms: tuple[float, ...]) -> FloatArray:
    turn = 2.0 * np.pi * np.arange(size) / size
    window = sum((-1.0) ** order * share * np.cos(order * turn) for order, share in enumerate(terms))
    found = np.asarray(window, dtype=np.float64)
    found.setflags(write=False)
    return found
