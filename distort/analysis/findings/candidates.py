"""Where to look: at every dip and peak of the response, where n f meets a peak, and where orders stand out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.contrasts import GAPS_OCTAVES, gap_for
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.order_contrasts import GapContrasts, OrderContrasts, gap_contrasts, nearest_row
from distort.analysis.findings.places import BOUND_RIPPLE_DB

FloatArray = npt.NDArray[np.float64]

LEAST_TOP_DB = 2.5
LEAST_SPREADS = 3.0
"""An order that stands out less does not call for a look on its own."""

MOST_SPREADS = 8.0
"""And one order counts for no more than this."""

TOP_SHARE = 0.01
"""Of what stands out, without a limit: among rows that count alike the top is taken."""

APART_OCTAVES = 1.0 / 4.0
"""Candidates nearer to each other are one place: the strongest is looked at."""


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A row to be looked at, with the gap that suits it."""

    row: int
    gap_octaves: float
    anomaly: Anomaly | None = None
    """The dip or peak that lies at f; None: the orders themselves called."""
    strength: float = 0.0


Contrasts = Mapping[float, GapContrasts]
"""By gap."""


def all_contrasts(evidence: Evidence) -> Contrasts:
    """For every gap."""
    return {gap: gap_contrasts(evidence, gap) for gap in GAPS_OCTAVES}


def at_anomalies(evidence: Evidence) -> list[Candidate]:
    """One a dip or peak, where the grid has a row."""
    found = []
    for one in evidence.anomalies:
        row = nearest_row(evidence.frequency_hz, one.frequency_hz)
        if row is not None:
            found.append(Candidate(row=row, gap_octaves=gap_for(one.width_octaves), anomaly=one))
    return found


def at_tops(evidence: Evidence, contrasts: Contrasts, alpha: int | None) -> list[Candidate]:
    """Where orders stand out together, the strongest first.

    alpha   1 or 0 where the way of the products is known; None: they must stand out either way
    """
    found: list[Candidate] = []
    for gap, each in contrasts.items():
        if not each.orders:
            continue
        spreads = np.array([_standing_out(evidence.frequency_hz, one, alpha) for one in each.orders])
        score = np.sum(np.square(np.minimum(spreads, MOST_SPREADS)), axis=0) + TOP_SHARE * np.sum(spreads, axis=0)
        rows = np.flatnonzero(score >= LEAST_SPREADS**2)
        found += [Candidate(row=int(row), gap_octaves=gap, strength=float(score[row])) for row in rows]
    return _apart(evidence.frequency_hz, found)


def _standing_out(frequency_hz: FloatArray, one: OrderContrasts, alpha: int | None) -> FloatArray:
    """How many spreads an order stands out by at each row, at all levels together or at the highest, `(rows,)`."""
    with np.errstate(invalid="ignore"):
        product_db = one.known_db
        known = np.isfinite(product_db)
        mean = np.sum(np.where(known, product_db, 0.0), axis=0) / np.maximum(np.sum(known, axis=0), 1)
        top = np.nan_to_num(product_db[-1], nan=-np.inf)
        db = np.where(np.any(known, axis=0), np.maximum(mean, top), -np.inf)
    there = np.nan_to_num(one.there_db)
    noise = np.nan_to_num(np.min(np.where(known, one.error_db, np.inf), axis=0), posinf=0.0)
    ways = (0, 1) if alpha is None else (alpha,)
    smallest_db = np.min([db - way * there for way in ways], axis=0)
    alone = ~np.any(np.isfinite(one.product_db), axis=0)  # bounds alone: their own ripple is not known
    ripple = [np.where(alone & ~np.isfinite(each), BOUND_RIPPLE_DB, each) for each in one.ripples(frequency_hz)]
    with np.errstate(invalid="ignore"):  # where nothing is known of its ripple nothing stands out
        spreads = np.min([(db - way * there) / np.hypot(ripple[way], noise) for way in ways], axis=0)
    return np.where((smallest_db >= LEAST_TOP_DB) & (spreads >= 1.5), spreads, 0.0)


def _apart(frequency_hz: FloatArray, found: Sequence[Candidate]) -> list[Candidate]:
    kept: list[Candidate] = []
    for one in sorted(found, key=lambda each: -each.strength):
        at_hz = frequency_hz[one.row]
        if all(abs(np.log2(at_hz / frequency_hz[other.row])) >= APART_OCTAVES for other in kept):
            kept.append(one)
    return kept
