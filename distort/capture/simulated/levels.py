"""Sound pressure levels in pascals."""

import math

REFERENCE_PA = 20e-6
"""0 dB SPL (ISO 1683, from memory)."""


def rms_pa(level_db_spl: float) -> float:
    """r.m.s. sound pressure of `level_db_spl`, Pa."""
    return float(REFERENCE_PA * 10.0 ** (level_db_spl / 20.0))


def full_scale_pa(level_db_spl: float) -> float:
    """Peak of a sine of `level_db_spl`, Pa."""
    return math.sqrt(2.0) * rms_pa(level_db_spl)
