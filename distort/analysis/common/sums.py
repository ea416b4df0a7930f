"""Powers added up of which some are not known."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def known_sum(powers: npt.ArrayLike) -> FloatArray:
    """Sum over the first axis of `(parts, rows)`, of the parts that are known: `(rows,)`, NaN where none is."""
    parts = np.asarray(powers, dtype=np.float64)
    known = np.isfinite(parts)
    return np.where(known.any(axis=0), np.where(known, parts, 0.0).sum(axis=0), np.nan)
