"""A dip that fills as the level rises: what makes it saturates, and no plain resonance does; also where it fills by
less than a change of its own would be listed for."""

from dataclasses import replace

import numpy as np

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.change_findings import KIND_RIGHT, anomaly_near
from distort.analysis.findings.contrasts import flanks, gap_for
from distort.analysis.findings.evidence import ChangeCurve, Evidence
from distort.analysis.findings.finding import Draft, Explanation
from distort.analysis.findings.local_changes import CALMEST_DB, LEAST_SPREADS
from distort.analysis.findings.order_contrasts import nearest_row

LEAST_FILL_DB = 0.05
"""Of the level at a dip: less is how well two runs agree."""

OPEN_SPREADS = 2.0
"""From here on a plain resonance is not claimed, from LEAST_SPREADS on what makes the dip is said to saturate."""


def with_saturation(one: Draft, evidence: Evidence) -> Draft:
    """A resonance in a dip that fills: one that changes with level, or open; anything else as it is.

    With something that is made there as well, the fill may be the source's own, so that it only leaves both open.
    """
    causes = {one.explanation, *one.also}
    sweeps = [each for each in evidence.changes if each.quantity.stimulus == "sweep"]
    if causes not in ({"resonance"}, {"resonance", "loudspeaker-generated"}) or not sweeps:
        return one
    loudest = max(sweeps, key=lambda each: each.level_db_spl)
    row = nearest_row(loudest.frequency_hz, one.places[0].frequency_hz)
    if row is None or not loudest.change_db[row] > max(LEAST_FILL_DB, 2.0 * loudest.uncertainty_db[row]):
        return one
    return _open(one) if "loudspeaker-generated" in causes else _of_dip(one, evidence, loudest, row)


def _of_dip(one: Draft, evidence: Evidence, loudest: ChangeCurve, row: int) -> Draft:
    anomaly = anomaly_near(evidence, one.places[0].frequency_hz)
    if anomaly is None or anomaly.kind != "dip":
        return one
    excess_db, sigma_db = _fill(loudest, row, gap_for(anomaly.width_octaves))
    if not excess_db >= max(LEAST_FILL_DB, OPEN_SPREADS * sigma_db):
        return one
    if excess_db < LEAST_SPREADS * sigma_db:
        return _open(one)
    return replace(
        one,
        explanation="level-dependent-resonance",
        probability=one.probability * KIND_RIGHT,
        part_of_loudspeaker=True,
        numbers={
            **one.numbers,
            "change_db": float(loudest.change_db[row]),
            "excess_db": excess_db,
            "excess_interval_db": TWO_SIDED_95 * sigma_db,
            "level_db_spl": loudest.level_db_spl,
        },
    )


def _fill(curve: ChangeCurve, row: int, gap_octaves: float) -> tuple[float, float]:
    """How far the change lies above both flanks, and its standard deviation: noise, how well two runs agree, and half
    of what the speed of the sweep changes."""
    stack = np.array([curve.change_db, curve.change_db + curve.bias_db])
    both = flanks(curve.frequency_hz, stack, gap_octaves=gap_octaves)
    excess_db = stack[:, row] - np.fmax(both.left_db[:, row], both.right_db[:, row])
    speed_db = 0.5 * abs(float(np.nan_to_num(excess_db[1] - excess_db[0])))
    noise_db = float(curve.uncertainty_db[row]) / TWO_SIDED_95
    return float(excess_db[0]), float(np.sqrt(noise_db**2 + CALMEST_DB**2 + speed_db**2))


def _open(one: Draft) -> Draft:
    between: tuple[Explanation, ...] = ("resonance", "level-dependent-resonance")
    return replace(one, explanation="undecided", also=(), decided=False, between=between, part_of_loudspeaker=None)
