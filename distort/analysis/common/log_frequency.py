"""Values between the frequencies at which they are known: straight over log frequency, as curves are drawn."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def over_log_frequency(
    at_hz: npt.ArrayLike, frequency_hz: FloatArray, values: FloatArray, *, outside: float | None = None
) -> FloatArray:
    """`values` known at `frequency_hz`, both `(rows,)` and ascending, read at `at_hz` (above 0, any shape).

    outside   what holds below the first frequency and above the last; None: the value there
    """
    return np.asarray(np.interp(np.log(at_hz), np.log(frequency_hz), values, left=outside, right=outside))
