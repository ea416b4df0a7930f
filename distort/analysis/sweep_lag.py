"""A sweep lags a dynamic limiter: the gain it meets is that of a moment, and a frequency, ago.

    error = tau S / L

tau is the limiter's effective time constant, S the slope of the change in dB per neper of frequency, L the seconds in
which the sweep's frequency grows e-fold. The error falls as 1/T, so the sweep of half the length shows it: its bias,
change(T/2) - change(T), is the error at T, and `T |bias| / 0.1 dB` the length that leaves 0.1 dB of it. tau itself
cannot be known from one sweep.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.compression_curves import LevelChange

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

ACCEPTED_LAG_DB = 0.1


@dataclass(frozen=True, kw_only=True)
class SweepLag:
    """The largest lag among some rows at one level."""

    level_db_spl: float
    frequency_hz: float
    """Where it is."""
    lag_db: float
    """What the sweep's speed adds to the change there; its sign is that of the error."""
    uncertainty_db: float
    needed_s: float
    """Length of a sweep of the same range that would bring it under 0.1 dB, full seconds; that of the sweep itself
    where it already is."""
    certain: bool
    """Whether it is larger than noise explains."""


def sweep_lag(frequency_hz: FloatArray, change: LevelChange, *, rows: BoolArray, duration_s: float) -> SweepLag | None:
    """The largest lag of one level among `rows` `(rows,)`; None where the short sweep is missing.

    Rows whose bias is certain go before those where it may be noise. `duration_s` is the length of the long sweep.
    """
    bias = np.where(rows, np.abs(change.bias_db), np.nan)
    if not np.any(np.isfinite(bias)):
        return None
    certain = bias > np.nan_to_num(change.bias_uncertainty_db, nan=np.inf)
    row = int(np.nanargmax(np.where(certain, bias, np.nan) if np.any(certain) else bias))
    return SweepLag(
        level_db_spl=change.level_db_spl,
        frequency_hz=float(frequency_hz[row]),
        lag_db=float(change.bias_db[row]),
        uncertainty_db=float(change.bias_uncertainty_db[row]),
        needed_s=needed_seconds(float(change.bias_db[row]), duration_s=duration_s),
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
