"""How far a curve rises at every place against its flanks, as one and the same weighted sum for every curve.

The flanks, from a gap to FLANK_OCTAVES away or less on either side, give a straight line in log frequency; the rise is
the mean of the core less that line. The same rows with the same weights serve every curve at a place, so what holds for
curves in dB (D = P - P1) holds for their rises, exactly.
"""

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.trend import rows_per_octave

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FLANK_OCTAVES = 1.0

CORE_OCTAVES = 1.0 / 20.0
"""Half-width of the core: three rows of the grid."""

GAPS_OCTAVES = (0.3, 0.45, 0.6)
"""Flanks begin this far from the centre; further for a broad dip."""

LEAST_FLANK_ROWS = 3
"""On either side."""


def gap_for(width_octaves: float) -> float:
    """Which gap a dip of that width, at half of its depth, asks for."""
    return min(GAPS_OCTAVES, key=lambda gap: abs(gap - 0.9 * width_octaves))


def rises(
    frequency_hz: FloatArray, curves_db: FloatArray, *, gap_octaves: float, flank_octaves: float = FLANK_OCTAVES
) -> FloatArray:
    """Rises `(curves, rows)` of `curves_db` of that shape; NaN where fewer than three flank rows a side can be read.

    A row counts where every curve has a reading. Rows are evenly spaced in log frequency.
    """
    per_octave = rows_per_octave(frequency_hz)
    gap = max(round(gap_octaves * per_octave), 2)
    reach = max(round(flank_octaves * per_octave), gap + LEAST_FLANK_ROWS)
    place = np.arange(-reach, reach + 1)
    core = np.abs(place) <= int(CORE_OCTAVES * per_octave)
    flank = np.abs(place) >= gap
    usable = np.all(np.isfinite(curves_db), axis=0)
    index = np.arange(frequency_hz.size)[:, None] + place[None, :]
    inside = (index >= 0) & (index < frequency_hz.size)
    index = np.clip(index, 0, frequency_hz.size - 1)
    counts = inside & usable[index]
    weights = _weights(counts, place / reach, core=core, flank=flank)
    values = np.nan_to_num(curves_db)[:, index]
    return np.asarray(np.einsum("rw,crw->cr", weights, values))


def _weights(counts: BoolArray, x: FloatArray, *, core: BoolArray, flank: BoolArray) -> FloatArray:
    """Weights `(rows, window)`: core mean less the straight line through the flanks; NaN where it is not known."""
    side = counts & flank
    enough = (np.sum(side & (x < 0), axis=1) >= LEAST_FLANK_ROWS) & (np.sum(side & (x > 0), axis=1) >= LEAST_FLANK_ROWS)
    enough &= counts[:, x.size // 2]
    of_core = (counts & core).astype(np.float64)
    of_core /= np.maximum(np.sum(of_core, axis=1, keepdims=True), 1.0)
    n, sx, sxx = (np.sum(side * x**k, axis=1, keepdims=True) for k in (0, 1, 2))
    at = np.sum(of_core * x, axis=1, keepdims=True)
    determinant = np.where(enough[:, None], n * sxx - sx**2, 1.0)
    line = side * ((sxx - sx * x) + at * (n * x - sx)) / determinant
    return np.where(enough[:, None], of_core - line, np.nan)
