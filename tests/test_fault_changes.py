"""What became of faults: the nearest of one kind are paired, and every fate has its limit."""

import json
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from distort.analysis.coincidences.fault_changes import anomaly_changes, coincidence_changes
from distort.analysis.coincidences.faults import Anomaly, Coincidence, Evidence
from distort.errors import SessionError
from distort.report.terminal.comparison_words import coincidence_words
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
RISE = Coincidence(
    number=1,
    anomaly=1,
    anomaly_at=1,
    quantity="h3",
    level=96.0,
    frequency_hz=1000.0,
    low_hz=950.0,
    high_hz=1060.0,
    cause="weak-fundamental",
    evidence=Evidence(rise_db=6.0, rise_uncertainty_db=0.5),
    chance_probability=0.01,
    chance_probability_report=0.2,
    in_room=True,
    next_experiment="move the microphone",
    sentence="The fundamental is weak here.",
)


@pytest.mark.parametrize(
    ("other", "fate"),
    [
        (DIP, "kept"),
        (replace(DIP, deviation_db=-7.2), "kept"),  # by 0.8 dB: under 1
        (replace(DIP, deviation_db=-6.8), "weaker"),
        (replace(DIP, deviation_db=-6.8, deviation_uncertainty_db=3.0), "kept"),
        (replace(DIP, deviation_db=-12.0), "kept"),
        (replace(DIP, frequency_hz=1025.0), "kept"),  # by 1/28 octave
        (replace(DIP, frequency_hz=1035.0), "moved"),  # by 1/20 octave
        (replace(DIP, frequency_hz=1035.0, frequency_uncertainty_hz=60.0), "kept"),
        (replace(DIP, frequency_hz=1300.0), "gone"),  # by 0.38 octave: another one
        (replace(DIP, kind="peak"), "gone"),
    ],
)
def test_fate_of_a_dip(other, fate) -> None:
    changes = anomaly_changes([DIP], [other])
    assert changes[0].fate == fate
    assert (changes[0].a, changes[0].b) == (DIP, None if fate == "gone" else other)
    assert [one.fate for one in changes[1:]] == (["new"] if fate == "gone" else [])


def test_the_nearest_are_paired_first() -> None:
    """1000 and 1100 Hz against 1090 and 1180 Hz: 1100 goes with 1090, so 1000 has 1180 left, within a third octave."""
    a = [DIP, replace(DIP, frequency_hz=1100.0)]
    b = [replace(DIP, frequency_hz=1090.0), replace(DIP, frequency_hz=1180.0)]
    changes = anomaly_changes(a, b)
    assert [(one.fate, one.b.frequency_hz if one.b else None) for one in changes] == [
        ("moved", 1180.0),
        ("kept", 1090.0),
    ]


def test_coincidences_of_one_quantity_and_level_alone_are_the_same() -> None:
    for other, fate in (
        (replace(RISE, cause="made-here"), "kept"),
        (replace(RISE, evidence=Evidence(rise_db=4.5, rise_uncertainty_db=0.5)), "weaker"),
        (replace(RISE, evidence=Evidence(rise_db=-6.0, rise_uncertainty_db=0.5)), "weaker"),  # a fall is no such rise
        (replace(RISE, frequency_hz=1100.0), "moved"),
        (replace(RISE, quantity="h2"), "gone"),
        (replace(RISE, level=86.0), "gone"),
    ):
        assert coincidence_changes([RISE], [other])[0].fate == fate
    assert coincidence_changes([], [RISE])[0].fate == "new"


def test_faults_are_read_from_findings_and_never_made_up(tmp_path: Path) -> None:
    folder = SessionFolder(tmp_path)
    path = folder.findings_path("desk")
    assert "has no results yet" in str(read_faults(folder, "desk", ()))
    path.parent.mkdir(parents=True)
    path.write_text(json.dumps({"format": 1}), encoding="utf-8")
    assert "hold no anomalies" in str(read_faults(folder, "desk", ()))
    document = {"anomalies": [asdict(DIP)], "coincidences": [asdict(RISE)], "recordings": []}
    path.write_text(json.dumps(document), encoding="utf-8")
    assert read_faults(folder, "desk", ()) == FaultsFound(anomalies=(DIP,), coincidences=(RISE,))
    del document["anomalies"][0]["kind"]
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(SessionError, match="missing: kind"):
        read_faults(folder, "desk", ())


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        ("h3", "Third order"),
        ("h7", "H7"),
        ("thd", "THD"),
        ("multitone_odd", "Multitone, odd"),
        ("compression_sweep", "Compression"),
        ("compression_multitone", "Compression (multitone)"),
    ],
)
def test_quantities_are_called_as_in_the_table(quantity: str, words: str) -> None:
    (change,) = coincidence_changes([replace(RISE, quantity=quantity)], [])
    assert coincidence_words(change) == f"{words} at 96 dB SPL: A 1 kHz, +6.0 dB, weak-fundamental"
