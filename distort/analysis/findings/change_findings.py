"""Findings that the change with level tells: places where it stands out, and bands in which the output falls short."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.broad_changes import BroadChange, broad_changes
from distort.analysis.findings.by_frames import with_frames
from distort.analysis.findings.combs import path_at, path_of, same_path
from distort.analysis.findings.evidence import ChangeCurve, Evidence, TimeBehaviour
from distort.analysis.findings.finding import Draft, EvidenceRow, Explanation, PlaceFound
from distort.analysis.findings.likelihoods import share_right, stands_out
from distort.analysis.findings.local_changes import LocalChange, local_changes
from distort.analysis.findings.order_contrasts import EDGE_OCTAVES
from distort.analysis.findings.two_paths import at_other_dips, two_paths

DIP_OCTAVES = 1.0 / 6.0
"""A change belongs to a dip or peak whose centre is this near."""

KIND_RIGHT = share_right(19, 19)
"""Of what a change at a dip is called: on made loudspeakers to tune on (21 families, six each, 2026-11-28) 19 of 19
changes at a place that were called compression, expansion or a resonance that changes with level were right."""

OPEN = 0.5
"""Of a change at a dip whose kind nothing tells: one of two."""

PLACES = 60
"""Independent places of a change curve: eight octaves, seven an octave (own estimate from the width of the flanks)."""

DB_OF_DISTORTION = 8.0
"""In the order of the list a decibel of change counts as so many of distortion (own choice)."""

LIMITER_S = 0.3
"""A level that settles faster is a limiter's (common practice, no source)."""

LEAST_HEAT_DB = 0.05
LEAST_HEAT_SHARE = 0.3
"""What the lowest level, played again at once, has lost, or what a multitone settles by slowly: of the change at the
loudest."""


def change_drafts(evidence: Evidence) -> list[Draft]:
    """All of them."""
    sweeps = [one for one in evidence.changes if one.quantity.stimulus == "sweep"]
    tones = [_within(evidence, one) for one in evidence.changes if one.quantity.stimulus == "multitone"]
    sweeps = [_within(evidence, one) for one in sweeps]
    local = local_changes(sweeps, lowest_valid_hz=evidence.lowest_valid_hz)
    broad = broad_changes(sweeps, local, lowest_valid_hz=evidence.lowest_valid_hz)
    of_tones = broad_changes(tones, (), lowest_valid_hz=evidence.lowest_valid_hz)
    drafts = [_local(evidence, group) for group in _groups(evidence, local)]
    drafts += [_broad(evidence, one, also=_beside(one, of_tones)) for one in broad]
    drafts += [_broad(evidence, one, also=None) for one in of_tones if not any(_overlap(one, other) for other in broad)]
    return [with_frames(draft, evidence) for draft in drafts]


def _within(evidence: Evidence, curve: ChangeCurve) -> ChangeCurve:
    """The curve without what lies beside the end of the response: there the sweep itself fades out."""
    known = evidence.frequency_hz[np.isfinite(evidence.response_db)]
    if known.size == 0:
        return curve
    inside = curve.frequency_hz <= known[-1] * 2.0**-EDGE_OCTAVES
    return replace(curve, change_db=np.where(inside, curve.change_db, np.nan))


def _groups(evidence: Evidence, local: Sequence[LocalChange]) -> list[list[tuple[LocalChange, Anomaly | None]]]:
    """Changes at the dips of one comb together; everything else alone."""
    groups: list[list[tuple[LocalChange, Anomaly | None]]] = []
    for change in local:
        anomaly = anomaly_near(evidence, change.frequency_hz)
        path_m = path_at(evidence, change.frequency_hz) if anomaly is None else path_of(evidence, anomaly)
        for group in groups:
            other = group[0][1]
            if other is not None and same_path(path_m, path_of(evidence, other)):
                group.append((change, anomaly))
                break
        else:
            groups.append([(change, anomaly)])
    return groups


