"""Contrast of letters with their ground: WCAG 2, success criterion 1.4.3, formula as published there.

(L1 + 0.05) / (L2 + 0.05), where L1 is the relative luminance of the lighter colour and L2 that of the darker one.
"""

from functools import cache

import numpy as np

from distort.analysis.common.curves import FloatArray

LEAST_CONTRAST = 4.5
"""Of letters smaller than 18 points (WCAG 2, level AA)."""

DARKER = 0.96
"""Factor of light from step to step while a colour is looked for."""

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def light_of(colour: str) -> FloatArray:
    """Red, green and blue light of "#rrggbb", 0 to 1, `(3,)` (IEC 61966-2-1)."""
    values = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def contrast(colour: str, ground: str) -> float:
    """Contrast of two colours, "#rrggbb" each, 1 to 21."""
    low, high = sorted(float(_LUMINANCE @ light_of(one)) for one in (colour, ground))
    return (high + 0.05) / (low + 0.05)


@cache
def for_letters(colour: str) -> str:
    """`colour`, as much darker as letters on white need; its hue stays, as all three lights fall alike."""
    found, light = colour, light_of(colour)
    while contrast(found, "#ffffff") < LEAST_CONTRAST:
        light = DARKER * light
        encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
        found = "#" + "".join(f"{round(255.0 * float(value)):02x}" for value in encoded)
    return found
