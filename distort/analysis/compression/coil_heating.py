"""How warm a voice coil would have to be to explain a compression: copper gains resistance, and draws less current.

    change = -20 log10( (R_coil(T) + R_other) / (R_coil(T0) + R_other) ),   R_coil(T) = R20 (1 + alpha (T - 20 degC))

with alpha = 0.393 % per kelvin for copper at 20 degC. It holds for a loudspeaker on a voltage source (an ordinary
amplifier), where the coil's resistance is most of the impedance, and for compression that is heating alone. Near the
resonance, where the moving parts decide the impedance, and where inductance does, the same rise compresses less, so the
formula states too small a rise there. Compression of other origin (a limiter, the suspension, the port) makes it state
one that never was. Common practice, no source.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

COPPER_PER_K = 0.00393
"""Relative rise of copper's resistance per kelvin, re 20 degC."""

REFERENCE_C = 20.0


def coil_change_db(rise_k: npt.ArrayLike, *, other_share: float = 0.0, start_c: float = REFERENCE_C) -> FloatArray:
    """Change in dB (negative: compression) when the coil warms by `rise_k` kelvin, elementwise.

    other_share   series resistance that stays cold (crossover, cable, amplifier) as a share of the coil's at 20 degC
    start_c       temperature of the coil before, degC

    Raises ValueError for a negative share, or a temperature at which the copper law gives no resistance.
    """
    before, after = _resistance(0.0, start_c), _resistance(rise_k, start_c)
    _require(other_share, before, after)
    return np.asarray(-20.0 * np.log10((after + other_share) / (before + other_share)))


def coil_rise_k(change_db: npt.ArrayLike, *, other_share: float = 0.0, start_c: float = REFERENCE_C) -> FloatArray:
    """Rise in kelvin that would explain `change_db` (negative: compression) by heating alone, elementwise.

    The inverse of `coil_change_db`; NaN where the output gained, which no warming explains. An estimate: see the
    module for where it holds. Raises ValueError as `coil_change_db` does.
    """
    change = np.asarray(change_db, dtype=np.float64)
    before = _resistance(0.0, start_c)
    _require(other_share, before, before)
    rise_k = (10.0 ** (-change / 20.0) - 1.0) * (before + other_share) / COPPER_PER_K
    return np.where(change <= 0.0, rise_k, np.nan)


def _resistance(rise_k: npt.ArrayLike, start_c: float) -> FloatArray:
    """Re that at 20 degC."""
    rise = np.asarray(rise_k, dtype=np.float64)
    return np.asarray(1.0 + COPPER_PER_K * (start_c + rise - REFERENCE_C))


def _require(other_share: float, before: FloatArray, after: FloatArray) -> None:
    """Raises ValueError as `coil_change_db` says."""
    if not other_share >= 0.0:
        raise ValueError(f"other_share must be 0 or more, not {other_share}")
    if np.any(before <= 0.0) or np.any(after <= 0.0):
        raise ValueError("the copper law holds from about -200 degC up: give temperatures in degC and rises in kelvin")
