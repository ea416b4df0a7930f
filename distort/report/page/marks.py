"""Findings as marks over a picture: a badge at a place, a bar over a band, each in a lane that has room for it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np

from distort.analysis.findings.finding import Finding, PlaceFound
from distort.report.text.story import Owner, Told

HALF_A_TWELFTH = 2.0 ** (1.0 / 24.0)
"""To either side of the middle of a twelfth of an octave, to which the curves are smoothed."""


@dataclass(frozen=True, kw_only=True)
class Badge:
    """One mark: its finding's number in the shape of whose it is, and a link to its paragraph."""

    LANE: ClassVar[float] = 28.0
    """Height of a lane, px: a badge of 24, which a finger can meet (WCAG 2.2, 2.5.8), and a gap."""
    HALF: ClassVar[float] = 12.0

    number: int
    anchor: str
    belongs_to: Owner
    says: str
    frequency_hz: float
    low_hz: float
    high_hz: float
    broad: bool
    lane: int = 0

    def placed(self, x: Callable[[float], Any], low_hz: float, high_hz: float) -> dict[str, Any]:
        """Where it is in a picture from `low_hz` to `high_hz`, px."""
        low, high = (float(x(float(np.clip(hz, low_hz, high_hz)))) for hz in (self.low_hz, self.high_hz))
        at = 0.5 * (low + high) if self.broad else float(x(float(np.clip(self.frequency_hz, low_hz, high_hz))))
        return {
            "x": at,
            "y": (self.lane + 0.5) * self.LANE,
            "low": low,
            "high": high,
            "number": self.number,
            "anchor": self.anchor,
            "owner": self.belongs_to,
            "says": self.says,
            "broad": self.broad,
        }


def badge_of(one: Told, place: PlaceFound) -> Badge:
    """The mark of a finding at one of its places."""
    return Badge(
        number=one.number,
        anchor=one.anchor,
        belongs_to=one.belongs_to,
        says=f"Finding {one.number}: {one.finding.headline}",
        frequency_hz=place.frequency_hz,
        low_hz=place.low_hz,
        high_hz=place.high_hz,
        broad=one.finding.broad,
    )


def _on_the_response(finding: Finding) -> tuple[PlaceFound, ...]:
    """Where a finding shows in a picture of the response: a resonance that only harmonics meet where they come out."""
    if finding.explanation != "product-on-peak":
        return finding.places
    heard_hz = finding.numbers["heard_hz"]
    return (PlaceFound(frequency_hz=heard_hz, low_hz=heard_hz / HALF_A_TWELFTH, high_hz=heard_hz * HALF_A_TWELFTH),)


def badges(
    story: Sequence[Told], *, condition: str, width: float, low_hz: float, high_hz: float, most_places: int
) -> tuple[Badge, ...]:
    """Marks of the findings of a condition, in as few lanes as keep them apart at `width` px.

    A comb of places has a mark at each of its first `most_places`.
    """
    made = [
        badge_of(one, place)
        for one in story
        if condition in one.conditions
        for place in _on_the_response(one.finding)[:most_places]
        if place.high_hz > low_hz and place.low_hz < high_hz
    ]
    per_log = width / float(np.log(high_hz / low_hz))
    taken: list[list[tuple[float, float]]] = []
    laid = []
    for badge in sorted(made, key=lambda one: one.broad, reverse=True):
        middle = per_log * float(np.log(badge.frequency_hz))
        ends = [middle - Badge.HALF, middle + Badge.HALF]
        if badge.broad:
            ends = [per_log * float(np.log(hz)) for hz in (badge.low_hz, badge.high_hz)]
        span = (ends[0] - 3.0, ends[1] + 3.0)
        lane = next(
            (place for place, spans in enumerate(taken) if all(span[1] < a or span[0] > b for a, b in spans)),
            len(taken),
        )
        if lane == len(taken):
            taken.append([])
        taken[lane].append(span)
        laid.append(replace(badge, lane=lane))
    return tuple(laid)
