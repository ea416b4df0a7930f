"""A curve's own trend, and how far the curve scatters about it: what a dip, a peak or a rise must stand out of.

The trend at each row is a quadratic in log frequency, fitted to the rows within three octaves either side under tricube
weights, and refitted with bisquare weights so that a dip does not pull it down (robust locally weighted regression:
Cleveland, J. Am. Stat. Assoc. 74, 1979). A quadratic follows the knee of a roll-off, where a straight line would leave
a peak that is not there. The scatter is that about a trend which reaches two octaves either side.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

TREND_OCTAVES = 3.0
"""Reach of the trend either side: what is broader is trend, what is narrower is a dip or a peak."""

ROUGH_OCTAVES = 2.0
"""Reach of the trend about which the scatter is measured."""

SCATTER_OCTAVES = 1.5
"""Reach of the scatter either side: roughness changes along the axis, most of all in a room."""

ROBUST_ROUNDS = 3
BISQUARE = 4.0
"""Rows further from the trend than this many times their scatter count for nothing."""
MAD_TO_SD = 1.4826
"""Standard deviation of a normal variable whose median absolute deviation is 1."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Detrended:
    """A curve less its trend, `(rows,)` each; NaN where the curve had no reading."""

    frequency_hz: FloatArray
    deviation_db: FloatArray
    trend_db: FloatArray
    scatter_db: FloatArray
    """Robust standard deviation of the deviation round about."""


def detrended(frequency_hz: FloatArray, level_db: FloatArray) -> Detrended:
    """`level_db` `(rows,)` against its own trend; rows evenly spaced in log frequency, NaN where nothing was read.

    The scatter is that about a trend of shorter reach: a broad dip is no roughness of its neighbourhood.
    """
    per_octave = rows_per_octave(frequency_hz)
    known = np.isfinite(level_db)
    trend, _ = _robust(level_db, per_octave, TREND_OCTAVES)
    scatter = scatter_about_trend(frequency_hz, level_db)
    return Detrended(
        frequency_hz=frequency_hz,
        deviation_db=np.where(known, level_db - trend, np.nan),
        trend_db=np.where(known, trend, np.nan),
        scatter_db=np.where(known, scatter, np.nan),
    )


def scatter_about_trend(frequency_hz: FloatArray, level_db: FloatArray) -> FloatArray:
    """How far a curve `(rows,)` scatters round about each row, about a trend of the shorter reach."""
    per_octave = rows_per_octave(frequency_hz)
    rough, _ = _robust(level_db, per_octave, ROUGH_OCTAVES)
    return blended_scatter(level_db - rough, round(SCATTER_OCTAVES * per_octave))


def over_own_scatter(frequency_hz: FloatArray, level_db: FloatArray, *, least_db: float) -> FloatArray:
    """A curve `(rows,)` less its trend, over its scatter about it right there, at least `least_db`."""
    per_octave = rows_per_octave(frequency_hz)
    trend, _ = _robust(level_db, per_octave, TREND_OCTAVES)
    deviation_db = np.where(np.isfinite(level_db), level_db - trend, np.nan)
    scatter_db = local_scatter(deviation_db, round(SCATTER_OCTAVES * per_octave))
    return np.asarray(deviation_db / np.maximum(scatter_db, least_db))


def rows_per_octave(frequency_hz: FloatArray) -> float:
    """Of rows evenly spaced in log frequency."""
    return float((frequency_hz.size - 1) / np.log2(frequency_hz[-1] / frequency_hz[0]))


def blended_scatter(deviation_db: FloatArray, reach: int) -> FloatArray:
    """The local scatter `(rows,)`, nowhere below its own median: a few calm rows are luck, not calm."""
    known = np.isfinite(deviation_db)
    local = local_scatter(deviation_db, reach)
    return np.maximum(local, np.median(local[known])) if np.any(known) else local


def _robust(level_db: FloatArray, per_octave: float, reach_octaves: float) -> tuple[FloatArray, FloatArray]:
    """Trend of that reach, and the local scatter about it, `(rows,)` each."""
    known = np.isfinite(level_db)
    filled = np.where(known, level_db, 0.0)
    index, weight, powers = _windows(level_db.size, max(round(reach_octaves * per_octave), 2))
    inside = (index >= 0) & (index < known.size)
    index = np.clip(index, 0, known.size - 1)
    weight = weight * (known[index] & inside)
    reach = round(SCATTER_OCTAVES * per_octave)
    trust = known.astype(np.float64)
    trend, scatter = filled, np.ones_like(filled)
    for _ in range(ROBUST_ROUNDS):
        trend = _fitted(filled[index], weight * trust[index], powers)
        scatter = local_scatter(np.where(known, filled - trend, np.nan), reach)
        off = np.clip((filled - trend) / (BISQUARE * np.maximum(scatter, 1e-6)), -1.0, 1.0)
        trust = np.where(known, np.square(1.0 - np.square(off)), 0.0)
    return trend, scatter


def _windows(rows: int, reach: int) -> tuple[npt.NDArray[np.int64], FloatArray, FloatArray]:
    """Row numbers `(rows, window)`, tricube weights of the same shape, and powers 0 to 2 of the place `(3, window)`."""
    place = np.arange(-reach, reach + 1)
    inside = np.abs(place) / (reach + 1.0)
    tricube = (1.0 - inside**3) ** 3
    index = np.arange(rows)[:, None] + place[None, :]
    return index, np.broadcast_to(tricube, index.shape), np.array([(place / reach) ** k for k in range(3)])


def _fitted(values: FloatArray, weight: FloatArray, powers: FloatArray) -> FloatArray:
    """Value at the centre of each window of the weighted quadratic, `(rows,)`."""
    pairs = (powers[:, None, :] * powers[None, :, :]).reshape(9, -1)
    normal = (weight @ pairs.T).reshape(-1, 3, 3)
    right = (weight * values) @ powers.T
    # a trace of flatness keeps windows with few rows from being singular
    normal += 1e-6 * np.eye(3) * np.maximum(normal[:, :1, :1], 1e-9)
    return np.asarray(np.linalg.solve(normal, right[:, :, None])[:, 0, 0])


def local_scatter(deviation_db: FloatArray, reach: int) -> FloatArray:
    """Robust standard deviation of `deviation_db` `(rows,)` within `reach` rows either side; NaN are left out."""
    padded = np.pad(deviation_db, reach, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(np.abs(padded), 2 * reach + 1)
    ordered = np.sort(around, axis=1)  # NaN are sorted last
    count = np.sum(np.isfinite(around), axis=1)
    row = np.arange(deviation_db.size)
    middle = np.maximum(count - 1, 0)
    median = 0.5 * (ordered[row, middle // 2] + ordered[row, (middle + 1) // 2])
    return np.asarray(MAD_TO_SD * np.nan_to_num(median))
