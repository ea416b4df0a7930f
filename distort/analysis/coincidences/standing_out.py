"""How far each top of a curve stands out among the other tops and dips of that curve.

A curve that is smooth but for one resonance has no scatter to speak of, and the resonance itself makes most of any
standard deviation taken round about. So a top is held against the other tops and dips: its prominence (the drop to the
higher of the lowest points on either side, within half an octave) over what nine in ten of the others keep below.
Steps and bends of a trend have no prominence.
"""

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.coincidences.trend import rows_per_octave

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

REACH_OCTAVES = 0.5
"""How far a drop counts, either side of a top or a dip."""

APART_OCTAVES = 0.5
"""Tops and dips nearer than this are part of the same thing: a resonance has a dip on either side."""

SHARE_BELOW = 90.0
"""Per cent of the others."""

LEAST_OTHERS = 6

LEAST_OTHERS_DB = 0.5
"""No curve of a room is calmer than this."""


def standing_out(frequency_hz: FloatArray, level_db: FloatArray, usable: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Prominence in dB of each row that is a top, and that over the others' `(rows,)`; 0 at other rows.

    frequency_hz, level_db   `(rows,)`, evenly spaced in log frequency
    usable                   `(rows,)`: which rows count at all
    """
    prominence_db, times = np.zeros(level_db.size), np.zeros(level_db.size)
    rows = np.flatnonzero(usable & np.isfinite(level_db))
    if rows.size < 3:
        return prominence_db, times
    window = 2 * round(REACH_OCTAVES * rows_per_octave(frequency_hz)) + 1
    tops, height_db = _tops(level_db[rows], window)
    dips, depth_db = _tops(-level_db[rows], window)
    at_octaves = np.log2(frequency_hz[rows[np.concatenate([tops, dips])]])
    size_db = np.concatenate([height_db, depth_db])
    for top, own_db in zip(tops, height_db, strict=True):
        row = rows[top]
        others = size_db[np.abs(at_octaves - np.log2(frequency_hz[row])) > APART_OCTAVES]
        if others.size < LEAST_OTHERS:
            continue
        prominence_db[row] = own_db
        times[row] = own_db / max(float(np.percentile(others, SHARE_BELOW)), LEAST_OTHERS_DB)
    return prominence_db, times


def _tops(values: FloatArray, window: int) -> tuple[npt.NDArray[np.int64], FloatArray]:
    tops, found = scipy.signal.find_peaks(values, prominence=0.0, wlen=window)
    return tops, np.asarray(found["prominences"])