def anomaly_near(evidence: Evidence, at_hz: float) -> Anomaly | None:
    """The nearest dip or peak whose centre is near."""
    near = [
        (abs(float(np.log2(one.frequency_hz / at_hz))), one.number, one)
        for one in evidence.anomalies
        if abs(float(np.log2(one.frequency_hz / at_hz))) <= DIP_OCTAVES
    ]
    return min(near)[2] if near else None


def _local(evidence: Evidence, group: Sequence[tuple[LocalChange, Anomaly | None]]) -> Draft:
    at_dips = [each for each in group if each[1] is not None] or list(group)
    change, anomaly = max(at_dips, key=lambda each: abs(each[0].excess_db))
    explanation, between, probability = _kind(evidence, change, anomaly)
    return Draft(
        explanation=explanation,
        decided=explanation != "undecided",
        probability=probability,
        places=tuple(_place(each) for each, _ in sorted(group, key=lambda each: each[0] is not change)),
        strength_db=DB_OF_DISTORTION * abs(change.excess_db),
        part_of_loudspeaker=True,
        numbers={
            "change_db": change.change_db,
            "excess_db": change.excess_db,
            "excess_interval_db": change.interval_db,
            "level_db_spl": change.curve.level_db_spl,
            **({} if anomaly is None else {"deviation_db": anomaly.deviation_db}),
        },
        evidence=tuple(row for each, _ in group for row in change_rows(evidence, each)),
        between=between,
        in_room=False,
    )


def _kind(
    evidence: Evidence, change: LocalChange, anomaly: Anomaly | None
) -> tuple[Explanation, tuple[Explanation, ...], float]:
    """What a local change is, between what it lies where that is open, and how sure.

    Its probability is the likelihood of the reading (that it stands out of its ripple and noise by more than the best
    of a curve's places does by chance), at a dip times the share of kinds that were right on the half to tune on.
    """
    stands = stands_out(change.excess_db, change.sigma_db, places=PLACES)
    rises = change.excess_db > 0.0
    own: Explanation = "expansion" if rises else "compression"
    if anomaly is None or anomaly.kind == "peak":
        return own, (), stands
    path_m = path_of(evidence, anomaly)
    if path_m is not None:
        others = [
            one
            for one in evidence.anomalies
            if one.number != anomaly.number and same_path(path_of(evidence, one), path_m)
        ]
        answer = at_other_dips(change, [one.frequency_hz for one in others])
    elif anomaly.shape == "resonance":  # of minimum phase: nothing cancels there
        return ("level-dependent-resonance" if rises else own), (), stands * KIND_RIGHT
    else:
        answer = two_paths(evidence, change)
    if answer == "yes":
        return "cancellation", (), stands * KIND_RIGHT
    return (own, (), stands * KIND_RIGHT) if answer == "no" else ("undecided", (own, "cancellation"), OPEN)


def _place(change: LocalChange) -> PlaceFound:
    return PlaceFound(frequency_hz=change.frequency_hz, low_hz=change.low_hz, high_hz=change.high_hz)


def change_rows(evidence: Evidence, change: LocalChange) -> tuple[EvidenceRow, ...]:
    """The change at every level, at a place."""
    rows = []
    for curve in evidence.changes:
        if curve.quantity != change.curve.quantity:
            continue
        loudest = curve.level_db_spl == change.curve.level_db_spl
        rows.append(
            EvidenceRow(
                quantity=curve.quantity.in_findings,
                stimulus=curve.quantity.stimulus,
                level_db_spl=curve.level_db_spl,
                frequency_hz=change.frequency_hz,
                rise_db=change.excess_db if loudest else float(np.nan_to_num(curve.change_db[change.row])),
                interval_db=change.interval_db if loudest else float(np.nan_to_num(curve.uncertainty_db[change.row])),
                value_db=float(np.nan_to_num(curve.change_db[change.row])),
                speaks="for" if loudest else "silent",
            )
        )
    return tuple(rows)


def _overlap(one: BroadChange, other: BroadChange) -> bool:
    return one.low_hz <= other.high_hz and other.low_hz <= one.high_hz


