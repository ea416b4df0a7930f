"""Which dips and peaks belong to the comb of one delay: dips at odd multiples of 1/(2 tau), peaks at even ones.

The first dip of a comb may be broad, and look like a resonance by itself; the later ones tell that it is none.
"""

from collections.abc import Sequence

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.evidence import Evidence

SAME_PATH = 0.05
"""Two dips belong to one comb when their paths agree within this share."""

OFF_PLACE = 0.12
"""Of the distance between two dips: a dip this near to the place of one of them is that one."""

OF_A_PEAK = 0.2
"""Of the same: what lies this near to the middle between two dips is the comb's peak."""


def path_at(evidence: Evidence, at_hz: float) -> float | None:
    """Path difference of a comb that has a dip at a frequency, listed or not, m; None: none has."""
    if not evidence.anomalies:
        return None
    half_wave_m = evidence.anomalies[0].half_wave_m * evidence.anomalies[0].frequency_hz / at_hz
    told = _told_by_two(evidence.anomalies)
    return next((path_m for path_m in told if abs(_dip_number(half_wave_m, path_m)) <= OFF_PLACE), None)


def path_of(evidence: Evidence, anomaly: Anomaly) -> float | None:
    """Path difference of the comb that a dip belongs to, m, by its own shape or by the place that two other dips give
    it; None: to none."""
    if anomaly.kind != "dip":
        return None
    if anomaly.path_difference_m is not None:
        return anomaly.path_difference_m
    return path_at(evidence, anomaly.frequency_hz)


def _told_by_two(anomalies: Sequence[Anomaly]) -> list[float]:
    """Paths that at least two dips share."""
    paths = [one.path_difference_m for one in anomalies if one.path_difference_m is not None]
    return [one for one in paths if sum(same_path(one, other) for other in paths) >= 2]


def _dip_number(half_wave_m: float, path_m: float) -> float:
    """How far a place lies from the nearest dip, in distances between dips: a dip has path / wavelength = k - 1/2."""
    place = path_m / (2.0 * half_wave_m) - 0.5
    return float(place - np.round(place)) if place > -OFF_PLACE else 1.0


def same_path(one_m: float | None, other_m: float | None) -> bool:
    """Whether two dips belong to the comb of one delay."""
    return one_m is not None and other_m is not None and abs(one_m / other_m - 1.0) < SAME_PATH


def at_a_peak(evidence: Evidence, at_hz: float, path_m: float) -> bool:
    """Whether a frequency lies at a peak of the comb of that path, which a dip of the response told."""
    half_speed_m_s = evidence.anomalies[0].frequency_hz * evidence.anomalies[0].half_wave_m
    place = at_hz * path_m / (2.0 * half_speed_m_s)
    return bool(round(place) >= 1 and abs(place - round(place)) < OF_A_PEAK)
