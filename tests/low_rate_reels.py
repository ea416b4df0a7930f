"""Small reels at a low sample rate, and recordings of them whose truth is built in."""

import numpy as np

from signals import Multitone, Reel, Sweep, framed

RATE = 8000
SWEEP = Sweep(seconds=3.0, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3900.0)
REEL = framed(SWEEP)
MULTITONE = Multitone(period_s=0.5, periods=6, low_hz=100.0, high_hz=3800.0, lines_per_decade=16.0, sample_rate=RATE)
TONES = framed(MULTITONE)


def recorded(reel: Reel = REEL, *, noise: float = 1e-5, seed: int = 1) -> np.ndarray:
    """`reel` at unity gain in white noise of so many r.m.s., begun 800 samples before it."""
    samples = np.pad(reel.samples(), (800, 1600))
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)
