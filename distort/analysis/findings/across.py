"""What holds for several conditions of one session, and what a changed part of the set-up proves.

A harmonic that a part makes falls when the part is taken away. Its ratio to the fundamental is compared at the same
place and level; with the difference d and its 95 % interval u it fell by at most u - d, and by at least -d - u. A part
of it in quadrature with the rest may go unseen: that is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from distort.analysis.common.curves import Harmonics, Order
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.order_contrasts import nearest_row
from distort.analysis.findings.words import hertz, ordinal

SAME_OCTAVES = 1.0 / 6.0
"""Findings of one explanation whose first places are this near are one."""

HARDLY_DB, MADE_DB = 1.0, 3.0
"""A fall of at most the first excludes a part as what makes a harmonic; of at least the second names it: then three
tenths of its amplitude or more are gone (own choice)."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One condition: what was found, and its orders by level."""

    condition: str
    findings: tuple[Finding, ...]
    levels_db_spl: tuple[float, ...]
    harmonics: tuple[Harmonics, ...]
    changed: str | None = None
    """What was changed against the first condition."""


@dataclass(frozen=True, kw_only=True)
class FindingAcross:
    """A finding of several conditions, or of one where another was changed."""

    finding: Finding
    """As the first of the conditions has it."""
    conditions: tuple[str, ...]
    """That show it."""
    verdict: str | None = None
    """What each changed condition proves of it, a sentence each; None: none was changed, or it cannot be read there."""


def across(measured: Sequence[Measured]) -> tuple[FindingAcross, ...]:
    """What several conditions show, and what those that were changed prove, in the order of the first one's list."""
    found: list[FindingAcross] = []
    for place, one in enumerate(measured):
        for finding in (each for each in one.findings if each.decided):
            if any(same_finding(finding, other.finding) for other in found):
                continue
            showing = [one] + [other for other in measured[place + 1 :] if _shows(other, finding)]
            told = [said for other in measured if other.changed and (said := _verdict(finding, one, other)) is not None]
            if len(showing) > 1 or told:
                names = tuple(each.condition for each in showing)
                found.append(FindingAcross(finding=finding, conditions=names, verdict=" ".join(told) or None))
    return tuple(found)


def _shows(one: Measured, finding: Finding) -> bool:
    return any(each.decided and same_finding(each, finding) for each in one.findings)


def same_finding(one: Finding, other: Finding) -> bool:
    """Whether two conditions show the same: one explanation, near enough, or broad in both."""
    apart = abs(float(np.log2(one.frequency_hz / other.frequency_hz)))
    return one.explanation == other.explanation and (apart <= SAME_OCTAVES or (one.broad and other.broad))


def _verdict(finding: Finding, base: Measured, changed: Measured) -> str | None:
    """What the change proves of the harmonic that leads a finding; None where it cannot be read in both."""
    row = finding.leading_row
    number = None if row is None else from_findings(row.quantity).order
    if row is None or number is None or changed is base:
        return None
    both = [_reading(one, number, row.level_db_spl, row.frequency_hz) for one in (base, changed)]
    if both[0] is None or both[1] is None:
        return None
    (before_db, before_interval_db), (after_db, after_interval_db) = both[0], both[1]
    difference_db, interval_db = after_db - before_db, float(np.hypot(before_interval_db, after_interval_db))
    at = f"the {ordinal(number)} at {hertz(row.frequency_hz)}"
    size = f"{difference_db:+.1f} +- {interval_db:.1f} dB"
    return f"With {changed.changed}, {at} changed by {size}, so {_proof(difference_db, interval_db)}"


def _proof(difference_db: float, interval_db: float) -> str:
    at_most_db, at_least_db = max(interval_db - difference_db, 0.0), -difference_db - interval_db
    if at_most_db <= HARDLY_DB:
        quadrature = "a part in quadrature is not excluded"
        return f"it fell by at most {at_most_db:.1f} dB: what was changed does not make it ({quadrature})."
    if at_least_db >= MADE_DB:
        return f"it fell by at least {at_least_db:.1f} dB: what was changed makes it."
    return f"a fall of up to {at_most_db:.1f} dB is not excluded: whether what was changed makes it is open."


def _reading(one: Measured, number: int, level_db_spl: float, at_hz: float) -> tuple[float, float] | None:
    """Ratio and interval of an order, dB; None where it is not read, or is doubtful there."""
    if level_db_spl not in one.levels_db_spl:
        return None
    harmonics = one.harmonics[one.levels_db_spl.index(level_db_spl)]
    order: Order | None = next((each for each in harmonics.orders if each.order == number), None)
    row = nearest_row(harmonics.frequency_hz, at_hz)
    if order is None or row is None or order.doubtful[row] or not np.isfinite(order.relative_db[row]):
        return None
    return float(order.relative_db[row]), float(np.nan_to_num(order.uncertainty_db[row]))
