"""What rounding to a file's steps adds to the orders, where no noise spreads it.

A cosine of A steps, rounded to whole steps, becomes

    A cos t + sum over k of (-1)^k / (pi k) sin(2 pi k A cos t),

the Fourier series of the staircase. By the Jacobi-Anger expansion its order n is at most `2 / (pi k) |J_n(2 pi k A)|`
for each k, and `|J_n(x)|` is about `sqrt(2 / (pi x))` at its crests: together `2 / (pi^2 sqrt(A)) sum k^-1.5` steps.
The first crest of J_n, at `n + 0.81 n^(1/3)`, is the highest above that: about `0.675 n^(-1/3)` (both after Olver,
from memory; they are a little high for low n, which errs to the safe side).
This repeats with the sweep, so no silence tells of it. Gaussian noise of sigma steps before the rounding multiplies
the term of k by `exp(-2 pi^2 k^2 sigma^2)`, the characteristic function of the noise (Widrow, IRE Trans. Circuit
Theory 3(4), 1956, from memory): noise of one step leaves nothing of it.
Orders too high for the sample rate fold back and are noise, of a twelfth of a squared step in all, evenly over
frequency (W. R. Bennett, Bell Syst. Tech. J. 27, 1948): a silence of equal samples does not tell of that either.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]

TERMS = np.arange(1, 200)
"""k of the series; what follows adds 5 % to the sum without noise."""

MOST_NOISE = 3.0
"""Steps of noise that leave exp(-18 pi^2) of rounding's harmonics: less than double precision adds."""

LARGEST = 2.0 / np.pi
"""Steps: the first harmonic of a square wave of half a step, the most that an error of half a step can hold."""


@dataclass(frozen=True, kw_only=True)
class Rounding:
    """How a recording was rounded."""

    step: float
    """Of the samples as stored, full scale = 1; about 0 for floating point."""
    noise_rms: float
    """Of the quietest silence, full scale = 1."""

    def density(self, sample_rate: float) -> float:
        """Of the noise that folds back, one-sided, full scale squared per hertz: `step^2 / 12` over half the rate."""
        return self.step**2 / (6.0 * sample_rate)

    def power(self, fundamental: FloatArray, *, order: int, drive_dbfs: float) -> FloatArray:
        """The most power that rounding gives `order`, `(rows,)`, where the fundamental has `fundamental` `(rows,)`.

        Both are powers per squared amplitude of a stimulus at `drive_dbfs`. 0 where noise leaves nothing of it; else
        NaN where the fundamental is.
        """
        if self.step == 0.0 or self.noise_rms > MOST_NOISE * self.step:
            return np.zeros_like(fundamental)
        amplitude = np.sqrt(fundamental) * float(db_to_amplitude(drive_dbfs))
        spread = np.exp(-2.0 * np.square(np.pi * TERMS * self.noise_rms / self.step))
        share = first_crest(order) * 2.0 / np.pi**2 * float(np.sum(TERMS**-1.5 * spread))
        with np.errstate(divide="ignore"):  # no fundamental: the largest that there can be
            steps = np.minimum(share * np.sqrt(self.step / amplitude), LARGEST * float(spread[0]))
        return np.asarray(np.square(steps * self.step / float(db_to_amplitude(drive_dbfs))))


def first_crest(order: int) -> float:
    """The first crest of the Bessel function of `order`, from 1, over `sqrt(2 / (pi x))` at its place."""
    place = order + 0.81 * order ** (1.0 / 3.0)
    return float(0.675 * order ** (-1.0 / 3.0) * np.sqrt(0.5 * np.pi * place))


def step_of(samples: FloatArray) -> float:
    """The step of `samples` `(n,)`: the smallest gap between two values that occur; 0 where there are no two."""
    gaps = np.diff(np.unique(samples[np.isfinite(samples)]))
    return float(np.min(gaps)) if gaps.size else 0.0
