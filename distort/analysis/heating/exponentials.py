"""One or two exponentials fitted to a level against time, with intervals; what cannot be told is not named.

    y(t) = end - sum over i of a_i exp(-t / tau_i)        each term's mean over a moment of length T:
                                                          exp(-t / tau) sinh(T / 2 tau) / (T / 2 tau)

For given time constants end and a_i follow by linear least squares; the time constants are sought on a grid and refined
(variable projection, Golub and Pereyra, SIAM J. Numer. Anal. 10(2), 1973, from memory). Two are taken where the F test
says at 1 %
that the second is needed, both are told and of one sign. Intervals are linearised in log tau; the
scatter of neighbouring moments is correlated where the level wanders, and the variance is widened by (1 + r) / (1 - r),
r their correlation.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.statistics import TWO_SIDED_95

FloatArray = npt.NDArray[np.float64]

APART = 1.5
"""Two time constants are at least so far apart; whether they can be told is a matter of their intervals."""

TOLD_WITHIN = 2.0
"""A time constant whose 95 % interval goes further than this factor either way is not named."""

F_LEVEL = 0.99

GRID = 24
"""Time constants that are tried, from half a moment to `LONGEST` times the track."""

LONGEST = 4.0

LEAST_MOMENTS = 7
"""Two more than two exponentials have parameters."""


@dataclass(frozen=True, kw_only=True)
class Term:
    """One exponential, the change that it stands for, and the 95 % interval of its time constant."""

    change_db: float
    """From the start on, negative where the level falls."""
    tau_s: float
    low_s: float
    high_s: float


@dataclass(frozen=True, kw_only=True)
class Course:
    """What a level did."""

    change_db: float
    """From the start, t = 0, to the end of the last moment, as fitted."""
    uncertainty_db: float
    """Half-width of its 95 % interval."""
    terms: tuple[Term, ...]
    """The quicker first; none where no time constant can be told."""
    start_db: float = math.nan
    """Level at t = 0, as fitted; changes from the start on are levels less this one."""
    scatter_db: float = math.nan
    """Half-width of the 95 % interval of one moment about the fit; of the mean of n moments sqrt(n) times smaller."""


@dataclass(frozen=True)
class _Fit:
    taus: FloatArray
    coefficients: FloatArray
    """End, then a factor a term."""
    residual: FloatArray
    slopes: FloatArray
    """Of the model, `(moments, parameters)`: end, factors, log taus."""

    @property
    def misfit(self) -> float:
        return float(self.residual @ self.residual)

    @property
    def variance(self) -> float:
        """Of a moment, widened where neighbours scatter alike."""
        left = self.residual.size - self.slopes.shape[1]
        r = float(np.clip(self.residual[1:] @ self.residual[:-1] / max(self.misfit, 1e-300), 0.0, 0.9))
        return float(self.misfit / left * (1.0 + r) / (1.0 - r))

    @property
    def covariance(self) -> FloatArray:
        return np.asarray(self.variance * np.linalg.pinv(self.slopes.T @ self.slopes))


def course_of(time_s: FloatArray, level_db: FloatArray, *, span_s: float) -> Course:
    """What `level_db` `(moments,)` did, whose moments have their middles at `time_s` and last `span_s` each.

    Moments that are NaN are left out. Fewer than `LEAST_MOMENTS` say nothing: NaN.
    """
    kept = np.isfinite(level_db)
    time_s, level_db = time_s[kept], level_db[kept]
    if time_s.size < LEAST_MOMENTS:
        return Course(change_db=math.nan, uncertainty_db=math.nan, terms=())
    longest_s = float(time_s[-1]) + span_s / 2.0
    grid = np.geomspace(span_s / 2.0, LONGEST * longest_s, GRID)
    one = _best(time_s, level_db, span_s, [np.array([tau]) for tau in grid])
    pairs = [np.array([quick, slow]) for quick in grid for slow in grid if slow > APART * quick]
    two = _best(time_s, level_db, span_s, pairs)
    chosen = two if _needed(one, two) and _told(two, longest_s, span_s) else one
    change_db, uncertainty_db = _whole(chosen, longest_s)
    terms = _terms(chosen) if _told(chosen, longest_s, span_s) else ()
    return Course(
        change_db=change_db,
        uncertainty_db=uncertainty_db,
        terms=terms,
        start_db=float(chosen.coefficients[0] - np.sum(chosen.coefficients[1:])),
        scatter_db=TWO_SIDED_95 * math.sqrt(chosen.variance),
    )


def _decay(time_s: FloatArray, taus: FloatArray, span_s: float) -> tuple[FloatArray, FloatArray]:
    """Mean of each exponential over each moment, and its slope in log tau, both `(moments, terms)`."""
    x = span_s / (2.0 * taus)
    mean = np.exp(-time_s[:, None] / taus) * (np.sinh(x) / x)
    return np.asarray(mean), np.asarray(mean * (time_s[:, None] / taus - (x / np.tanh(x) - 1.0)))


def _fitted(time_s: FloatArray, level_db: FloatArray, span_s: float, taus: FloatArray) -> _Fit:
    decay, slope = _decay(time_s, taus, span_s)
    basis = np.column_stack([np.ones(time_s.size), -decay])
    coefficients = np.linalg.lstsq(basis, level_db, rcond=None)[0]
    slopes = np.column_stack([basis, -slope * coefficients[1:]])
    return _Fit(taus, np.asarray(coefficients), np.asarray(level_db - basis @ coefficients), slopes)


def _best(time_s: FloatArray, level_db: FloatArray, span_s: float, starts: list[FloatArray]) -> _Fit:
    """The best of the time constants `starts`, refined."""
    coarse = min((_fitted(time_s, level_db, span_s, taus) for taus in starts), key=lambda fit: fit.misfit)
    low, high = math.log(span_s / 4.0), math.log(2.0 * LONGEST * (float(time_s[-1]) + span_s))

    def residual(log_taus: FloatArray) -> FloatArray:
        return _fitted(time_s, level_db, span_s, np.exp(log_taus)).residual

    found = scipy.optimize.least_squares(residual, np.log(coarse.taus), bounds=(low, high), x_scale="jac")
    return _fitted(time_s, level_db, span_s, np.sort(np.exp(found.x)))


def _needed(one: _Fit, two: _Fit) -> bool:
    """F test of two parameters more."""
    left = two.residual.size - 5
    gained = (one.misfit - two.misfit) / 2.0
    return gained > float(scipy.stats.f.ppf(F_LEVEL, 2, left)) * two.misfit / left


def _told(fit: _Fit, longest_s: float, span_s: float) -> bool:
    """Whether every term stands out and its time constant lies within what was heard, and within a factor."""
    terms, covariance = fit.taus.size, fit.covariance
    sigma = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    factors = fit.coefficients[1:]
    return bool(
        np.all(np.abs(factors) > TWO_SIDED_95 * sigma[1 : 1 + terms])
        and np.all(factors * factors[0] > 0.0)
        and np.all(np.exp(TWO_SIDED_95 * sigma[1 + terms :]) < TOLD_WITHIN)
        and np.all(fit.taus < longest_s)
        and np.all(fit.taus > span_s / 2.0)
        and (terms == 1 or fit.taus[1] > APART * fit.taus[0])
    )


def _whole(fit: _Fit, end_s: float) -> tuple[float, float]:
    """Change from 0 to `end_s`, and half the width of its 95 % interval."""
    at_end = np.exp(-end_s / fit.taus)
    change = fit.coefficients[1:] @ (1.0 - at_end)
    slopes = np.concatenate([[0.0], 1.0 - at_end, -fit.coefficients[1:] * at_end * end_s / fit.taus])
    return float(change), TWO_SIDED_95 * math.sqrt(max(float(slopes @ fit.covariance @ slopes), 0.0))


def _terms(fit: _Fit) -> tuple[Term, ...]:
    terms = fit.taus.size
    factor = np.exp(TWO_SIDED_95 * np.sqrt(np.diag(fit.covariance)[1 + terms :]))
    return tuple(
        Term(change_db=float(a), tau_s=float(tau), low_s=float(tau / f), high_s=float(tau * f))
        for a, tau, f in zip(fit.coefficients[1:], fit.taus, factor, strict=True)
    )
