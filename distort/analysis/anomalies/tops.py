"""Rows at which values are higher than on either side."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def tops(values: FloatArray, *, height: float, prominence: float) -> npt.NDArray[np.int64]:
    """Rows of `values` `(n,)`, ascending, that are at least `height` high and stand out by at least `prominence`.

    By how much one stands out is how far one must go down, to the side where that is less, before it goes up to
    something higher or the values end. The first and the last row are none; of equal ones side by side it is the first.
    """
    middle = values[1:-1]
    rows = 1 + np.flatnonzero((middle > values[:-2]) & (middle >= values[2:]) & (middle >= height))
    return np.array([row for row in rows if _prominence(values, int(row)) >= prominence], dtype=np.int64)


def _prominence(values: FloatArray, row: int) -> float:
    higher = np.flatnonzero(values > values[row])
    at = int(np.searchsorted(higher, row))
    begin = int(higher[at - 1]) if at else 0
    end = int(higher[at]) if at < higher.size else values.size
    return float(values[row] - max(np.min(values[begin : row + 1]), np.min(values[row:end])))
