"""The rows of evidence behind a finding: what every order says at a place, at every level at which it is readable."""

import numpy as np

from distort.analysis.common.quantities import harmonic
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.finding import EvidenceRow, Speaks
from distort.analysis.findings.places import OrderAt, Place

SPEAKS_FROM_DB = 1.5
"""A ratio that rises by less says nothing of its own."""


def order_rows(
    place: Place, fit: Fit, against: tuple[int, ...], *, only: tuple[int, ...] | None = None
) -> tuple[EvidenceRow, ...]:
    """One row an order and level.

    only   these orders; None: all
    """
    rows = []
    for one in place.orders:
        if only is not None and one.order not in only:
            continue
        for index in range(one.levels_db_spl.size):
            rows.append(_row(place, one, index, fit, against=against))
    return tuple(rows)


def _row(place: Place, one: OrderAt, index: int, fit: Fit, *, against: tuple[int, ...]) -> EvidenceRow:
    product_db = float(one.product_db[index])
    way_db = fit.alpha * one.there_db
    rise_db = product_db - place.fundamental_db
    spread_db = float(np.hypot(one.ripple_db[fit.alpha], one.error_db[index]))
    return EvidenceRow(
        quantity=harmonic(one.order).in_findings,
        stimulus="sweep",
        level_db_spl=float(one.levels_db_spl[index]),
        frequency_hz=place.frequency_hz,
        rise_db=rise_db,
        interval_db=TWO_SIDED_95 * spread_db,
        fundamental_db=-place.fundamental_db,
        response_at_product_db=way_db,
        source_db=product_db - way_db,
        value_db=float(one.relative_db[index]),
        speaks=_speaks(one, product_db, fit, spread_db=spread_db, against=against),
    )


def _speaks(one: OrderAt, product_db: float, fit: Fit, *, spread_db: float, against: tuple[int, ...]) -> Speaks:
    if one.order in against:
        return "against"
    predicted_db = fit.predicted_db[one.order]
    agrees = abs(product_db - predicted_db) <= TWO_SIDED_95 * spread_db
    tells = abs(predicted_db) >= max(SPEAKS_FROM_DB, spread_db) or one.order in fit.source_db
    return "for" if agrees and tells else "silent"


def risen(place: Place, *, least_db: float) -> tuple[int, ...]:
    """Orders whose ratio to the fundamental rises by that much and beyond its ripple."""
    return tuple(
        one.order for one in place.orders if one.mean_db - place.fundamental_db >= max(least_db, 1.5 * one.spread_db(0))
    )
