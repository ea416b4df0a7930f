"""How well a place agrees with what an explanation predicts.

Ripple has longer tails than a normal variable, since it is not alike everywhere: Student's distribution with twelve
degrees of freedom (own choice) keeps one odd order from deciding alone.
"""

import math

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]

DEGREES_OF_FREEDOM = 12.0
AT_CENTRE = (
    math.lgamma(0.5 * (DEGREES_OF_FREEDOM + 1.0))
    - math.lgamma(0.5 * DEGREES_OF_FREEDOM)
    - 0.5 * math.log(DEGREES_OF_FREEDOM * math.pi)
)
"""Logarithm of its density at 0, for a spread of 1 (Student, Biometrika 6, 1908)."""

LEAST_SOURCE_DB, MOST_SOURCE_DB = 2.0, 22.0
"""What a source may make more of its own at a place; evenly spread beforehand (own choice)."""


def log_density(off_db: float, spread_db: float) -> float:
    """Natural logarithm of the density of a departure."""
    squared = (off_db / spread_db) ** 2 / DEGREES_OF_FREEDOM
    return AT_CENTRE - 0.5 * (DEGREES_OF_FREEDOM + 1.0) * math.log1p(squared) - math.log(spread_db)


def log_density_of_source(off_db: float, spread_db: float) -> float:
    """The same where a source adds between 2 and 22 dB, evenly."""
    low, high = (
        scipy.special.stdtr(DEGREES_OF_FREEDOM, (off_db - end) / spread_db) for end in (MOST_SOURCE_DB, LEAST_SOURCE_DB)
    )
    return float(np.log(max(high - low, 1e-12) / (MOST_SOURCE_DB - LEAST_SOURCE_DB)))


def log_below(off_db: float, spread_db: float) -> float:
    """Natural logarithm of the probability that something lies below a bound that is `off_db` above its mean."""
    return float(np.log(max(float(scipy.special.stdtr(DEGREES_OF_FREEDOM, off_db / spread_db)), 1e-12)))


def log_sum(*values: float) -> float:
    """Of probabilities given as natural logarithms."""
    return float(np.logaddexp.reduce(values))


def stands_out(size: float, sigma: float, *, places: int) -> float:
    """Probability that a reading stands out by more than chance makes of the best of so many independent ones.

    `(1 - 2 Q(size / sigma))^places`, Q the upper tail of the distribution above.
    """
    tail = 2.0 * float(scipy.special.stdtr(DEGREES_OF_FREEDOM, -abs(size) / sigma)) if sigma > 0.0 else 0.0
    return float((1.0 - tail) ** places)


def share_right(right: int, decided: int) -> float:
    """Probability that the next one is right, of a share counted before: `(right + 1) / (decided + 2)` (Laplace)."""
    return (right + 1.0) / (decided + 2.0)


def joint_limit(count: int, probability: float = 0.01) -> float:
    """How many standard deviations the furthest of `count` independent normal readings may lie off.

    Sidak: each at `1 - (1 - probability)^(1/count)`, two-sided.
    """
    each = 1.0 - (1.0 - probability) ** (1.0 / max(count, 1))
    return float(scipy.special.ndtri(1.0 - 0.5 * each))
