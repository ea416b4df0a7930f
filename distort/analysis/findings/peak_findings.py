"""Where products of several orders come out at one frequency, and rise there: n f is common, f differs by order."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.candidates import Contrasts
from distort.analysis.findings.contrasts import gap_for
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.explanations.peak_on_way import ElsewhereAt, log_odds, shares_it
from distort.analysis.findings.finding import Draft, EvidenceRow, Explanation, PlaceFound
from distort.analysis.findings.likelihoods import log_density, log_density_of_source, log_sum
from distort.analysis.findings.order_contrasts import GapContrasts, nearest_row
from distort.analysis.findings.places import OrderAt, Place, place_at
from distort.analysis.findings.rows import order_rows
from distort.analysis.findings.weighings import (
    DECIDED,
    LEAST_NAMED_DB,
    LEAST_RISE_DB,
    Weighing,
    place_found,
)

OF_A_COMB = 0.2
"""Of the distance between two dips of a comb: a peak this near to the middle between them is the comb's."""

MODES_TO_HZ = 500.0
"""Below it a peak of the response in a room may be a few of its modes: nothing is said of it there (own choice; a room
of 40 m3 that rings for 0.4 s has single modes up to 200 Hz, Schroeder 1962, from memory)."""

SOURCE_PRIOR = 0.05
"""Probability that each order has a source of its own just where it meets the peak."""


def source_or_peak(evidence: Evidence, found: GapContrasts, one: Weighing, source: Draft) -> Draft:
    """The finding of a source, or of a resonance on the products' way where other orders tell that."""
    fit = one.found.source
    order = max(fit.source_db, key=lambda number: fit.source_db[number])
    heard_hz = order * one.place.frequency_hz
    others = _meeting(evidence, found, heard_hz, besides=order)
    odds = log_odds(fit, order, others)
    shared = [each for each in others if shares_it(fit, order, each)]
    peak = float(1.0 / (1.0 + np.exp(-odds))) if others else 0.5
    if peak >= DECIDED and shared:
        beside = [
            row for each in shared for row in _shared_rows(evidence, found, fit, each, rise_db=fit.source_db[order])
        ]
        return replace(
            source,
            explanation="product-on-peak",
            decided=True,
            probability=one.has_source * peak,
            places=(source.places[0], *(place_found(each.frequency_hz) for each in shared)),
            part_of_loudspeaker=None,
            numbers={"heard_hz": heard_hz, "rise_db": fit.source_db[order]},
            evidence=(*source.evidence, *beside),
            between=(),
        )
    probability = source.probability * (1.0 - peak)
    if probability >= DECIDED and source.decided:
        return replace(source, probability=probability)
    between: tuple[Explanation, ...] = ("loudspeaker-generated", "product-on-peak")
    return replace(
        source,
        explanation="undecided",
        decided=False,
        probability=probability,
        between=between,
        part_of_loudspeaker=None,
    )


def _meeting(evidence: Evidence, found: GapContrasts, heard_hz: float, *, besides: int) -> list[ElsewhereAt]:
    """Every other order where it meets the same n f, as far as it is readable there."""
    meeting = []
    for number in evidence.numbers:
        row = nearest_row(evidence.frequency_hz, heard_hz / number) if number != besides else None
        if row is None:
            continue
        order = place_at(evidence.frequency_hz, found, row).of(number)
        if order is not None and np.isfinite(order.spread_db(0)):
            meeting.append(ElsewhereAt(frequency_hz=heard_hz / number, order=order))
    return meeting


def _shared_rows(
    evidence: Evidence, found: GapContrasts, fit: Fit, one: ElsewhereAt, *, rise_db: float
) -> tuple[EvidenceRow, ...]:
    """What another order says where it meets the same n f: for it where it rises as much as the first."""
    row = nearest_row(evidence.frequency_hz, one.frequency_hz)
    place = None if row is None else place_at(evidence.frequency_hz, found, row)
    if place is None:
        return ()
    raised = Fit(
        name="product-on-peak",
        alpha=fit.alpha,
        log_likelihood=0.0,
        predicted_db={each.order: fit.alpha * each.there_db + rise_db for each in place.orders},
        spread_db={each.order: each.spread_db(fit.alpha) for each in place.orders},
    )
    return order_rows(place, raised, (), only=(one.order.order,))


