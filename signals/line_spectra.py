"""How the level of a multitone's lines goes with frequency."""

from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from signals.errors import SignalError
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]
LineSpectrum = Literal["pink", "flat", "red", "programme"]

PROGRAMME_DB: dict[float, float] = {
    20.0: -13.5,
    25.0: -10.2,
    31.5: -7.4,
    40.0: -5.2,
    50.0: -3.3,
    63.0: -2.0,
    80.0: -1.1,
    100.0: -0.6,
    125.0: -0.2,
    160.0: -0.1,
    200.0: 0.0,
    250.0: 0.0,
    315.0: 0.0,
    400.0: 0.0,
    500.0: 0.0,
    630.0: 0.0,
    800.0: 0.0,
    1000.0: -0.1,
    1250.0: -0.3,
    1600.0: -0.6,
    2000.0: -1.0,
    2500.0: -1.6,
    3150.0: -2.5,
    4000.0: -3.7,
    5000.0: -5.1,
    6300.0: -7.0,
    8000.0: -9.0,
    10000.0: -11.4,
    12500.0: -13.9,
    16000.0: -16.5,
    20000.0: -19.0,
}
"""Level per third octave of the simulated programme signal of IEC 60268-1, dB re its plateau, by nominal midband in Hz.

Written down from memory, not from the text of the standard: within some tenths of a decibel below 10 kHz, and above
that perhaps 1 dB.
"""

_SLOPES: dict[str, float] = {"pink": 0.0, "flat": 0.5, "red": -0.5}
"""Exponent of a line's amplitude over frequency, for lines on a logarithmic grid."""


def line_amplitudes(frequency_hz: npt.ArrayLike, spectrum: LineSpectrum) -> FloatArray:
    """Amplitude of lines on a logarithmic grid, `(lines,)`, up to a common factor (r.m.s. 1 a line).

    "pink": equal level a line, which on this grid is equal power per octave; "flat": equal power per hertz, the level
    of a line rising 3 dB an octave; "red": falling 3 dB an octave; "programme": PROGRAMME_DB, interpolated over log
    frequency. Raises SignalError for any other name.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if spectrum not in get_args(LineSpectrum):
        raise SignalError(f"spectrum must be one of {', '.join(get_args(LineSpectrum))}, not {spectrum!r:.80}")
    if spectrum == "programme":
        levels_db = np.interp(np.log(frequency), np.log(list(PROGRAMME_DB)), list(PROGRAMME_DB.values()))
        shape = db_to_amplitude(levels_db)
    else:
        shape = np.asarray((frequency / 1000.0) ** _SLOPES[spectrum])
    return np.asarray(shape / np.sqrt(np.mean(np.square(shape))))
