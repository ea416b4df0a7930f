"""Findings that the orders tell: at dips and peaks, where products meet a peak, and where something makes more."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.candidates import Candidate, Contrasts, all_contrasts, at_anomalies, at_tops
from distort.analysis.findings.combs import path_of, same_path
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation
from distort.analysis.findings.image_findings import with_images
from distort.analysis.findings.peak_findings import peak_drafts, source_or_peak
from distort.analysis.findings.places import place_at
from distort.analysis.findings.response_findings import response_drafts
from distort.analysis.findings.rows import order_rows, risen
from distort.analysis.findings.way import known_way, way_odds
from distort.analysis.findings.weighing import BEFORE, OWN, SHARED, weighed
from distort.analysis.findings.weighings import DECIDED, LEAST_NAMED_DB, LEAST_RISE_DB, OPEN, Weighing, octaves_apart

SOURCE_AT_ANOMALY, SOURCE_AT_TOP = 0.05, 0.02
"""Probability that something is made at a place, before it is looked at: of the 60 places that a band holds about one
in five loudspeakers has one (own choice)."""

BEFORE_PRIOR, BEFORE_AT_TOP = 0.12, 0.3
"""That a dip or peak lies before the non-linearity; and that ripple does, where orders stand out: it moves order n by n
times as much."""

BEFORE_OF_COMB = 0.002
"""That all dips of a delayed copy lie before the non-linearity: an echo in what drives the loudspeaker (own choice).
Beside it a source that makes up for each dip's n-fold loss would explain anything."""

NO_PRIOR = 1e-6
"""Of a source among orders of which it is known that they have none."""

LEAST_DIPS_IN_ROOM = 2
"""Of a comb: one delay that several dips share is no accident of a room."""

LEAST_SHARE = 1e-3
"""No dip of a comb speaks against an explanation with more than a thousand to one."""

TOP_ROWS = 5
"""How far the top of an order lies from a candidate that several orders call for: a fifth of an octave."""

NEAR_OCTAVES = 1.0 / 5.0
"""Tops nearer to an anomaly were weighed there."""


def order_drafts(evidence: Evidence) -> list[Draft]:
    """All of them; several may lie at one place."""
    contrasts = all_contrasts(evidence)
    odds = way_odds(evidence)
    at_dips = [_weighed(evidence, contrasts, one, odds) for one in at_anomalies(evidence)]
    drafts = []
    for group in _combs(evidence, at_dips):
        drafts += _of_group(evidence, contrasts, group, odds=odds)
    drafts += peak_drafts(evidence, contrasts, at_dips)
    drafts += _tops(evidence, contrasts, odds, at_dips)
    drafts += response_drafts(evidence, at_dips, drafts)
    return with_images(drafts, evidence, contrasts)


def _weighed(evidence: Evidence, contrasts: Contrasts, one: Candidate, odds: float) -> Weighing:
    place = place_at(evidence.frequency_hz, contrasts[one.gap_octaves], one.row)
    found = weighed(
        place,
        way_odds=odds,
        source_prior=SOURCE_AT_ANOMALY if one.anomaly is not None else SOURCE_AT_TOP,
        before_prior=before_prior(evidence, one.anomaly),
    )
    return Weighing(place=place, anomaly=one.anomaly, found=found)


def before_prior(evidence: Evidence, anomaly: Anomaly | None) -> float:
    """How probable it is that a dip or peak, or ripple where there is none, lies before what distorts."""
    if anomaly is None:
        return BEFORE_AT_TOP
    return BEFORE_PRIOR if path_of(evidence, anomaly) is None else BEFORE_OF_COMB


def _combs(evidence: Evidence, found: Sequence[Weighing]) -> list[list[Weighing]]:
    """Dips of one delayed copy together, everything else alone."""
    groups: list[tuple[float | None, list[Weighing]]] = []
    for one in found:
        path_m = None if one.anomaly is None else path_of(evidence, one.anomaly)
        same = next((group for other_m, group in groups if same_path(path_m, other_m)), None)
        if same is None:
            groups.append((path_m, [one]))
        else:
            same.append(one)
    return [group for _, group in groups]


def _of_group(evidence: Evidence, contrasts: Contrasts, group: Sequence[Weighing], *, odds: float) -> list[Draft]:
    """The passive explanation of a dip or a comb, and what is made at it besides."""
    names = (SHARED, OWN, BEFORE)
    each = [_shares_of(evidence, one, odds) for one in group]
    logs = {name: sum(np.log(one.get(name, 0.0) + LEAST_SHARE) for one in each) for name in names}
    top = max(logs.values())
    total = sum(np.exp(value - top) for value in logs.values())
    shares = {name: float(np.exp(value - top) / total) for name, value in logs.items()}
    made = [
        source_or_peak(evidence, contrasts[one.place.gap_octaves], one, _source(one))
        for one in group
        if one.has_source >= OPEN
    ]
    own_way_alone = max(shares, key=lambda name: shares[name]) == OWN and len(group) == 1
    drafts = [] if made and own_way_alone else _passive(evidence, group, shares)
    return drafts + made


def _shares_of(evidence: Evidence, one: Weighing, odds: float) -> Mapping[str, float]:
    """Probability of each explanation of the dip itself: where something is made there besides, by the other orders."""
    if one.has_source <= OPEN:
        return one.found.probability
    made = one.found.source.source_db
    rest = replace(one.place, orders=tuple(order for order in one.place.orders if order.order not in made))
    before = before_prior(evidence, one.anomaly)
    return weighed(rest, way_odds=odds, source_prior=NO_PRIOR, before_prior=before).probability


