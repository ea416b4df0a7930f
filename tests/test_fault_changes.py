"""What became of faults: the nearest of one kind are paired, and every fate has its limit."""

import json
import math
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.comparison.fault_changes import anomaly_changes, finding_changes
from distort.analysis.findings.finding import EvidenceRow, Finding, NextStep, PlaceFound
from distort.errors import SessionError
from distort.report.text.comparison import finding_words
from distort.session.files.folder import SessionFolder
from distort.session.results.faults_found import FaultsFound, read_faults

DIP = Anomaly(
    number=1,
    kind="dip",
    frequency_hz=1000.0,
    frequency_uncertainty_hz=5.0,
    deviation_db=-8.0,
    deviation_uncertainty_db=0.3,
    low_hz=900.0,
    high_hz=1100.0,
    width_octaves=0.3,
    q=4.0,
    q_uncertainty=0.4,
    phase="unknown",
    excess_turn=None,
    shape="interference",
    path_difference_m=0.17,
    reflection=0.6,
    half_wave_m=0.17,
    quarter_wave_m=0.086,
    elsewhere="unknown",
    elsewhere_db=None,
    equaliser="unknown",
)
ROW = EvidenceRow(
    quantity="h3",
    stimulus="sweep",
    level_db_spl=96.0,
    frequency_hz=1000.0,
    rise_db=6.0,
    interval_db=0.5,
    speaks="for",
)
RISE = Finding(
    number=1,
    explanation="delayed-copy",
    decided=True,
    probability=0.97,
    headline="1 kHz: a reflection dips the fundamental",
    places=(PlaceFound(frequency_hz=1000.0, low_hz=950.0, high_hz=1060.0),),
    part_of_loudspeaker=None,
    evidence=(ROW,),
    sentence="At 1 kHz a reflection lowers the fundamental.",
    next=NextStep(text="Move the microphone."),
)


def risen(**changed: object) -> Finding:
    """RISE with a row that says something else."""
    return replace(RISE, evidence=(replace(ROW, **changed),))  # type: ignore[arg-type]


def at(frequency_hz: float) -> Finding:
    """RISE elsewhere."""
    place = PlaceFound(frequency_hz=frequency_hz, low_hz=frequency_hz / 1.06, high_hz=frequency_hz * 1.06)
    return replace(RISE, places=(place,))


@pytest.mark.parametrize(
    ("other", "fate"),
    [
        (DIP, "kept"),
        (replace(DIP, deviation_db=-7.2), "kept"),  # by 0.8 dB: under 1
        (replace(DIP, deviation_db=-6.8), "weaker"),
        (replace(DIP, deviation_db=-6.8, deviation_uncertainty_db=3.0), "kept"),
        (replace(DIP, deviation_db=-8.8), "kept"),
        (replace(DIP, deviation_db=-12.0), "stronger"),
        (replace(DIP, frequency_hz=1025.0), "kept"),  # by 1/28 octave
        (replace(DIP, frequency_hz=1035.0), "moved"),  # by 1/20 octave
        (replace(DIP, frequency_hz=1035.0, frequency_uncertainty_hz=60.0), "kept"),
        (replace(DIP, frequency_hz=1300.0), "gone"),  # by 0.38 octave: another one
        (replace(DIP, kind="peak"), "gone"),
    ],
)
def test_fate_of_a_dip(other, fate) -> None:
    changes = anomaly_changes([DIP], [other], rises_db=only_where_it_is_listed)
    assert changes[0].fate == fate
    assert (changes[0].a, changes[0].b) == (DIP, None if fate == "gone" else other)
    assert [one.fate for one in changes[1:]] == (["new"] if fate == "gone" else [])


def nothing_read(_: object) -> None:
    """Curves of which nothing can be read."""


def only_where_it_is_listed(one: Anomaly) -> tuple[float, float]:
    """Rises of A and B where DIP is listed by A alone, and what is no DIP by B alone."""
    return (
        (-6.0, 0.5) if (one.frequency_hz, one.kind) == (1000.0, "dip") else (0.5, math.copysign(6.0, one.deviation_db))
    )


