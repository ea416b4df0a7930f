"""Dips and peaks that are findings by their size alone, where no order tells more of them.

A resonance that raises the response by 8 dB is one whether or not a product is loud enough to show it. What lies before
the non-linearity and what lies behind it look alike in the response; the orders at the place, as far as they are read,
say which is the more probable.
"""

from collections.abc import Sequence

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.combs import path_of
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation, PlaceFound
from distort.analysis.findings.weighing import BEFORE, OWN
from distort.analysis.findings.weighings import DECIDED, LOWEST_HZ, Weighing, octaves_apart

LEAST_RESPONSE_DB = 3.0
"""Nothing of this size stands out of 300 made responses of ripple alone, 0.2 to 0.9 dB."""

NEAR_OCTAVES = 1.0 / 5.0
"""What another finding says of a place this near is enough."""

DB_OF_RESPONSE = 0.5
"""In the order of the list a decibel of the response alone counts as so many of distortion (own choice): what lies
behind distortion comes first."""


def response_drafts(evidence: Evidence, weighings: Sequence[Weighing], told: Sequence[Draft]) -> list[Draft]:
    """One a dip or peak of `LEAST_RESPONSE_DB` that no other draft speaks of.

    weighings   of dips and peaks, with what the orders say there
    told        what is found already
    """
    drafts: list[Draft] = []
    if evidence.in_room:
        return drafts  # a room is full of dips, and one microphone place cannot tell whose they are
    for one in weighings:
        anomaly = one.anomaly
        if anomaly is None or abs(anomaly.deviation_db) < LEAST_RESPONSE_DB or anomaly.frequency_hz < LOWEST_HZ:
            continue
        if abs(anomaly.deviation_db) > anomaly.deviation_uncertainty_db and not _is_told(anomaly, told):
            drafts.append(_draft(evidence, one, anomaly))
    return drafts


def _is_told(anomaly: Anomaly, told: Sequence[Draft]) -> bool:
    """Whether a draft has a place here, or speaks of what comes out here."""
    at_hz = anomaly.frequency_hz
    return any(
        octaves_apart(place.frequency_hz, at_hz) < NEAR_OCTAVES for draft in told for place in draft.places
    ) or any(
        "heard_hz" in draft.numbers and octaves_apart(draft.numbers["heard_hz"], at_hz) < NEAR_OCTAVES for draft in told
    )


def _draft(evidence: Evidence, one: Weighing, anomaly: Anomaly) -> Draft:
    explanation, probability = _named(evidence, one, anomaly)
    decided = explanation != "undecided" and probability >= DECIDED
    between: tuple[Explanation, ...] = (
        ("resonance", "filter-before-source")
        if anomaly.kind == "peak"
        else ("room", "cancellation")
        if anomaly.elsewhere == "filled-in"
        else ("resonance", "filter-before-source", "cancellation")
    )
    return Draft(
        explanation=explanation if decided else "undecided",
        decided=decided,
        probability=probability,
        places=(PlaceFound(frequency_hz=anomaly.frequency_hz, low_hz=anomaly.low_hz, high_hz=anomaly.high_hz),),
        strength_db=DB_OF_RESPONSE * abs(anomaly.deviation_db),
        numbers={"response_db": anomaly.deviation_db, "q": anomaly.q},
        between=between,
    )


def _named(evidence: Evidence, one: Weighing, anomaly: Anomaly) -> tuple[Explanation, float]:
    """What the shape says, as far as no order at the place says otherwise, and how probable that is."""
    share = one.found.probability
    if anomaly.elsewhere == "filled-in":  # the response measured elsewhere has it not, so what drives it has it not
        return "room", 1.0 - share.get(OWN, 0.0)
    if path_of(evidence, anomaly) is not None:
        return "delayed-copy", 1.0 - share.get(BEFORE, 0.0) - share.get(OWN, 0.0)
    if anomaly.shape != "resonance":
        return "undecided", 0.5
    if anomaly.kind == "peak":
        return "resonance", 1.0 - share.get(BEFORE, 0.0)
    return "resonance", 1.0 - share.get(BEFORE, 0.0) - share.get(OWN, 0.0)
