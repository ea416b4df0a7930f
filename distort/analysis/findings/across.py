"""What holds for several conditions of one session, and what a changed part or a near field proves."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from distort.analysis.findings.changed_part import changed_verdict
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.measured import Measured, order_place
from distort.analysis.findings.near_field import near_field_verdict

SAME_OCTAVES = 1.0 / 6.0
"""Findings of one explanation whose first places are this near are one."""


@dataclass(frozen=True, kw_only=True)
class FindingAcross:
    """A finding of several conditions, or of one of which another tells more."""

    finding: Finding
    """As the first of the conditions has it, or the first that decides it."""
    conditions: tuple[str, ...]
    """That show it."""
    verdict: str | None = None
    """What changed conditions and near fields prove of it; None: there are none, or it cannot be read there."""


def across(measured: Sequence[Measured]) -> tuple[FindingAcross, ...]:
    """What several conditions show, and what those that were changed or near prove, in the order of the first's list.

    The first that was heard at a distance is what the others are held against.
    """
    heard = sorted(measured, key=lambda one: one.near_field is not None)
    main = heard[0] if heard and heard[0].near_field is None else None
    found: list[FindingAcross] = []
    for place, one in enumerate(heard):
        for finding in one.findings:
            if any(same_finding(finding, other.finding) for other in found):
                continue
            showing = [one] + [other for other in heard[place + 1 :] if _shows(other, finding)]
            shown = finding if finding.decided else _deciding(finding, showing)
            told = [] if main is None else list(_verdicts(shown, showing, main, heard))
            if (shown.decided and len(showing) > 1) or told:
                names = tuple(each.condition for each in showing)
                found.append(FindingAcross(finding=shown, conditions=names, verdict=" ".join(told) or None))
    return tuple(found)


def _verdicts(
    finding: Finding, showing: Sequence[Measured], main: Measured, measured: Sequence[Measured]
) -> Iterator[str]:
    """Of each changed condition where it or the main one shows the finding, then of the near fields."""
    shown_in_main = main in showing
    for other in measured:
        changed = other.changed is not None and other.near_field is None and other is not main
        if changed and (shown_in_main or other in showing):
            said = changed_verdict(finding, main, other)
            yield from () if said is None else (said,)
    if shown_in_main:
        said = near_field_verdict(finding, main, [one for one in measured if one.near_field is not None])
        yield from () if said is None else (said,)


def _deciding(finding: Finding, showing: Sequence[Measured]) -> Finding:
    """What the first condition that decides it says of what another leaves open."""
    same = (each for one in showing for each in one.findings if each.decided and same_finding(each, finding))
    return next(same, finding)


def _shows(one: Measured, finding: Finding) -> bool:
    return any((each.decided or finding.decided) and same_finding(each, finding) for each in one.findings)


def same_finding(one: Finding, other: Finding) -> bool:
    """Whether two conditions show the same: one explanation, and near enough, or broad in both, or a change with level
    whose place moves with it: each place within the other's band; or one decides what the other leaves open."""
    apart = abs(float(np.log2(one.frequency_hz / other.frequency_hz)))
    near = apart <= SAME_OCTAVES or (one.broad and other.broad) or _moves_with_level(one, other)
    near = near or _strike_in_one_band(one, other)
    if one.explanation == other.explanation:
        return near
    return _left_open(one, other) or _left_open(other, one)


def _left_open(opened: Finding, decided: Finding) -> bool:
    """Whether one condition decides what another leaves open: the same order rises at the same place, or something
    strikes in the same band, and it is the loudspeaker's own, which is the same in both."""
    if opened.decided or not decided.decided or decided.part_of_loudspeaker is not True:
        return False
    if _strike_in_one_band(opened, decided):
        return True
    at, there = order_place(opened), order_place(decided)
    if at is None or there is None or at.number != there.number:
        return False
    return abs(math.log2(at.frequency_hz / there.frequency_hz)) <= SAME_OCTAVES


def _strike_in_one_band(one: Finding, other: Finding) -> bool:
    """Whether both are of what strikes or blows, in bands that overlap: where in one it is clearest is chance."""
    strike = all("standing_out" in each.numbers for each in (one, other))
    return strike and any(a.low_hz < b.high_hz and b.low_hz < a.high_hz for a in one.places for b in other.places)


def _moves_with_level(one: Finding, other: Finding) -> bool:
    changes = all("excess_db" in each.numbers for each in (one, other))
    a, b = one.places[0], other.places[0]
    return changes and a.low_hz <= b.frequency_hz <= a.high_hz and b.low_hz <= a.frequency_hz <= b.high_hz
