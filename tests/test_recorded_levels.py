"""Levels, takes and repeats of a condition: which belong together, and what is refused."""

from dataclasses import replace

import pytest

from distort.assembly.comparison.comparing import compare_sides
from distort.errors import AnalysisError
from distort.recording.clocks import clock_of
from distort.recording.takes import (
    require_alike,
    require_one_unit,
    set_ups_of_each_level,
    takes_of_each_level,
)
from distort.report.text.comparison import pairing_sentences
from signals import framed
from tests.session_examples import SIDECAR
from tests.test_recorded_rules import curve, folder, quantities, recording, side

__all__ = ["folder"]


def test_a_set_up_made_anew_begins_the_next():
    first, second, anew, after = (
        recording(take=take, repositioned=anew, after=after)
        for take, anew, after in ((1, False, False), (2, False, False), (3, True, False), (1, False, True))
    )
    other = recording(level_db_spl=76.0, repositioned=True)
    found = set_ups_of_each_level([first, second, anew, after, other], "sweep")
    assert list(found) == [76.0, 86.0]
    assert found[86.0] == [[first, second], [anew]]
    assert takes_of_each_level([first, second, anew, other], "sweep") == {76.0: [other], 86.0: [first, second]}
    assert clock_of([after, first]).repeats_of(first) == [after]
    assert clock_of([after, other]).repeats_of(other) == []
    assert clock_of([after, first]).repeats_of(recording(stimulus_name="multitone")) == []


def test_some_calibrated_and_some_not_is_refused():
    known, unknown = recording(), recording(take=2, calibration=None)
    require_one_unit([known, known])
    require_one_unit([unknown])
    require_one_unit([])
    with pytest.raises(AnalysisError, match="was saved without a calibration"):
        require_one_unit([known, unknown])


def test_takes_of_which_nobody_said_how_they_were_turned_go_with_any():
    require_alike([recording(turned_db=None), recording(turned_db=3.0)])
    require_alike([recording(turned_db=3.0), recording(turned_db=3.0)])
    for other in (
        {"turned_db": 1.0},
        {"stimulus": replace(SIDECAR.stimulus, seconds=2.0), "reel": framed(replace(SIDECAR.stimulus, seconds=2.0))},
    ):
        with pytest.raises(AnalysisError, match="not takes of the same"):
            require_alike([recording(turned_db=3.0), recording(**({"turned_db": 3.0} | other))])


def test_rungs_of_equal_drive_are_put_side_by_side(folder):
    """Drives 0.04 dB apart are one rung, 0.06 dB are not; B's levels come under A's names; what compression is made
    from is not compared itself."""
    a = side(folder)
    b = side(folder, "stand", drives={87.0: -30.04, 97.0: -20.06})
    found = compare_sides(a, b, basis="drive")
    assert set(quantities(found)) == {("response", 86.0), ("h2", 86.0), ("even", 86.0)}
    assert pairing_sentences(found) == [
        "No partner of equal drive, not compared: 96 dB of desk, 97 dB of stand.",
        "The sides have no two levels in common: compression is not compared.",
    ]
    whole = compare_sides(a, side(folder, "stand"), basis="drive")
    assert pairing_sentences(whole) == []
    assert ("change", 96.0) in quantities(whole)
    assert ("change-multitone", 96.0) in quantities(whole)
    assert whole.basis == "drive"
    assert whole.calibration_db is None
    assert "has no results yet" in whole.no_faults
    assert (whole.anomalies, whole.findings) == ((), ())
    with pytest.raises(AnalysisError, match="no level of desk was played with the drive"):
        compare_sides(a, side(folder, "stand", drives={86.0: -29.9}), basis="drive")


def gained(gain_db: dict[float, float], *, of_multitones: dict[float, float] | None = None):
    """Gains of sweeps, and of multitones, by level."""
    sweeps = [curve("gain", level, value_db) for level, value_db in gain_db.items()]
    return sweeps + [curve("gain-multitone", level, value_db) for level, value_db in (of_multitones or {}).items()]


