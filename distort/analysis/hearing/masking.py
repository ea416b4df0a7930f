"""The ear as tables and published formulas: critical bands, threshold of hearing, and how far a sound masks another.

critical-band rate  z = 26.81 f / (1960 + f) - 0.53 Bark; below 2 Bark + 0.15 (2 - z), above 20.1 + 0.22 (z - 20.1)
                    (Traunmueller, J. Acoust. Soc. Am. 88, 1990)
critical bandwidth  25 + 75 (1 + 1.4 (f / kHz)^2)^0.69 Hz (Zwicker and Terhardt, J. Acoust. Soc. Am. 68, 1980)
auditory filter     W = (1 + p g) e^(-p g), g = |f - fc| / fc; p = 4 fc / ERB, ERB = 24.7 (4.37 fc / kHz + 1) Hz. For
                    tones below fc, those that mask upwards, it widens with their level L: p (1 - 0.35 (L - 51) / p(1
                    kHz))
                    (Glasberg and Moore, Hear. Res. 47, 1990; 0.35 by Moore, Glasberg and Baer, J. Audio Eng. Soc. 45,
                    1997; all from memory). What a filter lets pass of the maskers is their excitation at its middle
Johnston 1988       masked is what lies 14.5 + z dB below the excitation of a tone, 5.5 dB below that of noise or of
                    what is as dense (IEEE J. Sel. Areas Commun. 6; from memory)
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

WIDENING_PER_DB = 0.35
UNCHANGED_DB_SPL = 51.0
LOUDEST_DB_SPL = 110.0
"""Filters were measured up to less than this; with louder tones they are held as wide as with this."""

DENSE_OFFSET_DB = 5.5
"""So far below the excitation of noise, or of tones as dense, lies what it masks (Johnston 1988; from memory)."""

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


def erb_hz(frequency_hz: npt.ArrayLike) -> FloatArray:
    """Equivalent rectangular bandwidth of the auditory filter at frequencies in Hz, same shape."""
    return np.asarray(24.7 * (4.37e-3 * np.asarray(frequency_hz, dtype=np.float64) + 1.0))


def excitation_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """Level in dB SPL that the auditory filter at `at_hz` lets pass of a tone; all broadcast together."""
    sharpness = 4.0 * at_hz / erb_hz(at_hz)
    beyond_db = np.minimum(masker_db_spl, LOUDEST_DB_SPL) - UNCHANGED_DB_SPL
    widened = sharpness * (1.0 - WIDENING_PER_DB * beyond_db / (4000.0 / erb_hz(1000.0)))
    reach = np.where(masker_hz < at_hz, widened, sharpness) * np.abs(masker_hz - at_hz) / at_hz
    return np.asarray(masker_db_spl + 10.0 * (np.log10(1.0 + reach) - reach / np.log(10.0)))


def excitation_of_unknown_level_db(masker_hz: FloatArray, masker_db: FloatArray, at_hz: FloatArray) -> FloatArray:
    """As `excitation_db`, in dB re anything, of filters that no level widens: where nobody knows the sound pressure."""
    at_rest = np.full(np.shape(masker_db), UNCHANGED_DB_SPL)
    return np.asarray(masker_db + excitation_db(masker_hz, at_rest, at_hz) - at_rest)


def masked_by_excitation_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """Level in dB SPL below which a sound at `at_hz` is masked by a tone; all broadcast together."""
    return np.asarray(excitation_db(masker_hz, masker_db_spl, at_hz) - (14.5 + bark(at_hz)))


def schroeder_spread_db(above_bark: FloatArray) -> FloatArray:
    """Schroeder's spreading function, dB re the masker, at distances in Bark above it."""
    shifted = above_bark + 0.474
    return np.asarray(15.81 + 7.5 * shifted - 17.5 * np.sqrt(1.0 + np.square(shifted)))


def spread_by_schroeder_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """As `excitation_db`, by Schroeder's function, the same at any level."""
    return np.asarray(masker_db_spl + schroeder_spread_db(bark(at_hz) - bark(masker_hz)))


def masked_by_schroeder_db(masker_hz: FloatArray, masker_db_spl: FloatArray, at_hz: FloatArray) -> FloatArray:
    """As `masked_by_excitation_db`, by Schroeder's function and the threshold of noise in a tone."""
    return np.asarray(spread_by_schroeder_db(masker_hz, masker_db_spl, at_hz) - (15.5 + bark(at_hz)))
