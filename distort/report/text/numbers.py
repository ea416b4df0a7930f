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
    text = f"{value_db:z.1f}"  # nothing is never "-0.0"
    return text if len(text) <= 5 else f"{value_db:.0f}"


def whole_decibels(value_db: float) -> str:
    """At most four characters, no decimal: what a mark stands before, so that columns stay apart."""
    return NOT_MEASURABLE if math.isnan(value_db) else f"{round(value_db):d}"


def short_percent(value: float) -> str:
    """Two digits that count, from 0.01 % on two decimals at most: four characters, so that columns stay apart."""
    return f"{value:.2f}" if 0.0095 <= value < 0.995 else two_digits(value)


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


def hertz_words(frequency_hz: float) -> str:
    """The same within a sentence: 31.6 Hz, 1.06 kHz."""
    return f"{frequency_hz:.3g} Hz" if frequency_hz < 999.5 else f"{frequency_hz / 1000.0:.3g} kHz"


def two_digits(value: float) -> str:
    """Two digits that count, never with an exponent: 0.036, 2.2, 16, 130; "-" where there is no value."""
    if math.isnan(value):
        return NOT_MEASURABLE
    if value == 0:
        return "0"
    rounded = float(f"{value:.2g}")
    return f"{rounded:.{max(0, 1 - math.floor(math.log10(abs(rounded))))}f}"


def two_digits_hertz(frequency_hz: float) -> str:
    """A place that is no sharper than two digits: 42 Hz, 1.2 kHz, 18 kHz."""
    digits = float(f"{frequency_hz:.2g}")
    return f"{digits:g} Hz" if digits < 1000.0 else f"{digits / 1000.0:g} kHz"


def octave_index(midband_hz: float) -> int:
    """Which of the ten octaves has its midband nearest to `midband_hz`."""
    return min(range(len(OCTAVE_HZ)), key=lambda index: abs(math.log(OCTAVE_HZ[index] / midband_hz)))


def octave_words(midband_hz: float) -> str:
    """An octave by its nominal name: 63 Hz octave, 2 kHz octave."""
    name = OCTAVE_NAMES[octave_index(midband_hz)]
    return f"{name[:-1]} kHz octave" if name.endswith("k") else f"{name} Hz octave"


def with_interval(value: float, half_width: float) -> str:
    """A value and its 95 % interval, both to the digit that the interval leaves: 0.6 +- 0.1, 0.28 +- 0.02."""
    decimals = 1 if half_width >= 0.095 else 2
    return f"{value:.{decimals}f} +- {max(half_width, 0.01):.{decimals}f}"


def with_plus_minus(sentence: str) -> str:
    """A sentence with the sign for its intervals, where a terminal may not have it."""
    return sentence.replace(" +- ", " \N{PLUS-MINUS SIGN} ")


def level_name(level_db: float) -> str:
    """A nominal level as file names and tables write it: 86 or 91.5."""
    return f"{level_db:g}"


def three_digits(value: float) -> str:
    """A number above 0 to three digits that count, never with an exponent: 0.0715, 14.3, 1200, 17200."""
    rounded = float(f"{value:.3g}")
    decimals = max(0, 2 - math.floor(math.log10(rounded)))
    return f"{rounded:.{decimals}f}"