def _passive(evidence: Evidence, group: Sequence[Weighing], shares: dict[str, float]) -> list[Draft]:
    best = max(shares, key=lambda name: shares[name])
    first = max(group, key=lambda one: abs(one.place.fundamental_db))
    anomaly = first.anomaly
    if anomaly is None or abs(first.place.fundamental_db) < LEAST_NAMED_DB:
        return []
    shown = [one for one in group if risen(one.place, least_db=LEAST_RISE_DB)]
    if best == BEFORE:
        shown = [one for one in group if one.place.orders or one.place.under]
    elif anomaly.kind == "peak":
        return []  # the ratio falls there: what the response alone tells is looked at later
    if not shown:
        return []
    first = max(shown, key=lambda one: abs(one.place.fundamental_db))
    if evidence.in_room and len(group) < LEAST_DIPS_IN_ROOM:
        return []  # a room is full of dips, and one microphone place cannot tell whose they are
    explanation, between = _named(evidence, anomaly, best)
    against = tuple(f"h{number}" for one in shown for number in one.found.against)
    decided = shares[best] >= DECIDED and explanation != "undecided" and not against
    rises = [one.mean_db - each.place.fundamental_db for each in shown for one in each.place.orders]
    return [
        Draft(
            explanation=explanation if decided else "undecided",
            decided=decided,
            probability=shares[best],
            places=tuple(one.as_place for one in [first, *(each for each in shown if each is not first)]),
            strength_db=max(rises, default=abs(first.place.fundamental_db)),
            part_of_loudspeaker=None,
            numbers=_numbers(group, first),
            evidence=tuple(row for one in shown for row in order_rows(one.place, one.found.best, one.found.against)),
            against=against,
            between=between
            or (
                explanation,
                *(_named(evidence, anomaly, name)[0] for name in shares if name != best and shares[name] > 0.1),
            ),
            in_room=evidence.in_room,
        )
    ]


def _named(evidence: Evidence, anomaly: Anomaly, best: str) -> tuple[Explanation, tuple[Explanation, ...]]:
    """The explanation, and what it lies between where the shape of the dip leaves that open."""
    if best == BEFORE:
        return "filter-before-source", ()
    if anomaly.elsewhere == "filled-in":
        return "room", ()
    if best == OWN:
        return "cancellation", ()
    if path_of(evidence, anomaly) is not None:
        return "delayed-copy", ()
    if anomaly.shape == "resonance":
        return "resonance", ()
    return "undecided", ("delayed-copy", "resonance")


def _numbers(group: Sequence[Weighing], first: Weighing) -> dict[str, float]:
    anomaly = first.anomaly
    numbers = {"fundamental_db": first.place.fundamental_db}
    if anomaly is not None and anomaly.path_difference_m is not None:
        numbers["path_m"] = anomaly.path_difference_m
    if anomaly is not None and anomaly.reflection is not None:
        numbers["amplitude"] = anomaly.reflection
    if anomaly is not None and anomaly.path_difference_m is None:
        numbers["q"] = anomaly.q
    return numbers


def _source(one: Weighing) -> Draft:
    fit = one.found.source
    probability = one.has_source
    decided = probability >= DECIDED
    order = max(fit.source_db, key=lambda number: fit.source_db[number])
    spread_db = fit.spread_db[order]
    reading = one.place.of(order)
    bound = {"at_least": 1.0} if reading is not None and reading.at_least else {}
    return Draft(
        explanation="loudspeaker-generated" if decided else "undecided",
        decided=decided,
        probability=probability,
        places=(one.as_place,),
        strength_db=fit.source_db[order],
        part_of_loudspeaker=True if decided else None,
        numbers={
            "order": float(order),
            "source_db": fit.source_db[order],
            "source_interval_db": TWO_SIDED_95 * spread_db,
            **bound,
        },
        evidence=order_rows(one.place, fit, ()),
        between=("loudspeaker-generated", "noise") if not decided else (),
    )


def _tops(evidence: Evidence, contrasts: Contrasts, odds: float, before: Sequence[Weighing]) -> list[Draft]:
    """What stands out where no dip or peak lies at f: a source, or a resonance on the products' way."""
    f = evidence.frequency_hz
    drafts: list[Draft] = []
    for candidate in at_tops(evidence, contrasts, known_way(odds)):
        at_hz = float(f[candidate.row])
        if any(octaves_apart(one.place.frequency_hz, at_hz) < NEAR_OCTAVES for one in before):
            continue
        one = _at_its_top(evidence, contrasts, candidate, odds)
        if one.has_source < OPEN or any(_met(draft, one) for draft in drafts):
            continue
        drafts.append(source_or_peak(evidence, contrasts[candidate.gap_octaves], one, _source(one)))
    return drafts


def _at_its_top(evidence: Evidence, contrasts: Contrasts, candidate: Candidate, odds: float) -> Weighing:
    """The place at the top of the order that stands out most: orders with tops near by draw candidates between them."""
    one = _weighed(evidence, contrasts, candidate, odds)
    sources = one.found.source.source_db
    if not sources:
        return one
    main = max(sources, key=lambda number: sources[number])
    curve = next(each for each in contrasts[candidate.gap_octaves].orders if each.order == main)
    rows = np.arange(candidate.row - TOP_ROWS, candidate.row + TOP_ROWS + 1)
    rows = rows[(rows >= 0) & (rows < evidence.frequency_hz.size)]
    top = int(rows[np.argmax(np.nan_to_num(curve.known_db[-1, rows], nan=-np.inf))])
    return one if top == candidate.row else _weighed(evidence, contrasts, replace(candidate, row=top), odds)


def _met(draft: Draft, one: Weighing) -> bool:
    """Whether a resonance on the way has one of its places here."""
    return any(octaves_apart(each.frequency_hz, one.place.frequency_hz) < NEAR_OCTAVES for each in draft.places)
