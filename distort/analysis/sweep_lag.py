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
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from distort.analysis.compression_curves import LevelChange

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

ACCEPTED_LAG_DB = 0.1

MOST_MOVED = 0.25
"""The largest d that is looked for, in nepers of frequency (a third of an octave): 0.36 s in the default sweep."""

MOVES = 101
"""How many values of d are tried either way; 0.0025 apart, a tenth of the distance between two rows."""

ROWS_ABOUT = 4
"""d is common to so many rows on either side, a third of an octave in all."""


@dataclass(frozen=True, kw_only=True)
class SweepLag:
    """The largest lag among some rows at one level."""

    level_db_spl: float
    frequency_hz: float
    """Where it is."""
    lag_db: float
    """What the sweep's speed adds to the change there; its sign is that of the error."""
    bias_db: float
    """The plain difference of the two sweeps there."""
    uncertainty_db: float
    needed_s: float
    """Length of a sweep of the same range that would bring it under 0.1 dB, full seconds; that of the sweep itself
    where it already is."""
    certain: bool
    """Whether it is larger than noise explains."""


def stated_lag_db(frequency_hz: FloatArray, change: LevelChange) -> FloatArray:
    """What the sweep's speed adds to `change.change_db`, dB, `(rows,)`; NaN without a short sweep.

    The bias itself where it may be noise, else as the module says.
    """
    known = np.isfinite(change.change_db) & np.isfinite(change.bias_db)
    found = np.full(frequency_hz.size, np.nan)
    if not np.any(known):
        return found
    axis, long_db, bias_db = np.log(frequency_hz[known]), change.change_db[known], change.bias_db[known]
    moves = np.linspace(-MOST_MOVED, MOST_MOVED, 2 * MOVES - 1)
    moves = moves[np.argsort(np.abs(moves), kind="stable")]  # of equally good ones the smallest is taken
    misfit = np.array([np.square(np.interp(axis - move, axis, long_db) - long_db - bias_db) for move in moves])
    about = scipy.ndimage.uniform_filter1d(misfit, 2 * ROWS_ABOUT + 1, axis=1, mode="nearest")
    moved = moves[np.argmin(about, axis=0)]
    by_moving = long_db - np.interp(axis + moved, axis, long_db)
    found[known] = np.where(_certain(change)[known], by_moving, bias_db)
    return found


def _certain(change: LevelChange) -> BoolArray:
    """Rows whose bias is larger than noise explains; nowhere, where noise is not known."""
    return np.asarray(np.abs(change.bias_db) > np.nan_to_num(change.bias_uncertainty_db, nan=np.inf))


def sweep_lag(frequency_hz: FloatArray, change: LevelChange, *, rows: BoolArray, duration_s: float) -> SweepLag | None:
    """The largest lag of one level among `rows` `(rows,)`; None where the short sweep is missing.

    Rows whose bias is certain go before those where it may be noise. `duration_s` is the length of the long sweep. The
    length needed is that for the largest bias among the same rows, which errs on the long side.
    """
    lag = stated_lag_db(frequency_hz, change)
    counts = rows & np.isfinite(lag)
    if not np.any(counts):
        return None
    certain = counts & _certain(change)
    looked_at = certain if np.any(certain) else counts
    row = int(np.argmax(np.where(looked_at, np.abs(lag), -1.0)))
    most_db = float(np.max(np.abs(np.where(looked_at, change.bias_db, 0.0))))
    return SweepLag(
        level_db_spl=change.level_db_spl,
        frequency_hz=float(frequency_hz[row]),
        lag_db=float(lag[row]),
        bias_db=float(change.bias_db[row]),
        uncertainty_db=float(change.bias_uncertainty_db[row]),
        needed_s=needed_seconds(most_db, duration_s=duration_s),
        certain=bool(certain[row]),
    )


def needed_seconds(lag_db: float, *, duration_s: float) -> float:
    """Length of sweep that leaves at most 0.1 dB of a lag of `lag_db` at `duration_s`, rounded up to full seconds."""
    if abs(lag_db) <= ACCEPTED_LAG_DB:
        return duration_s
    return float(math.ceil(duration_s * abs(lag_db) / ACCEPTED_LAG_DB))


def sweep_lags(
    frequency_hz: FloatArray, levels: Sequence[LevelChange], *, lowest_valid_hz: float, duration_s: float
) -> tuple[SweepLag, ...]:
    """The largest lag of every level above the reference, from `lowest_valid_hz` up; empty without short sweeps."""
    rows = frequency_hz >= lowest_valid_hz
    found = (sweep_lag(frequency_hz, level, rows=rows, duration_s=duration_s) for level in levels[1:])
    return tuple(one for one in found if one is not None)
