"""What became of each anomaly and coincidence from one side of a comparison to the other.

Two are the same fault when they are of one kind and lie within a third of an octave; the nearest are paired first. The
limits are common practice, no source: what moves less than a row of the results (1/24 octave), or changes by less than
1 dB, is kept.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

import numpy as np

from distort.analysis.coincidences.faults import Anomaly, Coincidence

Fate = Literal["kept", "moved", "weaker", "gone", "new"]

SAME_FAULT_OCTAVES = 1.0 / 3.0
MOVED_OCTAVES = 1.0 / 24.0
WEAKER_DB = 1.0

Fault = TypeVar("Fault", Anomaly, Coincidence)


@dataclass(frozen=True, kw_only=True)
class FaultChange(Generic[Fault]):
    """One fault on both sides; `b` is None where it is gone, `a` where it is new."""

    fate: Fate
    a: Fault | None
    b: Fault | None


def anomaly_changes(a: Sequence[Anomaly], b: Sequence[Anomaly]) -> tuple[FaultChange[Anomaly], ...]:
    """Every anomaly of A and what became of it, by frequency, then those that only B has."""

    def fate(one: Anomaly, other: Anomaly) -> Fate:
        uncertain_octaves = math.hypot(
            one.frequency_uncertainty_hz / one.frequency_hz, other.frequency_uncertainty_hz / other.frequency_hz
        ) / math.log(2.0)
        uncertain_db = math.hypot(one.deviation_uncertainty_db, other.deviation_uncertainty_db)
        if abs(one.deviation_db) - abs(other.deviation_db) > max(WEAKER_DB, uncertain_db):
            return "weaker"
        apart = _octaves(one.frequency_hz, other.frequency_hz)
        return "moved" if apart > max(MOVED_OCTAVES, uncertain_octaves) else "kept"

    return _changes(a, b, alike=lambda one, other: one.kind == other.kind, fate=fate)


def coincidence_changes(a: Sequence[Coincidence], b: Sequence[Coincidence]) -> tuple[FaultChange[Coincidence], ...]:
    """The same for coincidences; only those of one quantity and level are the same."""

    def fate(one: Coincidence, other: Coincidence) -> Fate:
        uncertain_db = math.hypot(one.evidence.rise_uncertainty_db, other.evidence.rise_uncertainty_db)
        fall_db = math.copysign(1.0, one.evidence.rise_db) * (one.evidence.rise_db - other.evidence.rise_db)
        if fall_db > max(WEAKER_DB, uncertain_db):
            return "weaker"
        return "moved" if _octaves(one.frequency_hz, other.frequency_hz) > MOVED_OCTAVES else "kept"

    def alike(one: Coincidence, other: Coincidence) -> bool:
        return (one.quantity, one.level) == (other.quantity, other.level)

    return _changes(a, b, alike=alike, fate=fate)


def _changes(
    a: Sequence[Fault],
    b: Sequence[Fault],
    *,
    alike: Callable[[Fault, Fault], bool],
    fate: Callable[[Fault, Fault], Fate],
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
            found.append(FaultChange(fate=fate(one, other), a=one, b=other))
        else:
            found.append(FaultChange(fate="gone", a=one, b=None))
    for column, only in enumerate(b):
        if column not in partner.values():
            found.append(FaultChange(fate="new", a=None, b=only))
    return tuple(found)


def _octaves(one_hz: float, other_hz: float) -> float:
    return abs(math.log2(one_hz / other_hz))
