"""What the tests hand to the analysis: an answer between silences."""

import numpy as np

from distort.analysis.sweep.sweeps import SweepTake

BEFORE = 24000


def take(answer: np.ndarray, *, after: int = 96000, silences: tuple[np.ndarray, ...] = ()) -> SweepTake:
    """`answer` with silence about it, as one recording whose sweep starts at sample BEFORE."""
    samples = np.concatenate([np.zeros(BEFORE), answer, np.zeros(after)])
    return SweepTake(samples=samples, start=float(BEFORE), silences=silences)
