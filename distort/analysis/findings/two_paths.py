"""Whether a change at a dip is that of one of two sources which nearly cancel there.

With amplitudes a > b the sum is a - b at the dip and a + b at the peak beside it. Where a falls by a small share e, the
dip falls by e a / (a - b) and the peak by e a / (a + b); where b does, the dip *rises* by e b / (a - b) and the peak
falls by e b / (a + b). Either way the peak falls by the change at the dip divided by (a + b) / (a - b), which is the
depth from peak to dip. A change at the dip without that share at the peak is the dip's own.

It takes two sources: both arrivals of a reflection come from one, and change alike.
"""

from typing import Literal

import numpy as np

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.local_changes import LocalChange
from distort.analysis.findings.order_contrasts import nearest_row

PEAK_OCTAVES = 1.3
"""How far from a dip its neighbouring peak is looked for."""

FACTOR = 2.5
"""Smoothing takes from the dip what it does not take from its change; the peak of another comb may stand beside."""

TELLS = 3.0
"""A share at the peak smaller than so many of its standard deviations cannot be missed there."""

CALMEST_DB = 0.02

OTHERS_SHARE = 0.3
"""Of the change at one dip of a comb: as much is seen at another where two sources make both."""

Answer = Literal["yes", "no", "open"]


def two_paths(evidence: Evidence, change: LocalChange) -> Answer:
    """What the peak beside the dip says."""
    curve = change.curve
    response_db = evidence.response_at(curve.frequency_hz)
    octaves = np.abs(np.log2(curve.frequency_hz / change.frequency_hz))
    near = (octaves <= PEAK_OCTAVES) & np.isfinite(curve.change_db) & np.isfinite(response_db)
    if not np.any(near):
        return "open"
    peak = int(np.argmax(np.where(near, response_db, -np.inf)))
    depth_db = float(response_db[peak] - response_db[change.row])
    expected_db = abs(change.change_db) * 10.0 ** (-depth_db / 20.0)
    sigma_db = float(np.hypot(np.nan_to_num(curve.uncertainty_db[peak]) / TWO_SIDED_95, CALMEST_DB))
    fall_db = -float(curve.change_db[peak])
    if expected_db / FACTOR - TELLS * sigma_db <= fall_db <= FACTOR * expected_db + TELLS * sigma_db:
        return "yes" if expected_db >= 2.0 * TELLS * sigma_db and fall_db >= TELLS * sigma_db else "open"
    return "no"


def at_other_dips(change: LocalChange, dips_hz: list[float]) -> Answer:
    """What the other dips of the same comb say: where two sources cancel, all change; a change of its own stays."""
    curve = change.curve
    readable = [
        (row, float(curve.uncertainty_db[row]))
        for at_hz in dips_hz
        if (row := nearest_row(curve.frequency_hz, at_hz)) is not None and np.isfinite(curve.change_db[row])
    ]
    if not readable:
        return "open"
    share = [
        (float(curve.change_db[row]) - change.flank_db) / change.excess_db
        for row, interval_db in readable
        if interval_db < 0.5 * OTHERS_SHARE * abs(change.excess_db)
    ]
    if not share:
        return "open"
    changing = sum(one >= OTHERS_SHARE for one in share)
    if changing == 0:
        return "no"
    return "yes" if 2 * changing > len(share) else "open"
