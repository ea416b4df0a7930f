"""How numbers are written for people: few digits, the same everywhere."""

import math

OCTAVE_HZ = tuple(1000.0 * 10.0 ** (0.3 * index) for index in range(-5, 5))
"""Exact octave midbands, base ten, 31.6 Hz to 15.8 kHz (IEC 61260-1)."""

OCTAVE_NAMES = ("31.5", "63", "125", "250", "500", "1k", "2k", "4k", "8k", "16k")
"""Their nominal names (IEC 61260-1; preferred frequencies of ISO 266)."""

NOT_MEASURABLE = "-"


def decibels(value_db: float) -> str:
    """At most five characters: one decimal, none from -100 down; "-" where there is no value."""
    if math.isnan(value_db):
        return NOT_MEASURABLE
    text = f"{value_db:.1f}"
    return text if len(text) <= 5 else f"{value_db:.0f}"


def percent(value: float) -> str:
    """At most five characters, three digits of which count; "-" where there is no value."""
    if math.isnan(value):
        return NOT_MEASURABLE
    if value < 0.0005:
        return f"{value:.0e}".replace("e-0", "e-") if value > 0 else "0"
    for limit, decimals in ((0.9995, 3), (9.995, 2), (99.95, 1)):
        if value < limit:
            return f"{value:.{decimals}f}"
    return f"{value:.0f}"


def hertz(frequency_hz: float) -> str:
    """Three digits that count, with k for a thousand: 31.6, 125, 1.06k, 12.6k."""
    if frequency_hz < 999.5:
        return f"{frequency_hz:.3g}"
    return f"{frequency_hz / 1000.0:.3g}k"


def level_name(level_db: float) -> str:
    """A nominal level as file names and tables write it: 86 or 91.5."""
    return f"{level_db:g}"
