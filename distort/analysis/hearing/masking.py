"""The ear as tables and published formulas: critical bands, threshold of hearing, and how far a sound masks another.

critical-band rate  z = 26.81 f / (1960 + f) - 0.53 Bark; below 2 Bark + 0.15 (2 - z), above 20.1 + 0.22 (z - 20.1)
                    (Traunmueller, J. Acoust. Soc. Am. 88, 1990)
critical bandwidth  25 + 75 (1 + 1.4 (f / kHz)^2)^0.69 Hz (Zwicker and Terhardt, J. Acoust. Soc. Am. 68, 1980)
Terhardt 1979       a tone of L dB SPL at f: its masking pattern falls by 27 dB a Bark towards lower frequencies, and
                    towards higher ones by 24 + 0.23 kHz / f - 0.2 L dB a Bark (Hear. Res. 1)
Schroeder 1979      15.81 + 7.5 (dz + 0.474) - 17.5 sqrt(1 + (dz + 0.474)^2) dB, dz in Bark above the masker, at any
                    level; masked is what lies 15.5 + z dB below it (Schroeder, Atal and Hall, J. Acoust. Soc. Am. 66;
                    the 15.5 + z dB from memory)
"""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.log_frequency import over_log_frequency

FloatArray = npt.NDArray[np.float64]

THRESHOLD_DB_SPL: dict[float, float] = {
    20.0: 78.5,
    25.0: 68.7,
    31.5: 59.5,
    40.0: 51.1,
    50.0: 44.0,
    63.0: 37.5,
    80.0: 31.5,
    100.0: 26.5,
    125.0: 22.1,
    160.0: 17.9,
    200.0: 14.4,
    250.0: 11.4,
    315.0: 8.6,
    400.0: 6.2,
    500.0: 4.4,
    630.0: 3.0,
    800.0: 2.2,
    1000.0: 2.4,
    1250.0: 3.5,
    1600.0: 1.7,
    2000.0: -1.3,
    2500.0: -4.2,
    3150.0: -6.0,
    4000.0: -5.4,
    5000.0: -1.5,
    6300.0: 6.0,
    8000.0: 12.6,
    10000.0: 13.9,
    12500.0: 12.3,
    14000.0: 18.4,
    16000.0: 40.2,
}
"""Tones from in front in a free field, both ears: ISO 226:2003, table 1 (T_f), up to 12.5 kHz; ISO 389-7:2005 above
(from memory)."""

LOWER_SLOPE_DB_A_BARK = 27.0
LEAST_SLOPE_DB_A_BARK = 2.0
"""Terhardt's upper slope would turn upwards beyond 120 dB; it was found up to about 100 dB."""

NOISE_MASKING_DB = 4.0
"""A tone is heard from this far below the noise in its critical band: 2 to 6 dB from low to high frequencies (Zwicker
and Fastl, Psychoacoustics; from memory)."""


def bark(frequency_hz: npt.ArrayLike) -> FloatArray:
    """Critical-band rate of frequencies in Hz, same shape."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    z = 26.81 * frequency / (1960.0 + frequency) - 0.53
    return np.asarray(np.where(z < 2.0, z + 0.15 * (2.0 - z), np.where(z > 20.1, z + 0.22 * (z - 20.1), z)))


def critical_bandwidth_hz(frequency_hz: npt.ArrayLike) -> FloatArray:
    """Width of the critical band about frequencies in Hz, same shape."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(25.0 + 75.0 * (1.0 + 1.4 * np.square(frequency / 1000.0)) ** 0.69)


def threshold_of_hearing_db_spl(frequency_hz: npt.ArrayLike) -> FloatArray:
    """Threshold of hearing in dB SPL, same shape: straight over log frequency between the values of the table.

    NaN below 20 Hz and above 16 kHz, where the table ends.
    """
    table_hz = np.array(list(THRESHOLD_DB_SPL))
    values = np.array(list(THRESHOLD_DB_SPL.values()))
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    inside = (frequency >= table_hz[0] * (1.0 - 3e-3)) & (frequency <= table_hz[-1])  # 19.953 Hz is called 20
    safe = np.where(inside, frequency, table_hz[0])
    return np.where(inside, over_log_frequency(safe, table_hz, values), np.nan)


def masked_by_terhardt_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """Level in dB SPL below which a sound at `at_hz` is masked by a tone; all broadcast together."""
    above = bark(at_hz) - bark(masker_hz)
    upper = np.maximum(24.0 + 230.0 / masker_hz - 0.2 * masker_db_spl, LEAST_SLOPE_DB_A_BARK)
    return np.asarray(masker_db_spl - np.where(above > 0, upper * above, -LOWER_SLOPE_DB_A_BARK * above))


def schroeder_spread_db(above_bark: FloatArray) -> FloatArray:
    """Schroeder's spreading function, dB re the masker, at distances in Bark above it."""
    shifted = above_bark + 0.474
    return np.asarray(15.81 + 7.5 * shifted - 17.5 * np.sqrt(1.0 + np.square(shifted)))


def masked_by_schroeder_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """As `masked_by_terhardt_db`, by Schroeder's function and the threshold of noise in a tone."""
    spread = schroeder_spread_db(bark(at_hz) - bark(masker_hz))
    return np.asarray(masker_db_spl + spread - (15.5 + bark(at_hz)))