@pytest.mark.parametrize(
    ("rises_db", "fate", "there_db"),
    [
        ((-6.0, 0.5), "gone", 8.0 * 0.5 / 6.0),  # a dip that has become a bump
        ((-6.0, -1.4), "gone", -8.0 * 1.4 / 6.0),
        ((-6.0, -1.6), "weaker", -8.0 * 1.6 / 6.0),  # more than a quarter is left
        ((-6.0, -5.7), "kept", -7.6),
        ((-6.0, -9.0), "stronger", -12.0),
        ((-1.0, -5.0), "unread", None),  # bands too broad for a dip of 8 dB
        ((1.0, 0.0), "unread", None),
        (None, "unread", None),
    ],
)
def test_what_one_side_alone_lists_is_looked_up_in_the_curves_of_the_other(rises_db, fate, there_db) -> None:
    """A fault drops off a list by a hair; it is gone only where the curves say so. From B to A the fate is mirrored."""
    (change,) = anomaly_changes([DIP], [], rises_db=lambda _: rises_db)
    assert (change.fate, change.a, change.b) == (fate, DIP, None)
    assert change.unlisted_db == (None if there_db is None else pytest.approx(there_db))
    (change,) = anomaly_changes([], [DIP], rises_db=lambda _: rises_db and rises_db[::-1])
    mirrored = {"gone": "new", "weaker": "stronger", "stronger": "weaker"}
    assert (change.fate, change.a, change.b) == (mirrored.get(fate, fate), None, DIP)
    assert change.unlisted_db == (None if there_db is None else pytest.approx(there_db))


def test_the_nearest_are_paired_first() -> None:
    """1000 and 1100 Hz against 1090 and 1180 Hz: 1100 goes with 1090, so 1000 has 1180 left, within a third octave."""
    a = [DIP, replace(DIP, frequency_hz=1100.0)]
    b = [replace(DIP, frequency_hz=1090.0), replace(DIP, frequency_hz=1180.0)]
    changes = anomaly_changes(a, b, rises_db=nothing_read)
    assert [(one.fate, one.b.frequency_hz if one.b else None) for one in changes] == [
        ("moved", 1180.0),
        ("kept", 1090.0),
    ]


def test_findings_of_one_explanation_alone_are_the_same() -> None:
    for other, fate in (
        (replace(RISE, probability=0.8), "kept"),
        (risen(rise_db=4.5), "weaker"),
        (risen(rise_db=7.5), "stronger"),
        (risen(rise_db=-6.0), "weaker"),  # a fall is no such rise
        (at(1100.0), "moved"),
        (replace(RISE, explanation="loudspeaker-generated"), "gone"),
    ):
        assert finding_changes([RISE], [other], rises_db=lambda _: (6.0, 0.0))[0].fate == fate
    assert finding_changes([], [RISE], rises_db=lambda _: (0.0, 6.0))[0].fate == "new"


def test_a_broad_change_does_not_move() -> None:
    """Where a band is worst may wander within it."""
    here, there = (
        replace(RISE, places=(PlaceFound(frequency_hz=hz, low_hz=100.0, high_hz=2000.0),)) for hz in (1000.0, 1100.0)
    )
    assert finding_changes([here], [there], rises_db=nothing_read)[0].fate == "kept"


def test_faults_are_read_from_findings_and_never_made_up(tmp_path: Path) -> None:
    folder = SessionFolder(tmp_path)
    path = folder.findings_path("desk")
    assert "has no results yet" in str(read_faults(folder, "desk", ()))
    path.parent.mkdir(parents=True)
    path.write_text(json.dumps({"format": 1}), encoding="utf-8")
    assert "hold no findings" in str(read_faults(folder, "desk", ()))
    document = {"anomalies": [asdict(DIP)], "findings": [asdict(RISE)], "recordings": []}
    path.write_text(json.dumps(document), encoding="utf-8")
    assert read_faults(folder, "desk", ()) == FaultsFound(anomalies=(DIP,), findings=(RISE,))
    del document["anomalies"][0]["kind"]
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(SessionError, match="missing: kind"):
        read_faults(folder, "desk", ())


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        ("h3", "Third order"),
        ("h7", "Order 7"),
        ("thd", "THD"),
        ("multitone_odd", "Multitone, odd"),
        ("compression_sweep", "Compression"),
        ("compression_multitone", "Compression (multitone)"),
    ],
)
def test_quantities_are_called_as_in_the_table(quantity: str, words: str) -> None:
    (change,) = finding_changes([risen(quantity=quantity)], [], rises_db=lambda _: (6.0, 0.6))
    assert finding_words(change) == (
        f"{words} at 96 dB SPL: A 1 kHz, +6.0 dB, delayed-copy; B +0.6 dB there, not listed"
    )
