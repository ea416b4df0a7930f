"""How far up a near field shows what a radiator sends out: up to `ka = 1`.

    f = c / (2 pi a)     c speed of sound, a radius of the radiator

Below it the pressure at the middle of a flat piston is in proportion to what arrives far away (Keele, J. Audio Eng.
Soc. 22, 1974, from memory); of order n the product lies at n f, so n f has to lie below it.
"""

import math

from distort.analysis.common.sound_in_air import speed_of_sound_m_s

LARGEST_RADIUS_M = 0.2
"""Taken for a radiator of which nobody said the radius: that of the cone of an 18 inch woofer (common practice, no
source). It leaves 273 Hz at 20 degrees Celsius."""


def highest_near_field_hz(radius_m: float | None, temperature_c: float = 20.0) -> float:
    """Highest frequency of a near field at a radiator of `radius_m`; None: nobody said it.

    Raises ValueError for a radius that is not above 0, and as `speed_of_sound_m_s` does.
    """
    radius_m = LARGEST_RADIUS_M if radius_m is None else radius_m
    if not radius_m > 0:
        raise ValueError(f"a radius must be above 0, not {radius_m:g}")
    return speed_of_sound_m_s(temperature_c) / (2.0 * math.pi * radius_m)
