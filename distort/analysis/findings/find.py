"""The findings of a condition: evidence in, one explanation a place out, the strongest first."""

from collections.abc import Sequence

from distort.analysis.findings.change_findings import change_drafts
from distort.analysis.findings.combs import at_a_peak
from distort.analysis.findings.event_findings import event_drafts
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import BROAD_OCTAVES, Draft, Finding
from distort.analysis.findings.impulse_findings import impulse_drafts
from distort.analysis.findings.memory_findings import memory_drafts
from distort.analysis.findings.order_findings import order_drafts
from distort.analysis.findings.saturating import with_saturation
from distort.analysis.findings.together import one_a_place, strongest_first
from distort.analysis.findings.words import words


def find(evidence: Evidence) -> tuple[Finding, ...]:
    """All findings."""
    drafts = one_a_place([*order_drafts(evidence), *change_drafts(evidence), *event_drafts(evidence)])
    kept = [with_saturation(one, evidence) for one in drafts if not _of_a_sum(one, drafts, evidence)]
    # what lies beyond the orders, or what they do not predict, is no other's second cause
    kept = strongest_first([*kept, *impulse_drafts(evidence), *memory_drafts(evidence, kept)])
    return tuple(_finding(draft, evidence, number) for number, draft in enumerate(kept, start=1))


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
