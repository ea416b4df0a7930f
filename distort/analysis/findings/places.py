"""What every order says at one place, each level, put together for the explanations to be held against."""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.findings.order_contrasts import GapContrasts, OrderContrasts

FloatArray = npt.NDArray[np.float64]

STEADY_DB = 0.3
"""Standard deviation that levels differ by besides noise: what a product of several orders does with drive."""

MOST_TIMES = 3.0
"""The ripple of one order over the median of all: more is no ripple (own choice)."""

LEAST_BOUND_DB = 6.0
"""A bound on A tells something where it lies so far above what the response gives: it has the floor's scatter in it."""

BOUND_RIPPLE_DB = 2.0
"""Ripple of an order that is readable at one place alone, where the other orders show less (own choice: common ripple
of the orders of made loudspeakers is 0.5 to 2.5 dB)."""

LEAST_STEP_DB = 4.0
"""Levels nearer than this show no growth."""


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderAt:
    """One order at one place; `(levels,)` arrays hold the levels at which it is readable there, from the lowest up."""

    order: int
    levels_db_spl: FloatArray
    product_db: FloatArray
    """A."""
    error_db: FloatArray
    short_db: FloatArray
    there_db: float
    """X; 0 where it is not known."""
    ripple_db: tuple[float, float]
    """For alpha 0 and 1."""
    relative_db: FloatArray
    """D_n itself, the greatest near the place's centre."""
    at_least: bool = False
    """A is a lower bound: beside the place the order lies under its floor."""

    @property
    def mean_db(self) -> float:
        """A over all levels, weighted by noise."""
        weight = 1.0 / (np.square(self.error_db) + STEADY_DB**2)
        return float(np.sum(weight * self.product_db) / np.sum(weight))

    def spread_db(self, alpha: int) -> float:
        """Standard deviation of `mean_db - alpha there_db` where nothing is."""
        weight = 1.0 / (np.square(self.error_db) + STEADY_DB**2)
        return float(np.sqrt(self.ripple_db[alpha] ** 2 + 1.0 / np.sum(weight)))

    @property
    def growth(self) -> float | None:
        """dB of product per dB of drive between the first and the last readable level; None: too near, or one."""
        step_db = float(self.levels_db_spl[-1] - self.levels_db_spl[0])
        if step_db < LEAST_STEP_DB:
            return None
        return 1.0 + float(self.relative_db[-1] - self.relative_db[0]) / step_db


@dataclass(frozen=True, kw_only=True)
class AtMost:
    """An order that lies under its floor at a place, and is readable on both flanks."""

    order: int
    at_most_db: float
    """A is less than this."""
    there_db: float
    ripple_db: tuple[float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """One place in all orders."""

    frequency_hz: float
    gap_octaves: float
    fundamental_db: float
    """A_1: contrast of the response at f; negative at a dip."""
    orders: tuple[OrderAt, ...] = field(default=())
    under: tuple[AtMost, ...] = field(default=())

    def of(self, number: int) -> OrderAt | None:
        """That order, if it is readable."""
        return next((one for one in self.orders if one.order == number), None)


def place_at(frequency_hz: FloatArray, found: GapContrasts, row: int) -> Place:
    """What all orders say at a row."""
    orders = [each for one in found.orders if (each := _order_at(frequency_hz, one, row)) is not None]
    most_db = [_most_ripple_db(orders, alpha) for alpha in (0, 1)]
    bounds = [each for one in found.orders if (each := _bound_at(one, row, most_db)) is not None]
    bounded = [
        replace(one, ripple_db=(min(one.ripple_db[0], most_db[0]), min(one.ripple_db[1], most_db[1]))) for one in orders
    ] + bounds
    return Place(
        frequency_hz=float(frequency_hz[row]),
        gap_octaves=found.gap_octaves,
        fundamental_db=float(np.nan_to_num(found.response_db[row])),
        orders=tuple(one for one in bounded if np.isfinite(one.ripple_db[0] + one.ripple_db[1])),
        under=tuple(low for one in found.orders if (low := _under(frequency_hz, one, row)) is not None),
    )


def _under(frequency_hz: FloatArray, one: OrderContrasts, row: int) -> AtMost | None:
    """The lowest bound over the levels, of an order that is readable at none of them here."""
    bounds = one.at_most_db[:, row]
    if np.any(np.isfinite(one.product_db[:, row])) or not np.any(bounds < 0.0):
        return None
    ripple_db = one.ripple_at(frequency_hz, row)
    if not np.isfinite(ripple_db[0] + ripple_db[1]):
        return None
    return AtMost(
        order=one.order,
        at_most_db=float(np.nanmin(bounds)),
        there_db=float(np.nan_to_num(one.there_db[row])),
        ripple_db=ripple_db,
    )


def _most_ripple_db(orders: list["OrderAt"], alpha: int) -> float:
    """An order that is readable about a strong source alone shows its skirts as ripple: the others bound it."""
    known = [one.ripple_db[alpha] for one in orders if np.isfinite(one.ripple_db[alpha])]
    return MOST_TIMES * float(np.median(known)) if known else float("inf")


def _bound_at(one: OrderContrasts, row: int, most_db: list[float]) -> OrderAt | None:
    """An order that stands above its floor here and not on both flanks, at the levels whose bound tells something."""
    there_db = float(np.nan_to_num(one.there_db[row]))
    if np.any(np.isfinite(one.product_db[:, row])):
        return None
    known = np.nan_to_num(one.at_least_db[:, row], nan=-np.inf) >= LEAST_BOUND_DB + max(there_db, 0.0)
    if not known[-1]:
        return None  # what is not there at the highest level is no product
    own_db, shared_db = (max(each / MOST_TIMES, BOUND_RIPPLE_DB) for each in most_db)
    return OrderAt(
        order=one.order,
        levels_db_spl=np.array(one.levels_db_spl)[known],
        product_db=one.at_least_db[known, row],
        error_db=one.error_db[known, row],
        short_db=one.short_db[known, row],
        there_db=there_db,
        ripple_db=(_finite(own_db), _finite(shared_db)),
        relative_db=one.relative_db[known, row],
        at_least=True,
    )


def _finite(ripple_db: float) -> float:
    return ripple_db if np.isfinite(ripple_db) else BOUND_RIPPLE_DB


def _order_at(frequency_hz: FloatArray, one: OrderContrasts, row: int) -> OrderAt | None:
    known = np.isfinite(one.product_db[:, row])
    if not np.any(known):
        return None
    return OrderAt(
        order=one.order,
        levels_db_spl=np.array(one.levels_db_spl)[known],
        product_db=one.product_db[known, row],
        error_db=one.error_db[known, row],
        short_db=one.short_db[known, row],
        there_db=float(np.nan_to_num(one.there_db[row])),
        ripple_db=one.ripple_at(frequency_hz, row),
        relative_db=one.relative_db[known, row],
    )
