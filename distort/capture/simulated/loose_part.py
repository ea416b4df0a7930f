"""A loose part of the simulated loudspeaker: it strikes where its resonance carries it over a gap, now harder, now more
softly, and sometimes not at all."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import scipy

from distort.capture.simulated.grid import Grid
from distort.capture.simulated.levels import full_scale_pa
from distort.capture.simulated.parameters import LoosePart

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

RINGS_S = 0.03
"""How long a strike is followed: it has fallen by 60 dB and more."""


def strikes(pressure: ComplexArray, part: LoosePart, grid: Grid, random: np.random.Generator) -> ComplexArray:
    """What it adds, spectrum `(bins,)` on the grid, Pa at 1 m.

    pressure   spectrum of the loudspeaker's sound, which shakes it
    random     strength and place of each strike: no two takes have the same
    """
    motion = grid.samples(pressure * _carried(grid.frequency_hz, part)) / full_scale_pa(part.reaches_db_spl)
    over = motion > 1.0
    begins = np.flatnonzero(over[1:] & ~over[:-1]) + 1
    ends = np.flatnonzero(~over[1:] & over[:-1]) + 1
    struck = np.zeros(grid.n_samples)
    jitter = part.jitter_s * grid.sample_rate
    for begin, end in zip(begins, ends[ends > begins[0]] if begins.size else ends, strict=False):
        hit = random.random() >= part.misses
        strength = float(np.max(motion[begin:end]) - 1.0) * random.lognormal(0.0, part.uneven)
        place = begin + round(abs(random.normal(0.0, jitter)))
        if hit and place < grid.n_samples:
            struck[place] += strength
    ring = ringing(part.ring_hz, part.ring_s, grid.sample_rate) * full_scale_pa(part.ring_db_spl)
    return np.asarray(grid.spectrum(scipy.signal.oaconvolve(struck, ring)[: grid.n_samples]))


def _carried(frequency_hz: FloatArray, part: LoosePart) -> ComplexArray:
    """Motion of the part re that at its resonance, `(bins,)`: second order, 1 there."""
    ratio = np.maximum(frequency_hz, 1e-3) / part.resonance_hz
    return np.asarray(1.0 / (1.0 + 1j * part.q * (ratio - 1.0 / ratio)))


def ringing(ring_hz: Sequence[float], decay_s: float, sample_rate: int) -> FloatArray:
    """What follows on a strike of strength 1, `(samples,)`: tones that die away with the time constant `decay_s`."""
    time_s = np.arange(round(RINGS_S * sample_rate)) / sample_rate
    tones = [np.sin(2.0 * np.pi * hz * time_s) for hz in ring_hz]
    return np.asarray(np.sum(tones, axis=0) / len(tones) * np.exp(-time_s / decay_s))
