"""What became of each anomaly and finding from one side of a comparison to the other.

Two are the same fault when they are of one kind and lie within a third of an octave; the nearest are paired first. What
one side alone lists is looked up in the curves of the other, which may show it without listing it. The limits are
common practice, no source: what moves less than a row of the results (1/24 octave), or changes by less than 1 dB, is
kept, and what has less than a quarter of its size left is gone.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.finding import Finding

Fate = Literal["kept", "moved", "weaker", "stronger", "gone", "new", "unread"]
"""From A to B; "unread": one side lists it, and the curves of the other cannot be read there."""

SAME_FAULT_OCTAVES = 1.0 / 3.0
MOVED_OCTAVES = 1.0 / 24.0
CHANGED_DB = 1.0
GONE_SHARE = 0.25
LEAST_SEEN_SHARE = 1.0 / 3.0

Fault = TypeVar("Fault", Anomaly, Finding)

Rises = Callable[[Fault], tuple[float, float] | None]
"""How far A and B rise at the place of a fault, dB, both read in the same way; None: they cannot be read there."""
Sizes = tuple[Callable[[Fault], tuple[float, float]], Rises[Fault]]
"""Of a fault: its size and the uncertainty of that, dB, as it is listed; and its rises."""


@dataclass(frozen=True, kw_only=True)
class FaultChange(Generic[Fault]):
    """One fault on both sides; `a` or `b` is None where that side does not list it."""

    fate: Fate
    a: Fault | None
    b: Fault | None
    unlisted_db: float | None = None
    """What the side that does not list it shows at the same place; None: both list it, or it cannot be read."""


def anomaly_changes(
    a: Sequence[Anomaly], b: Sequence[Anomaly], *, rises_db: Rises[Anomaly]
) -> tuple[FaultChange[Anomaly], ...]:
    """Every anomaly of A and what became of it, by frequency, then those that B alone lists.

    rises_db   how far the responses of A and of B rise at the place of an anomaly
    """

    def together(one: Anomaly, other: Anomaly) -> Fate:
        uncertain_octaves = math.hypot(
            one.frequency_uncertainty_hz / one.frequency_hz, other.frequency_uncertainty_hz / other.frequency_hz
        ) / math.log(2.0)
        uncertain_db = math.hypot(one.deviation_uncertainty_db, other.deviation_uncertainty_db)
        changed = _by_size(one.deviation_db, other.deviation_db, uncertain_db)
        moved = _octaves(one.frequency_hz, other.frequency_hz) > max(MOVED_OCTAVES, uncertain_octaves)
        return "moved" if moved and changed != "weaker" else changed

    def size(one: Anomaly) -> tuple[float, float]:
        return one.deviation_db, one.deviation_uncertainty_db

    return _changes(a, b, alike=lambda one, other: one.kind == other.kind, together=together, rest=(size, rises_db))


def finding_changes(
    a: Sequence[Finding], b: Sequence[Finding], *, rises_db: Rises[Finding]
) -> tuple[FaultChange[Finding], ...]:
    """The same for findings; only those of one explanation are the same, and their leading rows are compared."""

    def together(one: Finding, other: Finding) -> Fate:
        (a_db, a_interval_db), (b_db, b_interval_db) = size(one), size(other)
        changed = _by_size(a_db, b_db, math.hypot(a_interval_db, b_interval_db))
        moved = _octaves(one.frequency_hz, other.frequency_hz) > MOVED_OCTAVES and not (one.broad or other.broad)
        return "moved" if moved and changed != "weaker" else changed

    def size(one: Finding) -> tuple[float, float]:
        row = one.leading_row
        return (0.0, 0.0) if row is None else (row.rise_db, row.interval_db)

    def alike(one: Finding, other: Finding) -> bool:
        return one.explanation == other.explanation

    return _changes(a, b, alike=alike, together=together, rest=(size, rises_db))


def _by_size(a_db: float, b_db: float, uncertain_db: float) -> Literal["kept", "weaker", "stronger"]:
    """By the size of a fault on both sides; what turned its sign is weaker."""
    grown_db = math.copysign(1.0, a_db) * (b_db - a_db)
    if abs(grown_db) <= max(CHANGED_DB, uncertain_db):
        return "kept"
    return "stronger" if grown_db > 0.0 else "weaker"


def _changes(
    a: Sequence[Fault],
    b: Sequence[Fault],
    *,
    alike: Callable[[Fault, Fault], bool],
    together: Callable[[Fault, Fault], Fate],
    rest: Sizes[Fault],
) -> tuple[FaultChange[Fault], ...]:
    distances = np.full((len(a), len(b)), np.inf)
    for row, one in enumerate(a):
        for column, other in enumerate(b):
            if alike(one, other):
                distances[row, column] = _octaves(one.frequency_hz, other.frequency_hz)
    partner: dict[int, int] = {}
    while distances.size and distances.min() <= SAME_FAULT_OCTAVES:
        row, column = (int(index) for index in np.unravel_index(np.argmin(distances), distances.shape))
        partner[row] = column
        distances[row, :] = distances[:, column] = np.inf
    found: list[FaultChange[Fault]] = []
    for row, one in enumerate(a):
        if row in partner:
            other = b[partner[row]]
            found.append(FaultChange(fate=together(one, other), a=one, b=other))
        else:
            found.append(_listed_once(one, rest, in_a=True))
    found += [_listed_once(one, rest, in_a=False) for column, one in enumerate(b) if column not in partner.values()]
    return tuple(found)


def _listed_once(one: Fault, rest: Sizes[Fault], *, in_a: bool) -> FaultChange[Fault]:
    """A fault that one side lists, by what the curves of the other show there."""
    size, rises = rest
    a, b = (one, None) if in_a else (None, one)
    rises_db, (listed_db, uncertain_db) = rises(one), size(one)
    unread = FaultChange(fate="unread", a=a, b=b)
    if rises_db is None:
        return unread
    own_db, other_db = rises_db if in_a else rises_db[::-1]
    # where these curves do not show it, they cannot show it missing
    if listed_db == 0.0 or own_db / listed_db < LEAST_SEEN_SHARE:
        return unread
    there_db = listed_db * other_db / own_db
    if other_db / own_db < GONE_SHARE:
        return FaultChange(fate="gone" if in_a else "new", a=a, b=b, unlisted_db=there_db)
    sides_db = (listed_db, there_db) if in_a else (there_db, listed_db)
    return FaultChange(fate=_by_size(*sides_db, uncertain_db), a=a, b=b, unlisted_db=there_db)


def _octaves(one_hz: float, other_hz: float) -> float:
    return abs(math.log2(one_hz / other_hz))
