"""Wavelengths and paths: which length belongs to a frequency, and which frequencies to a length.

    c = 331.3 sqrt(1 + t / 273.15) m/s        speed of sound in dry air at t degrees Celsius (ideal gas, as ISO 9613-1)
    half wave      d = c / (2 f)              a copy that comes so much later cancels at f, 3 f, 5 f ...
    quarter wave   d = c / (4 f)              a cavity so deep, closed at one end, resonates at f, 3 f, 5 f ...

One length has its half wave at twice the frequency of its quarter wave (common practice, no source).
"""

import math

ZERO_C_IN_K = 273.15
SPEED_AT_ZERO_C = 331.3
"""m/s"""

COLDEST_C, HOTTEST_C = -40.0, 60.0
"""Where people measure; the formula holds there."""


def speed_of_sound_m_s(temperature_c: float) -> float:
    """Speed of sound in air, m/s. Raises ValueError outside -40 ... 60 degrees Celsius."""
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(f"a temperature of {temperature_c:g} degC is outside {COLDEST_C:g} ... {HOTTEST_C:g} degC")
    return SPEED_AT_ZERO_C * math.sqrt(1.0 + temperature_c / ZERO_C_IN_K)


def half_wave(value: float, temperature_c: float = 20.0) -> float:
    """Length in m whose half wave is at `value` Hz; or, because the formula is its own inverse, Hz for m.

    Raises ValueError when `value` is not above 0, or as `speed_of_sound_m_s` does.
    """
    return speed_of_sound_m_s(temperature_c) / (2.0 * _above_zero(value))


def quarter_wave(value: float, temperature_c: float = 20.0) -> float:
    """Length in m whose quarter wave is at `value` Hz, or Hz for m. Raises as `half_wave` does."""
    return speed_of_sound_m_s(temperature_c) / (4.0 * _above_zero(value))


def delayed_copy_dips_hz(path_m: float, temperature_c: float = 20.0, *, count: int = 3) -> tuple[float, ...]:
    """The first `count` dips of a sound plus a copy whose way is `path_m` longer: odd multiples of its half wave.

    Raises ValueError as `half_wave` does.
    """
    first_hz = half_wave(path_m, temperature_c)
    return tuple((2 * index + 1) * first_hz for index in range(count))


def _above_zero(value: float) -> float:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"a frequency or a length must be above 0, not {value:g}")
    return value
