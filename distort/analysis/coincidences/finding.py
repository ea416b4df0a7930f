"""Rises of distortion, and changes of compression, that line up with a dip or a peak of the response; and why.

`distortion_rises` and `compression_excess` find them curve by curve; here they are put in order, one for each quantity
and place, and told how probable it is that chance alone lines them up.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.chance import Chance, Pair, standardised
from distort.analysis.coincidences.compression_excess import ChangeCurve, Excess, excess_at, lagging_bands
from distort.analysis.coincidences.distortion_rises import distortion_rises
from distort.analysis.coincidences.faults import OPEN_CAUSES, Anomaly, Cause, Coincidence, Evidence
from distort.analysis.coincidences.looked_at import Finding, Looked, calm_rows, finding
from distort.analysis.coincidences.split import DistortionCurve

FloatArray = npt.NDArray[np.float64]

SAME_PLACE_OCTAVES = 1.0 / 8.0
"""Two findings of one quantity nearer than this are one."""

COMPRESSION_WEIGHT = 6.0
"""In the order of the list a decibel of compression counts as so many of distortion (own choice)."""

SAME_BAND_SHARE = 0.5
"""A band that lags at a higher level is the one of a lower level if they share this much of the larger, in octaves."""


def find_coincidences(looked: Looked) -> tuple[Coincidence, ...]:
    """Every coincidence, decided ones first, the strongest first; one a quantity and place, at its clearest level."""
    findings = [*distortion_rises(looked)]
    findings += [one for change in looked.changes for one in _excesses(looked, change)]
    kept = _without_sums(_one_noise_a_place(_one_a_place(sorted(findings, key=_rank))))
    kept = sorted([*kept, *_bands_apart(_bands(looked), kept)], key=_rank)
    chance = _Report(looked)
    return tuple(chance.stated(replace(one.coincidence, number=number)) for number, one in enumerate(kept, start=1))


def _rank(one: Finding) -> tuple[bool, float]:
    return one.coincidence.cause in OPEN_CAUSES, -one.strength


def _one_a_place(ranked: Sequence[Finding]) -> list[Finding]:
    """The first of those that are of one quantity and lie at one place."""
    kept: list[Finding] = []
    for one in ranked:
        same = [
            other
            for other in kept
            if other.coincidence.quantity == one.coincidence.quantity
            and _octaves(other.coincidence, one.coincidence) < SAME_PLACE_OCTAVES
        ]
        if not same:
            kept.append(one)
    return kept


def _one_noise_a_place(kept: Sequence[Finding]) -> list[Finding]:
    """Of the orders that noise hides at one anomaly, the one furthest above it: the next to be uncovered."""

    def margin_db(one: Finding) -> float:
        return one.coincidence.evidence.margin_db or 0.0

    noises = [one for one in kept if one.coincidence.cause == "noise"]
    best = {one.coincidence.anomaly: one for one in sorted(noises, key=margin_db)}
    return [one for one in kept if one.coincidence.cause != "noise" or best[one.coincidence.anomaly] is one]


def _without_sums(kept: Sequence[Finding]) -> list[Finding]:
    """Without total harmonic distortion where one of its orders says the same thing at the same place."""
    orders = [one.coincidence for one in kept if one.coincidence.quantity[1:].isdigit()]
    return [
        one
        for one in kept
        if one.coincidence.quantity != "thd"
        or not any(_octaves(order, one.coincidence) < SAME_PLACE_OCTAVES for order in orders)
    ]


def _octaves(one: Coincidence, other: Coincidence) -> float:
    return float(abs(np.log2(one.frequency_hz / other.frequency_hz)))


def _excesses(looked: Looked, curve: ChangeCurve) -> list[Finding]:
    """What a change curve does at the anomalies."""
    response_db = _at(looked, curve.frequency_hz)
    calm = calm_rows(looked, curve.frequency_hz, orders=(1,))
    found = []
    for anomaly in looked.anomalies:
        excess = excess_at(curve, response_db, anomaly, calm=calm)
        # at a peak paths add, so that a small change of one stays small: less compression there says nothing
        if excess is not None and (anomaly.kind == "dip" or (excess.own and excess.excess_db < 0.0)):
            found.append(_of_excess(looked, curve, excess, anomaly))
    return found


def _of_excess(looked: Looked, curve: ChangeCurve, excess: Excess, anomaly: Anomaly) -> Finding:
    cause: Cause = "own-compression" if excess.own else "weak-sum"
    if cause == "weak-sum" and anomaly.elsewhere == "filled-in":
        cause = "room"
    if cause == "own-compression" and excess.change_db > 0.0:  # more output than drive: not compression of any kind
        cause = "undecided"
    evidence = Evidence(
        rise_db=excess.excess_db,
        rise_uncertainty_db=1.96 * excess.sigma_db,
        bound_db=excess.bound_db if anomaly.kind == "dip" else None,
        free_field_db=anomaly.elsewhere_db,
    )
    strength = COMPRESSION_WEIGHT * abs(excess.excess_db)
    return finding(
        looked, curve, cause, evidence, frequency_hz=anomaly.frequency_hz, strength=strength, anomaly=anomaly
    )


def _bands(looked: Looked) -> list[Finding]:
    """Bands that lag as a whole, each at the lowest level at which it does."""
    found: list[Finding] = []
    for curve in sorted(looked.changes, key=lambda one: one.level):
        for band in lagging_bands(curve, lowest_valid_hz=looked.lowest_valid_hz):
            seen = [one.coincidence for one in found if one.coincidence.quantity == curve.quantity]
            if any(_shared(one, band.low_hz, band.high_hz) >= SAME_BAND_SHARE for one in seen):
                continue
            evidence = Evidence(rise_db=band.change_db, rise_uncertainty_db=1.96 * band.sigma_db)
            found.append(
                finding(
                    looked,
                    curve,
                    "own-compression",
                    evidence,
                    frequency_hz=band.worst_hz,
                    strength=COMPRESSION_WEIGHT * abs(band.change_db),
                    anomaly=None,
                    band_hz=(band.low_hz, band.high_hz),
                )
            )
    return found


def _bands_apart(bands: Sequence[Finding], kept: Sequence[Finding]) -> list[Finding]:
    """Bands less those that are no wider than an octave and hold an anomaly that says the same of their quantity."""

    def told(band: Coincidence) -> bool:
        return band.high_hz <= 2.0 * band.low_hz and any(
            one.coincidence.quantity == band.quantity and band.low_hz <= one.coincidence.frequency_hz <= band.high_hz
            for one in kept
        )

    return [one for one in bands if not told(one.coincidence)]


def _shared(one: Coincidence, low_hz: float, high_hz: float) -> float:
    """Octaves that two bands share, over those of the larger."""
    common = np.log2(min(one.high_hz, high_hz) / max(one.low_hz, low_hz))
    return float(common / max(np.log2(one.high_hz / one.low_hz), np.log2(high_hz / low_hz)))


def _at(looked: Looked, frequency_hz: FloatArray) -> FloatArray:
    """The response on other rows; NaN where it has no reading."""
    known = np.isfinite(looked.response_db)
    log_hz = np.log(looked.response_hz[known])
    return np.asarray(np.interp(np.log(frequency_hz), log_hz, looked.response_db[known], left=np.nan, right=np.nan))


class _Report:
    """Chance over everything that was looked at."""

    def __init__(self, looked: Looked) -> None:
        self._index: dict[tuple[str, float, int], int] = {}
        pairs: list[Pair] = []
        anomalous = np.abs(standardised(looked.response_hz, looked.response_db))
        curves: list[DistortionCurve | ChangeCurve] = [*looked.distortion, *looked.changes]
        for curve in curves:
            rise = _standing_out(curve)
            for factor in sorted({1, _order(curve)}):
                self._index[curve.quantity, curve.level, factor] = len(pairs)
                pairs.append(
                    Pair(rise=rise, anomaly=_there(looked.response_hz, anomalous, factor * curve.frequency_hz))
                )
        self._chance = Chance(pairs)

    def stated(self, one: Coincidence) -> Coincidence:
        """The coincidence with its probabilities; as it is where it has no anomaly."""
        if one.anomaly is None:
            return one
        own = self._chance.pair(self._index[one.quantity, one.level, one.anomaly_at])
        if own is None:
            return one
        return replace(one, chance_probability=own, chance_probability_report=self._chance.of_report(own))


def _order(curve: DistortionCurve | ChangeCurve) -> int:
    return (curve.order or 1) if isinstance(curve, DistortionCurve) else 1


def _standing_out(curve: DistortionCurve | ChangeCurve) -> FloatArray:
    """What the curve shows against its own trend; of compression both ways."""
    if isinstance(curve, DistortionCurve):
        return standardised(curve.frequency_hz, curve.relative_db)
    return np.abs(standardised(curve.frequency_hz, curve.change_db))


def _there(response_hz: FloatArray, anomalous: FloatArray, at_hz: FloatArray) -> FloatArray:
    known = np.isfinite(anomalous)
    log_hz = np.log(response_hz[known])
    return np.asarray(np.interp(np.log(at_hz), log_hz, anomalous[known], left=np.nan, right=np.nan))