def peak_drafts(evidence: Evidence, contrasts: Contrasts, weighed: Sequence[Weighing]) -> list[Draft]:
    """One a peak of the response that products meet, away from the combs of delayed copies."""
    combs = [one.anomaly for one in weighed if one.anomaly is not None and one.anomaly.shape == "interference"]
    drafts = []
    for one in evidence.anomalies:
        of_room = evidence.in_room and one.frequency_hz < MODES_TO_HZ
        stands = one.kind == "peak" and one.deviation_db >= LEAST_NAMED_DB and not of_room
        if stands and not any(_of_comb(one, comb) for comb in combs):
            draft = _at_peak(evidence, contrasts[gap_for(one.width_octaves)], one)
            drafts += [] if draft is None else [draft]
    return drafts


def _of_comb(peak: Anomaly, comb: Anomaly) -> bool:
    """Whether the peak lies where the comb of a copy has one: at multiples of twice its first dip."""
    if comb.path_difference_m is None:
        return False
    first_dip_hz = comb.frequency_hz * comb.half_wave_m / comb.path_difference_m
    number = peak.frequency_hz / (2.0 * first_dip_hz)
    return round(number) >= 1 and abs(number - round(number)) < OF_A_COMB


def _at_peak(evidence: Evidence, found: GapContrasts, peak: Anomaly) -> Draft | None:
    met: list[tuple[Place, OrderAt]] = []
    for number in evidence.numbers:
        row = nearest_row(evidence.frequency_hz, peak.frequency_hz / number)
        place = None if row is None else place_at(evidence.frequency_hz, found, row)
        order = None if place is None else place.of(number)
        if place is not None and order is not None and order.there_db >= LEAST_RISE_DB:
            met.append((place, order))
    rising = [
        (place, order)
        for place, order in met
        if order.mean_db - place.fundamental_db >= max(LEAST_RISE_DB, 2.0 * order.spread_db(1))
        and order.mean_db >= 0.5 * order.there_db
    ]
    if not rising:
        return None
    follows, own, source = (sum(each) for each in zip(*(_logs(order) for _, order in met), strict=True))
    probability = float(np.exp(follows - log_sum(follows, own, source)))
    decided = probability >= DECIDED
    rising.sort(key=lambda each: -(each[1].mean_db - each[0].fundamental_db))
    place, order = rising[0]
    of_itself = decided and peak.shape == "resonance" and not evidence.in_room
    beside = tuple(place_found(each.frequency_hz) for each, _ in rising)
    return Draft(
        explanation="product-on-peak" if decided else "undecided",
        also=("resonance",) if of_itself else (),
        decided=decided,
        probability=probability,
        places=(*beside, _place_of(peak)) if of_itself else beside,
        strength_db=order.mean_db - place.fundamental_db,
        numbers={"heard_hz": peak.frequency_hz, "rise_db": order.mean_db, "order": float(order.order)},
        evidence=tuple(row for each, one in rising for row in _rows(each, one)),
        between=("product-on-peak", "loudspeaker-generated") if not decided else (),
        in_room=evidence.in_room,
    )


def _place_of(peak: Anomaly) -> PlaceFound:
    """Where the response itself peaks."""
    return PlaceFound(frequency_hz=peak.frequency_hz, low_hz=peak.low_hz, high_hz=peak.high_hz)


def _logs(order: OrderAt) -> tuple[float, float, float]:
    """Log likelihoods that the order follows the response, does not, and has a source of its own."""
    follows = float(np.log(0.9)) + log_density(order.mean_db - order.there_db, order.spread_db(1))
    own = float(np.log(0.1)) + log_density(order.mean_db, order.spread_db(0))
    source = float(np.log(SOURCE_PRIOR)) + log_density_of_source(order.mean_db, order.spread_db(0))
    return follows, own, source


def _rows(place: Place, one: OrderAt) -> tuple[EvidenceRow, ...]:
    fit = Fit(
        name="product-on-peak",
        alpha=1,
        log_likelihood=0.0,
        predicted_db={each.order: each.there_db for each in place.orders},
        spread_db={each.order: each.spread_db(1) for each in place.orders},
    )
    return order_rows(place, fit, (), only=(one.order,))
