"""Decibels, digital level (AES17), sound pressure level and distance.

Digital level follows AES17: a sine whose peaks just reach full scale has 0 dBFS, so a level in dBFS is
`20 log10(r.m.s. / sqrt(1/2))`. Sound pressure level is re 20 uPa.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

FULL_SCALE_SINE_RMS = float(np.sqrt(0.5))
"""r.m.s. of a sine that just reaches digital full scale: 0 dBFS (AES17)."""

NOTHING_DB = -300.0
"""What stands for the level of nothing at all: below every number that double precision can mean."""


def amplitude_to_db(amplitude: npt.ArrayLike) -> FloatArray:
    """`20 log10 |amplitude|`, elementwise; zero gives `NOTHING_DB`, not minus infinity."""
    return power_to_db(np.square(np.abs(np.asarray(amplitude))))


def power_to_db(power: npt.ArrayLike) -> FloatArray:
    """`10 log10(power)`, elementwise; zero gives `NOTHING_DB`, and NaN stays NaN.

    Powers are ratios (dimensionless), never negative.
    """
    floor = 10.0 ** (NOTHING_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), floor)))


def db_to_amplitude(level_db: npt.ArrayLike) -> FloatArray:
    """`10^(level_db / 20)`, elementwise."""
    return np.asarray(10.0 ** (np.asarray(level_db, dtype=np.float64) / 20.0))


def db_to_power(level_db: npt.ArrayLike) -> FloatArray:
    """`10^(level_db / 10)`, elementwise."""
    return np.asarray(10.0 ** (np.asarray(level_db, dtype=np.float64) / 10.0))


def rms_dbfs(samples: npt.ArrayLike) -> float:
    """Level of `samples` (any shape, digital full scale = 1) in dBFS as AES17 states it.

    A full-scale sine reads 0 dBFS, a full-scale square wave +3.01 dBFS. Nothing at all reads `NOTHING_DB`.
    """
    values = np.asarray(samples, dtype=np.float64)
    if values.size == 0:
        return NOTHING_DB
    return float(power_to_db(np.mean(np.square(values)) / FULL_SCALE_SINE_RMS**2))


def spl_of_full_scale(*, calibrator_dbfs: float, calibrator_db_spl: float) -> float:
    """SPL in dB that a recording at 0 dBFS stands for, from a calibrator of known SPL that read `calibrator_dbfs`."""
    return calibrator_db_spl - calibrator_dbfs


def distance_gain_db(distance_m: float) -> float:
    """dB to add to an SPL measured at `distance_m` to state it at 1 m: `20 log10(distance_m)`.

    Holds in the far field of a source that radiates freely; under 0.5 m, and at low frequencies in rooms, it does not.
    Raises ValueError when the distance is not a positive number.
    """
    if not (np.isfinite(distance_m) and distance_m > 0):
        raise ValueError(f"distance_m must be above 0, not {distance_m}")
    return float(20.0 * np.log10(distance_m))
