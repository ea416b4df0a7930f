"""A sweep lags a dynamic limiter: the gain it meets is that of a moment, and a frequency, ago.

    error = tau S / L

tau is the limiter's effective time constant, S the slope of the change in dB per neper of frequency, L the seconds in
which the sweep's frequency grows e-fold. The error falls as 1/T, so the sweep of half the length shows it: its bias,
change(T/2) - change(T), is the error at T, and `T |bias| / 0.1 dB` the length that leaves 0.1 dB of it. tau itself
cannot be known from one sweep.

Where the change bends sharply (a limiter lets go) the bias overstates the error, because it takes the curve for a
straight line. What lags is not the level but the frequency: change(T) is the steady change moved up by d = tau / L on
the axis of ln f, change(T/2) by 2 d. So d is found where moving change(T) by it gives change(T/2), about each row, and
the lag is change(T) less itself moved back by d. Tried on limiters of 2/30, 5/100 and 20/300 ms, 3 and 9 dB over their
thresholds, it is at most 0.6 times as wrong as the plain bias wherever that is wrong by 0.1 dB; on straight slopes both
agree.

Where no such d explains the bias, the two sweeps differ for another reason: the shorter one heats the coil less, or
something drifted between them. No longer sweep mends that; it is stated apart.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.compression.curves import AnalysedChange

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

ACCEPTED_LAG_DB = 0.1

MOST_MOVED = 0.25
"""The largest d that is looked for, in nepers of frequency (0.36 octaves): tau = 0.33 s in the default sweep."""

MOVES = 251
"""How many values of d are tried; 0.001 apart, of which 10 dB per neper make 0.01 dB."""

ROWS_ABOUT = 4
"""d is common to so many rows on either side, a third of an octave in all."""

EXPLAINED = 0.25
"""A bias is a lag where moving leaves at most this share of its power. Through limiters alone nothing changes from 0.2
to 0.5; at 0.1 the bend where they let go is missed."""


@dataclass(frozen=True, kw_only=True)
class BiasParts:
    """What the bias of a level is made of, `(rows,)` each; NaN without a short sweep."""

    lag_db: FloatArray
    """What the sweep's speed adds to the change, its sign that of the error; 0 where `is_lag` does not hold."""
    other_db: FloatArray
    """The bias where it is certain and not a lag, else 0: more heat in the longer sweep, or drift between the two."""
    is_lag: BoolArray
    """Rows where the bias is larger than noise explains, and moving explains it."""


@dataclass(frozen=True, kw_only=True)
class SweepLag:
    """What one level's short sweep says about the long one, at the worst of some rows."""

    level_db_spl: float
    frequency_hz: float | None
    """Where the lag is largest; None where there is none."""
    lag_db: float
    """The lag there; 0 where there is none."""
    uncertainty_db: float
    """Of the lag, from noise; of the bias in general where there is none."""
    needed_s: float
    """Length of a sweep of the same range that would bring the lag under 0.1 dB, in full seconds; that of the sweep
    itself where it already is."""
    other_hz: float | None
    """Where the bias is largest that is not a lag; None where there is none."""
    other_db: float


def bias_parts(frequency_hz: FloatArray, change: AnalysedChange) -> BiasParts:
    """Tell the lag of a sweep through a limiter from other reasons why the short sweep reads differently.

    On a straight slope the two cannot be told apart, and a lag is assumed.
    """
    known = np.isfinite(change.change_db) & np.isfinite(change.bias_db)
    nothing = np.where(known, 0.0, np.nan)
    if not np.any(known):
        return BiasParts(lag_db=nothing, other_db=nothing, is_lag=known)
    axis, long_db, bias_db = np.log(frequency_hz[known]), change.change_db[known], change.bias_db[known]
    moves = np.linspace(0.0, MOST_MOVED, MOVES)
    misfit = np.array([np.square(np.interp(axis - move, axis, long_db) - long_db - bias_db) for move in moves])
    about = scipy.ndimage.uniform_filter1d(misfit, 2 * ROWS_ABOUT + 1, axis=1, mode="nearest")
    best = np.argmin(about, axis=0)
    explained = (best < MOVES - 1) & (np.min(about, axis=0) <= EXPLAINED * about[0])
    certain = np.abs(bias_db) > np.nan_to_num(change.bias_uncertainty_db[known], nan=np.inf)
    by_moving = long_db - np.interp(axis + moves[best], axis, long_db)
    lag_db, other_db, is_lag = nothing.copy(), nothing.copy(), known.copy()
    is_lag[known] = certain & explained
    lag_db[known] = np.where(certain & explained, by_moving, 0.0)
    other_db[known] = np.where(certain & ~explained, bias_db, 0.0)
    return BiasParts(lag_db=lag_db, other_db=other_db, is_lag=is_lag)


def sweep_lag(
    frequency_hz: FloatArray, change: AnalysedChange, *, rows: BoolArray, duration_s: float
) -> SweepLag | None:
    """The largest lag of one level among `rows` `(rows,)`; None where the short sweep or any noise reading is missing.

    `duration_s` is the length of the long sweep. The length needed is that for the largest bias among the rows where it
    is a lag, which errs on the long side.
    """
    parts = bias_parts(frequency_hz, change)
    counts = rows & np.isfinite(parts.lag_db) & np.isfinite(change.bias_uncertainty_db)
    if not np.any(counts):
        return None
    lag, other = (np.where(counts, np.abs(part), 0.0) for part in (parts.lag_db, parts.other_db))
    row, other_row = int(np.argmax(lag)), int(np.argmax(other))
    unsure_db = change.bias_uncertainty_db
    most_db = float(np.max(np.abs(np.where(counts & parts.is_lag, change.bias_db, 0.0))))
    return SweepLag(
        level_db_spl=change.level_db_spl,
        frequency_hz=float(frequency_hz[row]) if lag[row] > 0 else None,
        lag_db=float(parts.lag_db[row]) if lag[row] > 0 else 0.0,
        uncertainty_db=float(unsure_db[row] if lag[row] > 0 else np.median(unsure_db[counts])),
        needed_s=needed_seconds(most_db, duration_s=duration_s),
        other_hz=float(frequency_hz[other_row]) if other[other_row] > 0 else None,
        other_db=float(parts.other_db[other_row]) if other[other_row] > 0 else 0.0,
    )


def needed_seconds(lag_db: float, *, duration_s: float) -> float:
    """Length of sweep that leaves at most 0.1 dB of a lag of `lag_db` at `duration_s`, rounded up to full seconds."""
    if abs(lag_db) <= ACCEPTED_LAG_DB:
        return duration_s
    return float(math.ceil(duration_s * abs(lag_db) / ACCEPTED_LAG_DB))


def sweep_lags(
    frequency_hz: FloatArray, levels: Sequence[AnalysedChange], *, lowest_valid_hz: float, duration_s: float
) -> tuple[SweepLag, ...]:
    """The largest lag of every level above the reference, from `lowest_valid_hz` up; empty without short sweeps."""
    rows = frequency_hz >= lowest_valid_hz
    found = (sweep_lag(frequency_hz, level, rows=rows, duration_s=duration_s) for level in levels[1:])
    return tuple(one for one in found if one is not None)
