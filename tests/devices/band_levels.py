"""Levels of the parts of a multitone in bands with and without lines, straight from their powers."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.multitone.reading import MultitoneReadings


def band_level_dbfs(reads: Sequence[MultitoneReadings], *parts: str) -> npt.NDArray[np.float64]:
    """Mean over the readings of the power of `parts` ("even", "odd", "noise") together, `(bands,)`: a full-scale sine,
    of power 1/2, is 0 dBFS (AES17)."""
    powers = [sum(getattr(one.bands, part) for part in parts) for one in reads]
    return np.asarray(10.0 * np.log10(np.mean(powers, axis=0) / 0.5))
