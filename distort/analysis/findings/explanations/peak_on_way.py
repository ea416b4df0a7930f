"""A resonance on the products' way out: orders rise where n f meets it, at another f each, with n f in common.

The response need not show it: what radiates the product may be filtered out of the fundamental there, as a cone's
break-up is above a crossover.
"""

from dataclasses import dataclass

import numpy as np

from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.likelihoods import log_density
from distort.analysis.findings.places import OrderAt

ALIKE_SHARE, ALIKE_DB = 0.25, 1.0
"""How far two orders' rises at one resonance differ: of their size, and besides (smoothing differs by order)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ElsewhereAt:
    """An order where it meets the same n f."""

    frequency_hz: float
    order: OrderAt


def log_odds(fit: Fit, order: int, others: list[ElsewhereAt]) -> float:
    """Of a resonance on the way over a source at the place, natural logarithm.

    order    that stands out at the place, by `fit.source_db`
    others   the other orders where they meet the same n f
    """
    rise_db = fit.source_db[order]
    total = 0.0
    for one in others:
        found_db = one.order.mean_db - fit.alpha * one.order.there_db
        spread_db = one.order.spread_db(fit.alpha)
        alike_db = float(np.sqrt(spread_db**2 + (ALIKE_SHARE * rise_db) ** 2 + ALIKE_DB**2))
        total += log_density(found_db - rise_db, alike_db) - log_density(found_db, spread_db)
    return total


def shares_it(fit: Fit, order: int, one: ElsewhereAt) -> bool:
    """Whether an order rises there by at least half as much."""
    found_db = one.order.mean_db - fit.alpha * one.order.there_db
    return found_db >= 0.5 * fit.source_db[order]
