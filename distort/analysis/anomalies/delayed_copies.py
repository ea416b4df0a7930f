"""A delayed copy that is too weak for any one of its dips to stand out, found by all of its dips together.

In dB a weak comb is a cosine over frequency, `(20 / ln 10) r cos(2 pi f tau)` (the first term of the series of
`ln|1 + r exp(-2 pi i f tau)|`). For each delay the response is held against that cosine, both less a polynomial in log
frequency, from a third of the first dip to the fifth: the correlation of the two does not depend on how large the
ripple is, and ripple, whose bumps are alike in octaves, is not periodic in hertz. The best delay is then fitted with
the comb's full closed form and a reflection that may change along the axis, as that of a real surface does.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.anomalies.comb_shapes import MOST_DIPS, CombFit, smoothed_cosine
from distort.analysis.anomalies.dip_shapes import DB_PER_NEPER_OF_POWER, TWO_SIDED_95, covariance_of_fit, rows_alike

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_CORRELATION = 0.88
"""In under 1 of 100 responses of ripple alone, of whatever size, does any delay reach it (measured:
tests/STUDIES.md)."""

DELAYS_PER_OCTAVE = 32
"""The fifth dip of the nearest delay then lies within a tenth of its distance to the next."""

LOWEST_SHARE, HIGHEST_SHARE = 1.0 / 3.0, 10.0
"""Rows that are looked at, re the first dip."""

DIPS_SHOWN = 3.5
"""The band reaches at least this far, re the first dip: its second dip and half of the peak behind it."""

ROWS_BELOW = 0.5
"""And from here."""

TREND_DEGREE = 4

DEPTH_WIDENED = 1.6
"""Trend and comb take their share of the ripple with them: without this three of four intervals hold the depth
(measured: tests/STUDIES.md)."""

LEAST_REFLECTION, MOST_REFLECTION = 0.03, 0.98

SLOPE_DEVIATION = 0.15
"""How much slopes differ before anything was measured: a reflection that changes by 10 % an octave is ordinary (own
choice; it only counts where ripple leaves the slope open)."""


@dataclass(frozen=True, kw_only=True)
class DelayedCopy:
    """One delayed copy; its reflection is `reflection (f / first_dip_hz)^slope`."""

    first_dip_hz: float
    first_dip_uncertainty: float
    """Half-width of the 95 % interval, as a share."""
    reflection: float
    slope: float
    covariance: FloatArray
    """`(2, 2)`, of the logarithm of `reflection` and of `slope`."""
    residual_db: float

    def dip(self, number: int) -> CombFit:
        """Its dip of that number, from 1."""
        odd = 2.0 * number - 1.0
        frequency_hz = odd * self.first_dip_hz
        reflection = min(self.reflection * odd**self.slope, MOST_REFLECTION)
        by_both = np.array([1.0, np.log(odd)])
        share = DEPTH_WIDENED * TWO_SIDED_95 * float(np.sqrt(by_both @ self.covariance @ by_both))
        return CombFit(
            delay_s=0.5 / self.first_dip_hz,
            number=number,
            frequency_hz=frequency_hz,
            frequency_uncertainty_hz=frequency_hz * self.first_dip_uncertainty,
            reflection=reflection,
            depth_db=20.0 * float(np.log10(1.0 - reflection)),
            depth_uncertainty_db=20.0 / np.log(10.0) * share * reflection / (1.0 - reflection),
            residual_db=self.residual_db,
        )


def find_delayed_copy(
    frequency_hz: FloatArray, level_db: FloatArray, *, smoothing_octaves: float
) -> DelayedCopy | None:
    """The delayed copy that runs through a response `(rows,)`, one at least, without gaps and evenly spaced in log
    frequency, if any.

    smoothing_octaves   band over which `level_db` is a mean power
    """
    lowest_hz, highest_hz = frequency_hz[0] / ROWS_BELOW, frequency_hz[-1] / DIPS_SHOWN
    octaves = np.log2(highest_hz / lowest_hz)  # negative in a band too narrow for any
    candidates_hz = lowest_hz * 2.0 ** (np.arange(int(np.floor(octaves * DELAYS_PER_OCTAVE)) + 1) / DELAYS_PER_OCTAVE)
    if candidates_hz.size == 0:
        return None
    correlations = [_correlation(frequency_hz, level_db, float(hz), smoothing_octaves) for hz in candidates_hz]
    best = int(np.argmax(correlations))
    if correlations[best] < LEAST_CORRELATION:
        return None
    return _fitted(frequency_hz, level_db, float(candidates_hz[best]), smoothing_octaves)


def _rows(frequency_hz: FloatArray, first_dip_hz: float) -> BoolArray:
    ratio = frequency_hz / first_dip_hz
    return np.asarray((ratio >= LOWEST_SHARE) & (ratio <= HIGHEST_SHARE))


def _trend(frequency_hz: FloatArray) -> FloatArray:
    """Polynomials in log frequency, `(rows, degree + 1)`, orthonormal."""
    place = np.log(frequency_hz)
    place = 2.0 * (place - place[0]) / (place[-1] - place[0]) - 1.0
    return np.asarray(np.linalg.qr(np.polynomial.legendre.legvander(place, TREND_DEGREE))[0])


def _correlation(
    frequency_hz: FloatArray, level_db: FloatArray, first_dip_hz: float, smoothing_octaves: float
) -> float:
    """Of the response with the comb of that first dip, both less their trend; -1 to 1."""
    rows = _rows(frequency_hz, first_dip_hz)
    trend = _trend(frequency_hz[rows])
    cosine, _ = smoothed_cosine(frequency_hz[rows] / (2.0 * first_dip_hz), smoothing_octaves)
    comb, level = (values - trend @ (trend.T @ values) for values in (cosine, level_db[rows]))
    size = float(np.linalg.norm(comb) * np.linalg.norm(level))
    return float(comb @ level) / size if size > 0.0 else 0.0


def _fitted(
    frequency_hz: FloatArray, level_db: FloatArray, first_dip_hz: float, smoothing_octaves: float
) -> DelayedCopy | None:
    rows = _rows(frequency_hz, first_dip_hz)
    hz, level = frequency_hz[rows], level_db[rows]
    trend = _trend(hz)

    def left(parameters: FloatArray) -> FloatArray:
        shift, log_reflection, slope = parameters
        cosine, _ = smoothed_cosine(hz / (2.0 * first_dip_hz) * np.exp(-shift), smoothing_octaves)
        reflection = np.minimum(np.exp(log_reflection) * (hz / first_dip_hz) ** slope, MOST_REFLECTION)
        power = 1.0 + np.square(reflection) + 2.0 * reflection * cosine
        values = DB_PER_NEPER_OF_POWER * np.log(power) - level
        return np.asarray(values - trend @ (trend.T @ values))  # the trend that fits best is taken out at each step

    bounds = ([-0.05, np.log(LEAST_REFLECTION), -0.7], [0.05, np.log(MOST_REFLECTION), 0.7])
    scales = [0.01, 0.3, SLOPE_DEVIATION]
    plain = scipy.optimize.least_squares(left, [0.0, np.log(0.2), 0.0], bounds=bounds, x_scale=scales)
    # what is known of slopes beforehand counts as one more reading, as uncertain as the rows are together
    weight = np.sqrt(np.mean(np.square(plain.fun)) * rows_alike(plain.fun)) / SLOPE_DEVIATION

    def left_and_slope(parameters: FloatArray) -> FloatArray:
        return np.append(left(parameters), weight * parameters[2])

    found = scipy.optimize.least_squares(left_and_slope, plain.x, bounds=bounds, x_scale=scales)
    covariance = covariance_of_fit(np.asarray(found.jac), found.fun[:-1])
    return DelayedCopy(
        first_dip_hz=first_dip_hz * float(np.exp(found.x[0])),
        first_dip_uncertainty=TWO_SIDED_95 * float(np.sqrt(covariance[0, 0])),
        reflection=float(np.exp(found.x[1])),
        slope=float(found.x[2]),
        covariance=covariance[1:, 1:],
        residual_db=float(np.sqrt(np.mean(np.square(found.fun[:-1])))),
    )


def numbers_in(copy: DelayedCopy, frequency_hz: FloatArray) -> range:
    """Which of its first dips lie in the band, with room beside the last of them."""
    last = int(np.floor((frequency_hz[-1] / copy.first_dip_hz) / 2.0))
    return range(1, min(MOST_DIPS, last) + 1)
