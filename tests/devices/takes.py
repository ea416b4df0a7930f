"""What the tests hand to the analysis: an answer between silences."""

import numpy as np

from distort.analysis.sweep.sweeps import SweepTake

BEFORE = 24000

FAINT = (1e-9 * np.random.default_rng(1).standard_normal(48000),)
"""A second of silence at -180 dBFS: a noise floor that is known, and below everything that a test reads."""


def take(answer: np.ndarray, *, after: int = 96000, silences: tuple[np.ndarray, ...] = ()) -> SweepTake:
    """`answer` with silence about it, as one recording whose sweep starts at sample BEFORE."""
    samples = np.concatenate([np.zeros(BEFORE), answer, np.zeros(after)])
    return SweepTake(samples=samples, start=float(BEFORE), silences=silences)