def test_compression_of_other_lowest_levels_is_restated_against_the_lowest_of_both(folder):
    """B's 87 and 97 dB are A's 86 and 96 dB by drive. Between them B lost 0.9 dB and A 1.0 dB; against each one's own
    lowest level B would have lost another 0.3 dB."""
    a = side(
        folder, drives={86.0: -30.0, 96.0: -20.0, 101.0: -15.0}, curves=gained({86.0: 0.0, 96.0: -1.0, 101.0: -3.0})
    )
    drives = {77.0: -40.0, 87.0: -30.02, 97.0: -20.02}
    b = side(folder, "stand", drives=drives, curves=gained({77.0: 0.5, 87.0: 0.2, 97.0: -0.7}))
    found = compare_sides(a, b, basis="drive")
    assert quantities(found) == {("change", 96.0): pytest.approx(0.1)}
    assert pairing_sentences(found) == [
        "No partner of equal drive, not compared: 101 dB of desk, 77 dB of stand.",
        "Compression of both sides is restated against 86 dB of desk, the lowest level that both have.",
    ]
    assert quantities(compare_sides(b, a, basis="drive")) == {("change", 97.0): pytest.approx(-0.1)}


def test_multitones_of_other_levels_have_a_reference_of_their_own(folder):
    drives = {76.0: -40.0, 86.0: -30.0, 96.0: -20.0, 101.0: -15.0}
    a = side(folder, drives=drives, curves=gained({76.0: 0.0, 86.0: 0.0}, of_multitones={96.0: 0.0, 101.0: -1.0}))
    b = side(
        folder,
        "stand",
        drives=drives,
        curves=gained({76.0: 0.0, 86.0: -0.5}, of_multitones={76.0: 0.0, 96.0: 0.0, 101.0: -1.5}),
    )
    found = compare_sides(a, b, basis="drive")
    assert quantities(found) == {
        ("change", 86.0): pytest.approx(-0.5),
        ("change-multitone", 101.0): pytest.approx(-0.5),
    }
    assert pairing_sentences(found) == [
        "Compression of both sides is restated against 76 dB of desk (multitones: 96 dB), the lowest level that both "
        "have.",
    ]


def test_compression_at_equal_output_is_stated_against_the_same_output(folder):
    """A's outputs are 152 and 162 dB. B gives them half way between its rungs, where its gain is half way as well: from
    (0 - 1) / 2 = -0.5 dB to (-1 - 3) / 2 = -2 dB it lost 1.5 dB, and A lost 1 dB."""
    a = side(folder, outputs={86.0: 152.0, 96.0: 162.0}, curves=gained({86.0: 0.0, 96.0: -1.0}))
    outputs = {80.0: 147.0, 90.0: 157.0, 100.0: 167.0}
    b = side(
        folder,
        "stand",
        drives={80.0: -36.0, 90.0: -26.0, 100.0: -16.0},
        outputs=outputs,
        curves=gained({80.0: 0.0, 90.0: -1.0, 100.0: -3.0}),
    )
    found = compare_sides(a, b, basis="output")
    assert quantities(found) == {("change", 96.0): pytest.approx(-0.5)}
    assert pairing_sentences(found)[-1] == (
        "Compression of both sides is stated against 86 dB of desk, the lowest output that both reach."
    )


def test_rungs_of_equal_output_are_read_between_those_of_the_other_side(folder):
    """B is 2 dB louder at every rung: at A's output of 142 dB it is 2 dB below its own first, and out of reach; at 152
    dB it lies 8 of 10 dB up between its rungs."""
    a = side(folder)
    curves = [curve("response", 86.0, 10.0), curve("response", 96.0, 20.0)]
    b = side(folder, "stand", outputs={86.0: 144.0, 96.0: 154.0}, curves=curves)
    found = compare_sides(a, b, basis="output")
    assert quantities(found) == {("response", 96.0): pytest.approx(18.0 + 40.0)}
    assert "nothing is extrapolated" in pairing_sentences(found)[0]
    assert "interpolated between 86 and 96 dB" in pairing_sentences(found)[1]
    for near_db, value_db in ((152.09, 20.0), (152.11, 10.0 + 10.0 * (152.0 - 144.0) / (152.11 - 144.0))):
        b = side(folder, "stand", outputs={86.0: 144.0, 96.0: near_db}, curves=curves)
        found = compare_sides(a, b, basis="output")
        assert quantities(found)[("response", 96.0)] == pytest.approx(value_db + 40.0)
    with pytest.raises(AnalysisError, match="do not overlap"):
        compare_sides(a, side(folder, "stand", outputs={86.0: 200.0, 96.0: 210.0}), basis="output")
    bare = side(folder, "stand", sidecars=[{"turned_db": 0.0, "calibration": None}])
    with pytest.raises(AnalysisError, match="needs a calibration on both sides"):
        compare_sides(a, bare, basis="output")
    without = compare_sides(a, bare, basis="drive")
    assert ("response", 86.0) not in quantities(without)
    assert ("h2", 86.0) in quantities(without)
