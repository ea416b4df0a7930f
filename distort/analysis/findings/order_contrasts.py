"""Contrasts of every order at every level, once for each gap, with the ripple that they must stand out of.

P_n is the level of the product, H the linear response. The product's own contrast A and that of H at n f, X, are kept
apart: whether the product leaves by the way of the fundamental (alpha 1) or by one of its own (alpha 0) is told later.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.anomalies.trend import rows_per_octave
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.contrasts import LEAST_SCATTER_DB, contrasts, flanks, ripple_at, ripple_db
from distort.analysis.findings.evidence import Evidence, OrderCurve

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

EDGE_OCTAVES = 1.0 / 8.0
"""An order is not read this near to where the response at n f ends: the smoothing there mixes in what is not."""

WIDE_SHARE = 0.7
"""Levels that are readable over so much of what the widest is show the ripple; at the others noise does."""

CONFIRMED_DB = 3.0
"""What stands out of the noise at one place alone counts where the short sweep reads the same within this: what sounded
during one of the two sweeps, or leaks, differs by 10 dB and more."""

BESIDE = 2.0 ** (1.0 / 6.0)
"""A place reaches this far beyond where half of it is left."""


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderContrasts:
    """One order at all levels, for one gap; `(levels, rows)` unless said."""

    order: int
    levels_db_spl: tuple[float, ...]
    product_db: FloatArray
    """A: contrast of P_n."""
    there_db: FloatArray
    """X: contrast of H at n f, `(rows,)`."""
    error_db: FloatArray
    """Standard deviation of A by noise and by the sweep's speed."""
    short_db: FloatArray
    """A in the short sweep; NaN without."""
    less_way_db: FloatArray
    """A - X, of the difference itself."""
    calm: BoolArray
    """Rows at no anomaly, neither at f nor at n f, `(rows,)`."""
    at_most_db: FloatArray
    """What A is at most where the product itself is not readable and its flanks are: it lies under its floor."""
    at_least_db: FloatArray
    """What A is at least where the product is readable and a flank is not: it lies under its floor there."""
    level_db: FloatArray
    """P_n itself, where it is readable."""
    relative_db: FloatArray
    """D_n itself, where it is readable."""

    @property
    def known_db(self) -> FloatArray:
        """A, or what it is at least."""
        return np.where(np.isfinite(self.product_db), self.product_db, self.at_least_db)

    def ripple_at(self, frequency_hz: FloatArray, row: int) -> tuple[float, float]:
        """Standard deviation of A - alpha X by ripple round about a row, for alpha 0 and 1: one random variable, the
        same at all levels; the median over those that are readable nearly as widely as the widest."""
        own, shared = np.median(ripple_at(frequency_hz, self._wide_db, row, calm=self.calm), axis=-1)
        return float(own), float(shared)

    def ripples(self, frequency_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same for the whole curve, `(rows,)` each."""
        own, shared = (
            np.median(
                [ripple_db(frequency_hz, one, calm=self.calm, least_db=LEAST_SCATTER_DB) for one in curves], axis=0
            )
            for curves in self._wide_db
        )
        return own, shared

    @cached_property
    def _wide_db(self) -> FloatArray:
        """A and A - X of the levels that are readable nearly as widely as the widest, `(2, levels, rows)`."""
        known = np.sum(np.isfinite(self.product_db), axis=1)
        wide = known >= WIDE_SHARE * known.max()
        return np.array([self.product_db[wide], self.less_way_db[wide]])


@dataclass(frozen=True, kw_only=True, eq=False)
class GapContrasts:
    """All orders for one gap."""

    gap_octaves: float
    response_db: FloatArray
    """Contrast of H at f, `(rows,)`; negative: a dip."""
    orders: tuple[OrderContrasts, ...]


def gap_contrasts(evidence: Evidence, gap_octaves: float) -> GapContrasts:
    """Contrasts of every order that is readable anywhere."""
    f = evidence.frequency_hz
    orders = [
        _order(evidence, [one for one in evidence.orders if one.order == number], gap_octaves)
        for number in evidence.numbers
    ]
    return GapContrasts(
        gap_octaves=gap_octaves,
        response_db=contrasts(f, evidence.response_db[None, :], gap_octaves=gap_octaves)[0],
        orders=tuple(one for one in orders if one is not None),
    )


def _order(evidence: Evidence, curves: Sequence[OrderCurve], gap_octaves: float) -> OrderContrasts | None:
    f, number = evidence.frequency_hz, curves[0].order
    usable = _usable_rows(evidence, number)
    curves = [one for one in curves if np.any(one.readable & usable)]
    if not curves:
        return None
    counted = np.array([one.readable & usable for one in curves])
    there = evidence.response_at(number * f)
    level = np.where(counted, [one.product_db for one in curves], np.nan)
    bias = np.array([one.bias_db for one in curves])
    floor = np.array([one.fundamental_db + one.floor_db + CLEAR_OF_NOISE_DB for one in curves])
    filled = np.where(counted, level, np.where(np.isfinite(floor) & usable, floor, np.nan))
    stack = np.concatenate([level, level + bias, level - there, filled, there[None, :]])
    about = flanks(f, stack, gap_octaves=gap_octaves)
    with np.errstate(invalid="ignore"):
        confirmed = (np.abs(bias) <= CONFIRMED_DB) & (curves[-1].level_db_spl == evidence.levels[-1])
    count = len(curves)
    product, short, less_way, at_least = about.contrast_db[:-1].reshape(4, count, f.size)
    calm = calm_rows(evidence.anomalies, f, orders=(1, number))
    error = np.nan_to_num(np.array([one.uncertainty_db for one in curves])) / TWO_SIDED_95
    rushed = np.nan_to_num(np.abs(short - product))
    return OrderContrasts(
        order=number,
        levels_db_spl=tuple(one.level_db_spl for one in curves),
        product_db=product,
        there_db=about.contrast_db[-1],
        error_db=np.hypot(error, rushed),
        short_db=short,
        less_way_db=less_way,
        calm=calm,
        at_most_db=np.where(usable & ~counted, floor - about.line_db[:count], np.nan),
        at_least_db=np.where(counted & ~np.isfinite(product) & confirmed, at_least, np.nan),
        level_db=level,
        relative_db=np.where(counted, [one.relative_db for one in curves], np.nan),
    )


def _usable_rows(evidence: Evidence, number: int) -> BoolArray:
    """Rows whose n f lies within the response, with room beside its end."""
    f = evidence.frequency_hz
    known = f[np.isfinite(evidence.response_db)]
    if known.size == 0:
        return np.zeros(f.size, dtype=np.bool_)
    return np.asarray((f >= evidence.lowest_valid_hz) & (number * f <= known[-1] * 2.0**-EDGE_OCTAVES))


def calm_rows(anomalies: Sequence[Anomaly], frequency_hz: FloatArray, *, orders: tuple[int, ...]) -> BoolArray:
    """Which rows lie at no anomaly, neither at f nor at n f: there a curve shows its own ripple."""
    calm = np.ones(frequency_hz.size, dtype=np.bool_)
    for one in anomalies:
        for factor in orders:
            at_hz = factor * frequency_hz
            calm &= ~((at_hz > one.low_hz / BESIDE) & (at_hz < one.high_hz * BESIDE))
    return calm


def nearest_row(frequency_hz: FloatArray, at_hz: float) -> int | None:
    """The row within half a row's distance of a frequency; None: there is none."""
    row = int(np.argmin(np.abs(np.log(frequency_hz / at_hz))))
    off = abs(np.log2(frequency_hz[row] / at_hz))
    return row if off <= 0.5 / rows_per_octave(frequency_hz) + 1e-9 else None
