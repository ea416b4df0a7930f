"""Whether the products of a non-linearity leave by the way of the fundamental: alpha 1 if so, 0 if by one of their own.

With a share p of the ripple before the non-linearity, the product of order n follows the fundamental's ripple at f by
n p, and the response's ripple at n f by 1 - p where it leaves the same way, by 0 where not. A regression away from the
place in question says which, in odds; what leaves a loudspeaker does so by one way for all orders, so odds add up.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.contrast import rises

FloatArray = npt.NDArray[np.float64]

GAP_OCTAVES, FLANK_OCTAVES = 0.15, 0.5
"""Of the rises that the regression takes: short ones say more, as more of them are independent."""

AWAY_OCTAVES = 0.35
"""Rows this near to the place do not count, neither as cores nor as flanks: what is to be explained is no evidence."""

LEAST_SPREAD_DB = 0.25
"""A response at n f that varies less than this cannot show whether the product follows it."""

ROWS_PER_INDEPENDENT = 4.0
"""Rows of 1/24 octave under 1/12 octave smoothing and ripple of 1/6 octave: as many of them say one thing."""

SLOPE_SHARE = 1.5
"""Scatter of the slope over what normal errors give (measured: ripple repeats itself between orders and places)."""

SLOPE_DOUBT = 0.2
"""Standard deviation that the slope has besides: ripple is not all of one kind."""

MOST_ODDS = 4.0
"""Of one order, natural logarithm: of those beyond 4 some 1 in 100 is wrong (measured)."""

MOST_ODDS_TOGETHER = 6.0

BISQUARE = 4.685


@dataclass(frozen=True, kw_only=True)
class Way:
    """What is known of the way out before the place itself is looked at."""

    found: float | None
    """alpha of the regression; None where nothing can be said."""
    odds: float
    """Natural logarithm of the odds that alpha is 1."""

    @property
    def shared_probability(self) -> float:
        """That alpha is 1."""
        return float(1.0 / (1.0 + np.exp(-self.odds)))

    def together(self, others_odds: float) -> "Way":
        """With what other orders say."""
        if np.isinf(self.odds):
            return self
        odds = float(np.clip(self.odds + others_odds, -MOST_ODDS_TOGETHER, MOST_ODDS_TOGETHER))
        return Way(found=self.found, odds=odds)


OWN_WAY = Way(found=None, odds=-np.inf)
"""Of what holds several orders: there is no one n f at which to look."""

UNKNOWN_WAY = Way(found=None, odds=0.0)


def way_out(order: int, frequency_hz: FloatArray, curves_db: FloatArray, *, away_from_hz: float | None = None) -> Way:
    """alpha from the ripple.

    curves_db      `(3, rows)`: fundamental at f, response at n f, product, dB; NaN: no reading, or none to rely on
    away_from_hz   rows near it do not count; None: all do
    """
    if away_from_hz is not None:
        curves_db = np.where(np.abs(np.log2(frequency_hz / away_from_hz)) > AWAY_OCTAVES, curves_db, np.nan)
    rises_db = rises(frequency_hz, curves_db, gap_octaves=GAP_OCTAVES, flank_octaves=FLANK_OCTAVES)
    known = rises_db[:, np.all(np.isfinite(rises_db), axis=0)]
    x, y = known[:2], known[2]
    if y.size < 4 * ROWS_PER_INDEPENDENT or np.min(np.std(x, axis=1)) < LEAST_SPREAD_DB:
        return UNKNOWN_WAY
    slopes, deviation = _robust_slopes(x, y)
    after = float(np.clip(1.0 - slopes[0] / order, 0.0, 1.0))
    width = float(np.hypot(SLOPE_SHARE * deviation, SLOPE_DOUBT))
    odds = np.clip(0.5 * ((slopes[1] / width) ** 2 - ((slopes[1] - after) / width) ** 2), -MOST_ODDS, MOST_ODDS)
    return Way(found=float(slopes[1]), odds=float(odds))


def _robust_slopes(x: FloatArray, y: FloatArray) -> tuple[FloatArray, float]:
    """Slopes of y on the two rows of x with bisquare weights, and the standard deviation of the second."""
    weight = np.ones_like(y)
    for _ in range(5):
        inverse: FloatArray = np.asarray(np.linalg.inv((weight * x) @ x.T + 1e-9 * np.eye(2)), dtype=np.float64)
        slopes: FloatArray = np.asarray(inverse @ ((weight * x) @ y), dtype=np.float64)
        left = y - slopes @ x
        scale = 1.4826 * float(np.median(np.abs(left))) + 1e-9
        weight = np.square(np.clip(1.0 - np.square(left / (BISQUARE * scale)), 0.0, None))
    return slopes, float(scale * np.sqrt(inverse[1, 1] * ROWS_PER_INDEPENDENT))
