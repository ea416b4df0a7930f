"""Octave bands (exact mid-bands of IEC 61260-1, base ten): output against drive, and distortion, per band and level.

A band's output is the power mean over its rows; its change is the change of that mean, which is each row's change
weighted by the row's power at the reference level. The same rows count at every level.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.grid import band_edges_hz, midbands_hz
from distort.analysis.compression.curves import Compression, InputOutput, OctaveLevels
from distort.errors import AnalysisError
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_SHARE = 0.5
"""A band of which less than half can be read at all levels is left out: it would speak for a part of itself."""


def octave_rows(frequency_hz: FloatArray, readable: BoolArray) -> tuple[FloatArray, list[BoolArray]]:
    """Mid-bands of the octaves that can be read, `(bands,)`, and which rows belong to each.

    frequency_hz   `(rows,)`, ascending and about evenly spaced in octaves
    readable       `(rows,)`: which rows have a reading at every level
    """
    all_bands = midbands_hz(bands_per_octave=1)
    low_hz, high_hz = band_edges_hz(all_bands, bands_per_octave=1)
    per_octave = (frequency_hz.size - 1) / np.log2(frequency_hz[-1] / frequency_hz[0])
    midbands, rows = [], []
    for midband, low, high in zip(all_bands, low_hz, high_hz, strict=True):
        within = readable & (frequency_hz >= low) & (frequency_hz < high)
        if np.sum(within) >= max(LEAST_SHARE * per_octave, 1.0):
            midbands.append(midband)
            rows.append(within)
    return np.asarray(midbands), rows


def input_output(found: Compression, *, lowest_valid_hz: float) -> InputOutput:
    """Output and change of every octave band at every level.

    lowest_valid_hz   rows below it are left out (2.5 times the start of a sweep; the lowest line of a multitone)

    Raises AnalysisError when no octave can be read at every level.
    """
    readable = np.all([np.isfinite(level.change_db) for level in found.levels], axis=0)
    midbands, rows = octave_rows(found.frequency_hz, readable & (found.frequency_hz >= lowest_valid_hz))
    if not rows:
        raise AnalysisError("no octave band has readings at every level, so there are no input-output curves")
    return InputOutput(
        level_db_spl=np.array([level.level_db_spl for level in found.levels]),
        drive_dbfs=np.array([level.drive_dbfs for level in found.levels]),
        octaves=tuple(_octave(found, float(midband), row) for midband, row in zip(midbands, rows, strict=True)),
    )


def _octave(found: Compression, midband_hz: float, row: BoolArray) -> OctaveLevels:
    """The octave of the rows `row`, which count by the power of the reference there."""
    weights = db_to_power(found.levels[0].output_db[row])

    def mean_change_db(values_db: FloatArray) -> float:
        return float(power_to_db(np.sum(weights * db_to_power(values_db[row])) / np.sum(weights)))

    def mean_db(values_db: FloatArray) -> float:
        return float(np.sum(weights * values_db[row]) / np.sum(weights))

    levels = found.levels
    return OctaveLevels(
        midband_hz=midband_hz,
        output_db=_known(float(power_to_db(np.mean(db_to_power(level.output_db[row])))) for level in levels),
        change_db=_known(mean_change_db(level.change_db) for level in levels),
        uncertainty_db=_known(mean_db(level.uncertainty_db) for level in levels),
        corrected_db=_known(mean_change_db(level.corrected_db) for level in levels),
        corrected_uncertainty_db=_known(mean_db(level.corrected_uncertainty_db) for level in levels),
        bias_db=_known(
            mean_change_db(level.change_db + level.bias_db) - mean_change_db(level.change_db) for level in levels
        ),
        heating_db=_number(mean_change_db(found.heating_db)),
        heating_uncertainty_db=_number(mean_db(found.heating_uncertainty_db)),
        drift_db=_number(mean_change_db(found.drift_db)),
        drift_uncertainty_db=_number(mean_db(found.drift_uncertainty_db)),
    )


def _known(values: Iterable[float]) -> tuple[float | None, ...]:
    return tuple(map(_number, values))


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def octave_distortion(harmonics: Sequence[Harmonics], midband_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Total harmonic distortion re the fundamental per octave of excitation, and its noise floor, both in dB.

    harmonics    one a level
    midband_hz   `(bands,)`

    Powers are summed over the band and then divided: `(levels, bands)` each. NaN where no order could be separated, or
    no noise was recorded.
    """
    low_hz, high_hz = band_edges_hz(midband_hz, bands_per_octave=1)
    thd_db = np.full((len(harmonics), midband_hz.size), np.nan)
    noise_db = np.full_like(thd_db, np.nan)
    for level, one in enumerate(harmonics):
        power = db_to_power(one.fundamental_db)
        noise = db_to_power(one.thd_noise_db)
        for band, (low, high) in enumerate(zip(low_hz, high_hz, strict=True)):
            row = (one.frequency_hz >= low) & (one.frequency_hz < high) & np.isfinite(one.thd_db + one.fundamental_db)
            if np.any(row):
                total = np.sum(power[row])
                thd_db[level, band] = power_to_db(np.sum(power[row] * db_to_power(one.thd_db[row])) / total)
                noise_db[level, band] = power_to_db(np.sum(power[row] * noise[row]) / total)
    return thd_db, noise_db
