"""Multitones as a recorder hears them whose clock is not the player's: the closed form, read at any moment.

Sample m of the recorder is the sum of cosines at the player's time of that moment. No resampler is involved.
"""

from collections.abc import Callable

import numpy as np

from distort.analysis.multitone.reading import MultitoneTake
from signals import Multitone

START = 2400.25
"""Where the multitone begins, player's samples after the recording does; the wave simply stands there before."""


def heard_at(tone: Multitone, place: np.ndarray) -> np.ndarray:
    """The endless multitone at fractional samples `place` of the player, counted from its first sample."""
    turns = np.mod(place / tone.period_samples, 1.0)
    heard = np.zeros(place.size)
    for number, amplitude, phase in zip(tone.line_bins, tone.line_amplitudes, tone.line_phases_rad, strict=True):
        heard += amplitude * np.cos(2.0 * np.pi * number * turns + phase)
    return heard


def recorded(
    tone: Multitone,
    *,
    ppm: float = 0.0,
    wander: Callable[[np.ndarray], np.ndarray] | None = None,
    start: float = START,
    curve: Callable[[np.ndarray], np.ndarray] = lambda x: x,
) -> MultitoneTake:
    """`tone` through `curve`, heard by a clock `ppm` fast whose delay besides wanders by `wander(seconds)` samples."""
    stretch = 1.0 + 1e-6 * ppm
    n = int((start + tone.n_samples) * stretch) + 2400
    place = np.arange(n) / stretch - start
    if wander is not None:
        place = place - wander(place / tone.sample_rate)
    return MultitoneTake(samples=curve(heard_at(tone, place)), start=start * stretch, clock_difference_ppm=ppm)


def sinusoidal_wander(*, ppm: float, period_s: float, sample_rate: int = 48000) -> Callable[[np.ndarray], np.ndarray]:
    """Delay in samples of a clock whose rate swings by `ppm` (peak) with a period."""
    omega = 2.0 * np.pi / period_s
    return lambda time_s: 1e-6 * ppm * sample_rate / omega * np.sin(omega * time_s + 0.7)
