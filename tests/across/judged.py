"""What a session says across its conditions, each claim held against the truth."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.analysis.findings.across import FindingAcross
from distort.analysis.findings.finding import Finding
from distort.pipeline import analyze_session
from distort.report.text.findings import across_sentences
from distort.report.text.story import Told, opening, proof_words, shown_words, told
from distort.session.files.folder import SessionFolder
from distort.session.results.across_results import read_across
from distort.session.results.condition_results import ConditionResults
from tests.across.truth import Fault, Made
from tests.families.folder import make_session

MAKES_IT = re.compile(r"what was changed (?:makes it|held it down)")
DOES_NOT = re.compile(r"what was changed does not make it")


@dataclass(frozen=True, kw_only=True)
class Wrong:
    """A sentence that is not true, and in what."""

    rule: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What was said of one session."""

    family: str
    seed: int
    note: str
    found: int
    """Faults that a decided finding tells, of `faults`."""
    faults: int
    wrong: tuple[Wrong, ...]
    said: tuple[str, ...]
    """All findings as they are told, to look at."""

    @property
    def verdict(self) -> str:
        """ "right", "silent" (nothing wrong, and a fault not told) or "wrong"."""
        return "wrong" if self.wrong else "right" if self.found == self.faults else "silent"


def analysed(made: Made, folder: Path) -> tuple[tuple[ConditionResults, ...], tuple[FindingAcross, ...]]:
    """Make the session and analyse it: the results of its conditions, and what is said of them together."""
    root = make_session(made.case, folder / "session")
    conditions = analyze_session(root, threads=1, progress=lambda *_: None)
    return tuple(conditions), read_across(SessionFolder(root))


def judged(made: Made, conditions: Sequence[ConditionResults], across: Sequence[FindingAcross]) -> Judged:
    """Hold what the page and `distort show` say of the conditions against the truth."""
    story = told(conditions, across, changed=made.changed)
    loudspeaker, setup, _ = opening(conditions, story)
    wrong = [one for each in story for one in _wrong(each, made)] + _of_across(across, made)
    told_faults = [
        fault for fault in made.faults if any(one.finding.decided and _is(one.finding, fault) for one in story)
    ]
    said = [_words(one) for one in story] + [loudspeaker.text, setup.text, *map(str, across_sentences(across))]
    return Judged(
        family=made.family,
        seed=made.seed,
        note=made.note,
        found=len(told_faults),
        faults=len(made.faults),
        wrong=tuple(wrong),
        said=tuple(said),
    )


def _is(finding: Finding, fault: Fault) -> bool:
    """Whether a finding is of a fault: one of its words, and a place that reaches into it."""
    places = [(one.low_hz, one.high_hz) for one in finding.places]
    if finding.explanation == "product-on-peak":  # its place is where the products come out
        places = [(row.frequency_hz, row.frequency_hz) for row in finding.evidence if row.speaks == "for"]
    reaches = any(low_hz <= fault.high_hz and high_hz >= fault.low_hz for low_hz, high_hz in places)
    return reaches and (not finding.decided or finding.explanation in fault.words)


def _wrong(one: Told, made: Made) -> Iterator[Wrong]:
    """The claims of one finding that are not true."""
    fault = next((each for each in made.faults if _is(one.finding, each)), None)
    everywhere = tuple(made.case.devices)
    there = everywhere if fault is None else fault.conditions
    words = _words(one)
    if not set(one.not_in).isdisjoint(there):
        yield Wrong(rule="said to be missing where it is", sentence=words)
    if not set(one.conditions) <= set(there):
        yield Wrong(rule="seen where it is not", sentence=words)
    makes = fault is not None and fault.changed_makes_it
    if one.only_with is not None and not makes and one.finding.decided:
        yield Wrong(rule="only with what was changed", sentence=words)
    yield from _of_proof(proof_words(one), words, makes=makes)
    if one.belongs_to not in (fault.owners | {"open"} if fault is not None else {"loudspeaker", "open"}):
        yield Wrong(rule="whose it is", sentence=words)


def _of_proof(proof: str, words: str, *, makes: bool) -> Iterator[Wrong]:
    if MAKES_IT.search(proof) and not makes:
        yield Wrong(rule="said to be made by what was changed", sentence=words)
    if DOES_NOT.search(proof) and makes:
        yield Wrong(rule="said not to be made by what was changed", sentence=words)


def _of_across(across: Sequence[FindingAcross], made: Made) -> list[Wrong]:
    """What `distort show` prints of all conditions together."""
    found = []
    for one in across:
        fault = next((each for each in made.faults if _is(one.finding, each)), None)
        makes = fault is not None and fault.changed_makes_it
        words = f"{one.finding.headline} ({', '.join(one.conditions)}) {one.verdict or ''}"
        found += list(_of_proof(one.verdict or "", f"show: {words}", makes=makes))
    return found


def _words(one: Told) -> str:
    """All that is said of it: whose, the headline, where, with what, and what that proves."""
    only = "" if one.only_with is None else f" [only with {one.only_with}]"
    where = f"{shown_words(one)} {proof_words(one)}"
    return f"({one.belongs_to}) {one.finding.explanation}: {one.finding.headline}{only} | {where}".strip()
