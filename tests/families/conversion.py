"""A poor conversion of the sample rate: its filter lets through what it should take away, which folds to |3900 k ± f|.

From 48 to 44.1 kHz a converter puts zeros between samples, which repeats the spectrum about every multiple of 48 kHz,
filters, and takes every so many samples, which folds it about multiples of 44.1 kHz: what is left at 48 k ± f kHz comes
out at 3.9 k ± f kHz. How much is left is what the filter's response says there.
"""

import math
from functools import lru_cache

import numpy as np
import scipy.signal

from tests.families.filters import FloatArray

UP, DOWN = 147, 160
"""44,100 / 48,000 in lowest terms."""

FROM_HZ = 48_000.0

RATES_DIFFER_HZ = 3900.0
"""48 kHz less 44.1 kHz."""

HALF_LENGTH = 10 * DOWN
"""Of the filter, samples at the common multiple of the rates."""

GOOD_DB = 140.0
"""Attenuation of the filter on the way back, beyond what 24 bits hold."""


@lru_cache(maxsize=8)
def _filter(attenuation_db: float) -> FloatArray:
    window = ("kaiser", scipy.signal.kaiser_beta(attenuation_db))
    return np.asarray(scipy.signal.firwin(2 * HALF_LENGTH + 1, 1.0 / DOWN, window=window))


def converted(samples: FloatArray, attenuation_db: float) -> FloatArray:
    """`samples` at 48 kHz after a conversion to 44.1 kHz and a good one back.

    attenuation_db   for which the window of the poor filter is made: that of its first and highest side lobe
    """
    there = scipy.signal.resample_poly(samples, UP, DOWN, window=_filter(attenuation_db))
    back = scipy.signal.resample_poly(there, DOWN, UP, window=_filter(GOOD_DB))
    return np.asarray(back[: samples.size])


def image_db(tone_hz: float, multiple: int, sign: int, attenuation_db: float) -> float:
    """Level of the image of a tone at |3900 multiple + sign f| re the tone, dB: the filter's response there."""
    place = (FROM_HZ * multiple + sign * tone_hz) / (0.5 * FROM_HZ * UP)  # re half the common rate
    taps = _filter(attenuation_db)
    response = np.sum(taps * np.exp(-1j * math.pi * place * np.arange(taps.size)))
    return float(20.0 * np.log10(abs(response) + 1e-12))


def read_as_order_db(order: int) -> float:
    """By how much an image reads higher than it is where n f crosses it in a sweep, dB: 10 lg n.

    A division by the sweep expects that f passes a hertz in L/f seconds. The image passes it as the tone below does,
    which is n times slower, so it leaves n times the energy there.
    """
    return 10.0 * math.log10(order)
