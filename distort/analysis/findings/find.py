"""The findings of a condition: evidence in, one explanation a place out, the strongest first."""

from collections.abc import Sequence
from dataclasses import replace

from distort.analysis.findings.change_findings import change_drafts
from distort.analysis.findings.combs import at_a_peak
from distort.analysis.findings.event_findings import event_drafts
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import BROAD_OCTAVES, Draft, Explanation, Finding
from distort.analysis.findings.impulse_findings import impulse_drafts
from distort.analysis.findings.memory_findings import memory_drafts
from distort.analysis.findings.order_contrasts import nearest_row
from distort.analysis.findings.order_findings import order_drafts
from distort.analysis.findings.together import one_a_place, strongest_first
from distort.analysis.findings.words import words

LEAST_CHANGE_DB = 0.05
"""Of the level at a dip, beyond twice its interval: less is how well two runs agree."""


def find(evidence: Evidence) -> tuple[Finding, ...]:
    """All findings."""
    drafts = one_a_place([*order_drafts(evidence), *change_drafts(evidence), *event_drafts(evidence)])
    kept = [_saturating(one, evidence) for one in drafts if not _of_a_sum(one, drafts, evidence)]
    # what lies beyond the orders, or what they do not predict, is no other's second cause
    kept = strongest_first([*kept, *impulse_drafts(evidence), *memory_drafts(evidence)])
    return tuple(_finding(draft, evidence, number) for number, draft in enumerate(kept, start=1))


def _saturating(one: Draft, evidence: Evidence) -> Draft:
    """A dip in which something is made and that fills may be one resonance that saturates: left open."""
    if {one.explanation, *one.also} != {"resonance", "loudspeaker-generated"}:
        return one
    sweeps = [each for each in evidence.changes if each.quantity.stimulus == "sweep"]
    if not sweeps:
        return one
    loudest = max(sweeps, key=lambda each: each.level_db_spl)
    row = nearest_row(loudest.frequency_hz, one.places[0].frequency_hz)
    if row is None or not loudest.change_db[row] > max(LEAST_CHANGE_DB, 2.0 * loudest.uncertainty_db[row]):
        return one
    between: tuple[Explanation, ...] = ("resonance", "level-dependent-resonance")
    return replace(one, explanation="undecided", also=(), decided=False, between=between, part_of_loudspeaker=None)


def _of_a_sum(one: Draft, drafts: Sequence[Draft], evidence: Evidence) -> bool:
    """Whether a change lies at a peak of two sources that cancel in dips: their sum changes there, too."""
    if one.explanation not in ("compression", "expansion") or one.high_hz > one.low_hz * 2.0**BROAD_OCTAVES:
        return False
    return any(
        sum_.explanation == "cancellation"
        and "path_m" in sum_.numbers
        and at_a_peak(evidence, one.places[0].frequency_hz, sum_.numbers["path_m"])
        for sum_ in drafts
    )


def _finding(draft: Draft, evidence: Evidence, number: int) -> Finding:
    headline, sentence, step = words(draft, evidence)
    return Finding(
        number=number,
        explanation=draft.explanation,
        also=draft.also,
        decided=draft.decided,
        probability=draft.probability,
        headline=headline,
        places=draft.places,
        part_of_loudspeaker=draft.part_of_loudspeaker,
        numbers=draft.numbers,
        evidence=draft.evidence,
        against=draft.against,
        sentence=sentence,
        next=step,
    )
