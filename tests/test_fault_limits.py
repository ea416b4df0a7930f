"""What became of a fault: just on either side of where each fate turns. Numbers beside a test are the contract."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.comparison.fault_changes import anomaly_changes, finding_changes
from distort.analysis.comparison.fault_places import at_anomaly, at_finding
from distort.analysis.findings.finding import PlaceFound
from tests.test_fault_changes import DIP, RISE, at, nothing_read, only_where_it_is_listed, risen
from tests.test_fault_places import ROWS_HZ, bump, curve

EXACT = replace(DIP, frequency_uncertainty_hz=0.0)


def away(octaves: float, **changed):
    return replace(EXACT, frequency_hz=1000.0 * 2.0**octaves, **changed)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("octaves", "fate"), [(0.0395, "kept"), (0.044, "moved"), (0.32, "moved"), (0.35, "gone")])
def test_a_dip_moves_from_a_row_on_and_is_another_from_a_third_of_an_octave_on(sign, octaves, fate):
    """1/24 octave is 0.0417."""
    changes = anomaly_changes([EXACT], [away(sign * octaves)], rises_db=only_where_it_is_listed)
    assert changes[0].fate == fate
    if octaves < 0.3:
        changes = anomaly_changes([EXACT], [away(sign * octaves, deviation_db=-5.0)], rises_db=nothing_read)
        assert changes[0].fate == "weaker"  # wherever it went
        assert finding_changes([RISE], [at(1000.0 * 2.0 ** (sign * octaves))], rises_db=nothing_read)[0].fate == fate


@pytest.mark.parametrize(("octaves", "fate"), [(0.08, "kept"), (0.084, "moved")])
def test_a_dip_moves_by_more_than_it_is_uncertain(octaves, fate):
    """5.684 % of a frequency are 0.0820 octaves, whichever of the two is not known better."""
    for one_part, other_part in ((0.0, 0.05684), (0.05684, 0.0), (0.04019, 0.04019)):
        one = replace(EXACT, frequency_uncertainty_hz=one_part * 1000.0)
        other = away(octaves)
        other = replace(other, frequency_uncertainty_hz=other_part * other.frequency_hz)
        assert anomaly_changes([one], [other], rises_db=nothing_read)[0].fate == fate


@pytest.mark.parametrize(
    ("to_db", "fate"),
    [(-7.05, "kept"), (-7.0, "kept"), (-6.95, "weaker"), (-8.95, "kept"), (-9.0, "kept"), (-9.05, "stronger")],
)
def test_a_fault_changes_by_more_than_a_decibel(to_db, fate):
    assert anomaly_changes([DIP], [replace(DIP, deviation_db=to_db)], rises_db=nothing_read)[0].fate == fate
    (found,) = finding_changes([risen(rise_db=8.0)], [risen(rise_db=-to_db)], rises_db=nothing_read)
    assert found.fate == fate


def test_uncertainties_of_both_sides_add_in_squares():
    """1.5 dB are more than hypot(0.9, 1.1) = 1.42, and less than hypot(1.1, 1.1) = 1.56; 2 dB nothing's more than 2."""
    for own, other, fate in ((0.9, 1.1, "weaker"), (1.1, 1.1, "kept"), (0.0, 1.45, "weaker"), (1.55, 0.0, "kept")):
        one, later = replace(DIP, deviation_uncertainty_db=own), replace(DIP, deviation_uncertainty_db=other)
        assert anomaly_changes([one], [replace(later, deviation_db=-6.5)], rises_db=nothing_read)[0].fate == fate
        rises = [risen(rise_db=db, interval_db=sure) for db, sure in ((8.0, own), (6.5, other))]
        assert finding_changes(rises[:1], rises[1:], rises_db=nothing_read)[0].fate == fate


def test_a_band_that_either_side_calls_broad_does_not_move():
    narrow = at(1100.0)
    wide = replace(RISE, places=(PlaceFound(frequency_hz=1000.0, low_hz=100.0, high_hz=2000.0),))
    for one, other in ((wide, narrow), (narrow, wide)):
        assert finding_changes([one], [other], rises_db=nothing_read)[0].fate == "kept"


def test_a_finding_without_rows_has_no_size():
    """1.2 dB on the other side are 1.2 dB more, and its interval of 0.9 dB is all that is uncertain."""
    without, small = replace(RISE, evidence=()), risen(rise_db=1.2, interval_db=0.9)
    assert finding_changes([without], [small], rises_db=nothing_read)[0].fate == "stronger"
    assert finding_changes([small], [without], rises_db=nothing_read)[0].fate == "weaker"
    for lists in (([without], []), ([], [without])):
        (change,) = finding_changes(*lists, rises_db=lambda _: (6.0, 6.0))
        assert (change.fate, change.unlisted_db) == ("unread", None)


@pytest.mark.parametrize(("seen", "fate"), [(0.35, "kept"), (0.32, "unread"), (1.0, "kept")])
def test_curves_that_show_a_third_of_a_fault_can_show_it_missing(seen, fate):
    """Of a peak of 1 dB as of a dip of 8 dB; where the curves cannot be read they show nothing."""
    for listed_db in (-8.0, 1.0, 2.0):
        one = replace(DIP, deviation_db=listed_db)
        for lists in (([one], []), ([], [one])):
            (change,) = anomaly_changes(*lists, rises_db=lambda _, own=seen * listed_db: (own, own))
            assert change.fate == fate
            assert anomaly_changes(*lists, rises_db=nothing_read)[0].fate == "unread"


@pytest.mark.parametrize(("left", "fate"), [(0.26, "weaker"), (0.24, "gone")])
def test_a_fault_is_gone_where_less_than_a_quarter_is_left(left, fate):
    (change,) = anomaly_changes([DIP], [], rises_db=lambda _: (-6.0, -6.0 * left))
    assert (change.fate, change.unlisted_db) == (fate, pytest.approx(-8.0 * left))


def test_sides_without_a_level_in_common_say_nothing_of_a_dip():
    low, high = ([curve("response", level, bump(1000.0, -8.0))] for level in (86.0, 96.0))
    assert at_anomaly((low, high), DIP) is None
    assert at_anomaly((high, low), DIP) is None
    both = [*low, *[replace(one, value_db=0.5 * one.value_db) for one in high]]
    for sides, shares in (((both, high), (0.5, 1.0)), ((high, both), (1.0, 0.5))):
        alone = at_anomaly((high, high), DIP)
        assert at_anomaly(sides, DIP) == pytest.approx(
            tuple(share * db for share, db in zip(shares, alone, strict=True))
        )


def test_the_flanks_of_a_finding_begin_beyond_it():
    """Shoulders 0.3 to 0.45 octaves away belong to the flanks of a narrow place, and to none of a wide one."""
    octaves = np.abs(np.log2(ROWS_HZ / 1000.0))
    level = np.where((octaves < 0.1) | ((octaves > 0.28) & (octaves < 0.45)), 6.0, 0.0)
    sides = ([curve("h3", 96.0, level)], [curve("h3", 96.0, 0.5 * level)])
    narrow, wide = (
        replace(RISE, places=(PlaceFound(frequency_hz=1000.0, low_hz=1000.0 / reach, high_hz=1000.0 * reach),))
        for reach in (2.0**0.1, 2.0**0.35)
    )
    assert at_finding(sides, wide) == pytest.approx((6.0, 3.0))
    a_db, b_db = at_finding(sides, narrow)
    assert a_db == pytest.approx(2.0 * b_db)
    assert a_db < 5.0
