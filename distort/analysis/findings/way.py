"""By which way the products leave, as the ripple of all orders tells it: odds, one number for a condition."""

import numpy as np

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.way_out import way_out

MOST_ODDS = 6.0

CLEAR = 2.2
"""From these odds on (9 to 1) the way counts as known when candidates are sought."""


def way_odds(evidence: Evidence) -> float:
    """Natural logarithm of the odds that products leave by the way of the fundamental; each order at its best level."""
    total = 0.0
    for number in evidence.numbers:
        curves = [one for one in evidence.orders if one.order == number]
        best = max(curves, key=lambda one: int(np.sum(one.readable)))
        there = evidence.response_at(number * evidence.frequency_hz)
        product = np.where(best.readable, best.product_db, np.nan)
        total += way_out(number, evidence.frequency_hz, np.array([best.fundamental_db, there, product])).odds
    return float(np.clip(total, -MOST_ODDS, MOST_ODDS))


def known_way(odds: float) -> int | None:
    """1 or 0 where it is known; None where not."""
    return None if abs(odds) < CLEAR else int(odds > 0.0)
