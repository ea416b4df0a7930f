"""A filter before the non-linearity changes the drive by A_1: the product of order n changes by n A_1.

D_n = P_n - P_1 therefore changes by (n-1) A_1: it *falls* in a dip. What is made elsewhere does not follow.
"""

import numpy as np

from distort.analysis.findings.explanations.fit import FOLLOWS_SHARE, Fit, log_steady, log_under
from distort.analysis.findings.likelihoods import log_density
from distort.analysis.findings.places import Place

NAME = "filter-before-source"

LEAST_DB = 0.8
"""A smaller dip or peak of the drive moves products by no more than ripple does."""


def before_source(place: Place, *, alpha: int) -> Fit | None:
    """What it predicts, with what the response at n f adds or without; None where it does not stand out at f."""
    drive_db = place.fundamental_db
    if abs(drive_db) < LEAST_DB:
        return None
    predicted = {one.order: one.order * drive_db + alpha * one.there_db for one in place.orders}
    total, spreads = 0.0, {}
    for one in place.orders:
        spread_db = float(np.hypot(one.spread_db(alpha), FOLLOWS_SHARE * one.order * drive_db))
        spreads[one.order] = spread_db
        total += log_density(one.mean_db - predicted[one.order], spread_db) + log_steady(one)
    total += log_under(place, alpha, drive_db=drive_db)
    return Fit(name=NAME, alpha=alpha, log_likelihood=total, predicted_db=predicted, spread_db=spreads)