def _beside(one: BroadChange, others: Sequence[BroadChange]) -> BroadChange | None:
    return next((other for other in others if _overlap(one, other) and other.change_db * one.change_db > 0.0), None)


def _broad(evidence: Evidence, one: BroadChange, *, also: BroadChange | None) -> Draft:
    explanation, more = _broad_kind(evidence, one)
    rows = [_broad_row(one)] + ([] if also is None else [_broad_row(also)])
    numbers = {"change_db": one.change_db, "level_db_spl": one.curve.level_db_spl, "from_db_spl": one.from_level_db_spl}
    attack, slow = _attack(evidence.attacks, one), _attack(evidence.warm_ups, one)
    if attack is not None:
        numbers["time_constant_s"] = attack.time_constant_s
    if slow is not None and abs(slow.depth_db) >= LEAST_HEAT_SHARE * abs(one.change_db):
        numbers["settles_s"] = slow.time_constant_s
    return Draft(
        explanation=explanation,
        also=more,
        decided=True,
        probability=_likelihood(evidence, one, attack, explanation),
        places=(PlaceFound(frequency_hz=one.frequency_hz, low_hz=one.low_hz, high_hz=one.high_hz),),
        strength_db=DB_OF_DISTORTION * abs(one.change_db),
        part_of_loudspeaker=True,
        numbers=numbers,
        evidence=tuple(rows),
    )


def _likelihood(evidence: Evidence, one: BroadChange, attack: TimeBehaviour | None, explanation: Explanation) -> float:
    """From the likelihood of the readings alone: that of the change, and of what names its kind."""
    probability = stands_out(one.change_db, one.interval_db / TWO_SIDED_95, places=PLACES)
    if explanation == "limiting" and attack is not None:
        bands = max(len(evidence.attacks), 1)
        probability *= stands_out(attack.depth_db, attack.uncertainty_db / TWO_SIDED_95, places=bands)
    if explanation == "heating":
        octaves = [
            stands_out(each.change_db, each.uncertainty_db / TWO_SIDED_95, places=len(evidence.heating))
            for each in evidence.heating
            if one.low_hz <= each.midband_hz <= one.high_hz
        ]
        probability *= max(octaves, default=0.0)
    return probability


def _broad_row(one: BroadChange) -> EvidenceRow:
    return EvidenceRow(
        quantity=one.curve.quantity.in_findings,
        stimulus=one.curve.quantity.stimulus,
        level_db_spl=one.curve.level_db_spl,
        frequency_hz=one.frequency_hz,
        rise_db=one.change_db,
        interval_db=one.interval_db,
        value_db=one.change_db,
        speaks="for",
    )


def _attack(attacks: Sequence[TimeBehaviour], one: BroadChange) -> TimeBehaviour | None:
    """The clearest settling within the band that stands beyond twice its interval."""
    found = [
        each
        for each in attacks
        if each.low_hz < one.high_hz and each.high_hz > one.low_hz and abs(each.depth_db) > 2.0 * each.uncertainty_db
    ]
    return max(found, key=lambda each: abs(each.depth_db), default=None)


def _broad_kind(evidence: Evidence, one: BroadChange) -> tuple[Explanation, tuple[Explanation, ...]]:
    """What the time behaviour tells of it; the sign alone where that tells nothing."""
    if one.change_db > 0.0:
        return "expansion", ()
    attack = _attack(evidence.attacks, one)
    heat_db = _heat_db(evidence, one)
    heats = heat_db >= LEAST_HEAT_SHARE * abs(one.change_db)
    if attack is not None and attack.time_constant_s < LIMITER_S:
        return "limiting", ("heating",) if heats else ()
    return ("heating", ()) if heats else ("compression", ())


def _heat_db(evidence: Evidence, one: BroadChange) -> float:
    """How far the band fell short when the lowest level was played again at once; 0 where not beyond its interval."""
    falls = [
        -each.change_db
        for each in evidence.heating
        if one.low_hz <= each.midband_hz <= one.high_hz and -each.change_db > max(each.uncertainty_db, LEAST_HEAT_DB)
    ]
    return max(falls, default=0.0)
