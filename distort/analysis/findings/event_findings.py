"""Findings of sounds that are not the loudspeaker's: each touches many orders at one time of one recording."""

import math
from collections.abc import Sequence

from distort.analysis.findings.evidence import Event, Evidence
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.likelihoods import share_right

PROBABILITY = share_right(182, 184)
"""In the study of foreign sounds (tests/STUDIES.md) 182 of 200 were told, and so were 2 of 200 loudspeakers that
rattle, buzz or rub: the share right where the one is as common as the other."""

STRENGTH_DB = 3.0
"""In the order of the list: after what the loudspeaker does (own choice)."""


def event_drafts(evidence: Evidence) -> list[Draft]:
    """One an event that touches an order; those that overlap at one level together."""
    groups: list[list[Event]] = []
    for one in sorted(evidence.events, key=lambda each: (each.level_db_spl, each.low_hz)):
        if not any(order > 1 for order in one.orders):
            continue
        last = groups[-1][-1] if groups else None
        if last is not None and last.level_db_spl == one.level_db_spl and one.low_hz <= 2.0 * last.high_hz:
            groups[-1].append(one)
        else:
            groups.append([one])
    return [_draft(group) for group in groups]


def _draft(group: Sequence[Event]) -> Draft:
    low_hz, high_hz = min(one.low_hz for one in group), max(one.high_hz for one in group)
    orders = sorted({order for one in group for order in one.orders if order > 1})
    return Draft(
        explanation="event-in-time",
        decided=True,
        probability=PROBABILITY,
        places=(PlaceFound(frequency_hz=math.sqrt(low_hz * high_hz), low_hz=low_hz, high_hz=high_hz),),
        strength_db=STRENGTH_DB,
        part_of_loudspeaker=False,
        numbers={
            "level_db_spl": group[0].level_db_spl,
            "lowest_order": float(orders[0]),
            "highest_order": float(orders[-1]),
        },
    )
