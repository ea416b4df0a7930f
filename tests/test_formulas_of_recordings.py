"""Thresholds of recordings whose spectrum is written down: tones among noise, hum in its surroundings."""

import numpy as np
import pytest

from distort.recording.quality.noise import _line_power
from distort.recording.quality.tonal import tonal_share

RATE = 48000


@pytest.mark.parametrize(("over_db", "share"), [(19.8, 0.0), (20.2, 1.0)])
def test_a_tone_stands_out_20_db_above_the_bands_around_it(over_db, share) -> None:
    """A pulse in the middle of each block has the same power in every bin; a sine that crosses zero there is at a right
    angle to it in each, so their powers add. Bands are 1/24 octave wide, from 700 Hz on: that of the sine has as many
    bins of 10 Hz as lie within its edges, and the sine's power is `size sum(w^2) A^2 / 4` (Parseval)."""
    size = RATE // 10
    edges_hz = 700.0 * 2.0 ** (np.arange(97) / 24.0)
    band = 84
    inside = np.flatnonzero((np.arange(size) * 10.0 >= edges_hz[band]) & (np.arange(size) * 10.0 < edges_hz[band + 1]))
    k = 2.0 * np.pi * np.arange(size) / size
    window = 0.35875 - 0.48829 * np.cos(k) + 0.14128 * np.cos(2.0 * k) - 0.01168 * np.cos(3.0 * k)
    bins = 10.0 ** (over_db / 10.0) - 1.0
    amplitude = 2.0 * np.sqrt(bins * inside.size / (size * np.sum(window**2)))
    middle = inside[inside.size // 2]
    block = amplitude * np.sin(2.0 * np.pi * middle * (np.arange(size) - size // 2) / size)
    block[size // 2] += 1.0
    assert tonal_share(np.tile(block, 3), RATE) == share


def test_a_line_of_hum_is_held_against_what_lies_20_hz_about_it() -> None:
    """Bins of 1 Hz: a line may be 1.5 Hz off, two more are its own, and those up to 20 Hz away are its surroundings;
    what lies farther does not count, however loud. As loud a noise on both sides hides it."""
    frequency = np.arange(0.0, 400.0)
    distance = np.abs(frequency - 150.0)
    power = np.where(distance <= 20.0, 1.0, 1e6)
    for line in (149, 150, 151):
        one = power.copy()
        one[line] = 1000.0
        assert _line_power(frequency, one, 150.0) == 1000.0
    assert _line_power(frequency, np.where(frequency == 152.0, 1000.0, power), 150.0) == 0.0
    noisy = np.where((distance >= 4.0) & (distance <= 20.0), 900.0, power)
    noisy[150] = 1000.0
    assert _line_power(frequency, noisy, 150.0) == 0.0


@pytest.mark.parametrize(("over_db", "found"), [(12.9, False), (13.1, True)])
def test_a_line_of_hum_stands_13_db_above_its_surroundings(over_db, found) -> None:
    power = np.ones(400)
    power[150] = 10.0 ** (over_db / 10.0)
    assert (_line_power(np.arange(0.0, 400.0), power, 150.0) > 0.0) == found
