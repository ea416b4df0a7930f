"""Something in the loudspeaker makes more of some orders here: S of its own for each, or from a level on alone.

The local part of order n grows about (n-1) dB of ratio per dB while it is weak; its ratio stays the same at every level
in no product. A part that is thin below a threshold jumps there.
"""

import numpy as np

from distort.analysis.findings.explanations.fit import (
    FOLLOWS_SHARE,
    Fit,
    jump,
    log_steady,
    log_under,
    spread_about,
)
from distort.analysis.findings.likelihoods import log_density, log_density_of_source, log_sum
from distort.analysis.findings.places import OrderAt, Place

TAKES_PART = 0.3
"""Probability that a given order has a part in it: a symmetric curve makes odd orders only, a narrow one few."""

JUMPS = 0.15
"""Probability that a source is there above a level only."""

LEAST_GROWTH = 1.2
"""dB of product per dB of drive below which a reading is no product of an order: order 2 has 2, a source that is half
driven into saturation still more than this (own choice)."""


def local_source(place: Place, *, alpha: int, name: str = "loudspeaker-generated", drive_db: float = 0.0) -> Fit:
    """The best S of each order, and how likely the place is with them.

    drive_db   what a filter before the non-linearity takes or adds: orders without a part in the source follow n times
    """
    total, sources, predicted, spreads = 0.0, {}, {}, {}
    for one in place.orders:
        way_db = alpha * one.there_db + one.order * drive_db
        follows_db = FOLLOWS_SHARE * one.order * drive_db
        off_db, spread_db = one.mean_db - way_db, float(np.hypot(spread_about(place, one, alpha), follows_db))
        spreads[one.order] = spread_db
        none = float(np.log(1.0 - TAKES_PART)) + log_density(off_db, spread_db) + log_steady(one)
        steady = float(np.log(TAKES_PART * (1.0 - JUMPS))) + log_density_of_source(off_db, spread_db) + log_steady(one)
        jumps, jumped_db = _jumping(one, way_db, alpha)
        total += log_sum(none, steady, jumps)
        if max(steady, jumps) > none:
            sources[one.order] = off_db if steady >= jumps else jumped_db
        predicted[one.order] = way_db + sources.get(one.order, 0.0)
    total += log_under(place, alpha, drive_db=drive_db)
    return Fit(
        name=name,
        alpha=alpha,
        log_likelihood=total,
        predicted_db=predicted,
        spread_db=spreads,
        source_db=sources,
    )


def _jumping(one: OrderAt, way_db: float, alpha: int) -> tuple[float, float]:
    """Log likelihood that nothing is there at the lowest level and something at the highest; and that S."""
    found = jump(one)
    if found is None:
        return -np.inf, 0.0
    quiet_db = float(one.product_db[0]) - way_db
    spread_db = float(np.hypot(one.ripple_db[alpha], one.error_db[0]))
    value = float(np.log(TAKES_PART * JUMPS)) + log_density(quiet_db, spread_db) + log_density_of_source(*found)
    return value, float(one.product_db[-1]) - way_db


def grows(place: Place, orders: tuple[int, ...]) -> bool | None:
    """Whether the orders grow with drive as products do; None: no two levels tell it."""
    known = [one.growth for one in place.orders if one.order in orders and one.growth is not None]
    return None if not known else float(np.median(known)) >= LEAST_GROWTH
