"""How an explanation stands to a place."""

from dataclasses import dataclass, field

import numpy as np

from distort.analysis.findings.likelihoods import log_below, log_density
from distort.analysis.findings.places import LEAST_STEP_DB, OrderAt, Place

STEEP_SHARE, STEEP_AT_F_SHARE = 0.12, 0.04
"""Of X and of the dip at f: response and product are smoothed alike in power, but not where both are steep at once."""

ALIKE_DB = 1.0
"""Standard deviation of what a product's contrast changes by from the lowest to the highest level besides noise: other
orders of the curve take part as it is driven harder."""


FOLLOWS_SHARE = 0.2
"""Of n A_1, behind a filter before the non-linearity: smoothing fills a narrow dip of the product differently, and
other orders of the curve join in."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """One explanation, alone or with a source of its own besides."""

    name: str
    alpha: int
    log_likelihood: float
    predicted_db: dict[int, float]
    """A of each order."""
    spread_db: dict[int, float]
    """Standard deviation of A about that."""
    source_db: dict[int, float] = field(default_factory=dict)
    """S of the orders that a source makes more of."""


def jump(one: OrderAt) -> tuple[float, float] | None:
    """How far A grows from the lowest to the highest level, and the standard deviation of that where nothing changes;
    None: it is readable at one level, or the levels are too near."""
    if one.levels_db_spl[-1] - one.levels_db_spl[0] < LEAST_STEP_DB:
        return None
    error_db = float((one.error_db[0] ** 2 + one.error_db[-1] ** 2 + ALIKE_DB**2) ** 0.5)
    return float(one.product_db[-1] - one.product_db[0]), error_db


def log_steady(one: OrderAt) -> float:
    """Of an order's contrast being the same at all levels."""
    found = jump(one)
    return 0.0 if found is None else log_density(*found)


def passive(place: Place, *, name: str, alpha: int) -> Fit:
    """Nothing makes more here: every order's A is alpha X."""
    predicted = {one.order: alpha * one.there_db for one in place.orders}
    spreads = {one.order: spread_about(place, one, alpha) for one in place.orders}
    total = sum(
        log_density(one.mean_db - predicted[one.order], spreads[one.order]) + log_steady(one) for one in place.orders
    )
    total += log_under(place, alpha)
    return Fit(name=name, alpha=alpha, log_likelihood=total, predicted_db=predicted, spread_db=spreads)


def log_under(place: Place, alpha: int, *, drive_db: float = 0.0) -> float:
    """Of the orders that lie under their floors at the place.

    drive_db   what a filter before the non-linearity takes: n times as much of order n
    """
    return sum(
        log_below(one.at_most_db - one.order * drive_db - alpha * one.there_db, one.ripple_db[alpha])
        for one in place.under
    )


def spread_about(place: Place, one: OrderAt, alpha: int) -> float:
    """Standard deviation of A about alpha X: ripple, noise, and what smoothing does at steep places."""
    steep_db = alpha * STEEP_SHARE * abs(one.there_db) + STEEP_AT_F_SHARE * abs(place.fundamental_db)
    return float(np.hypot(one.spread_db(alpha), steep_db))
