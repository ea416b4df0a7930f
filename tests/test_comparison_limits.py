"""What a comparison is made of and judged by: just on either side of where each rule turns, and every term by itself.

Holm's rule is held against the example that is usually worked for it (0.01, 0.04, 0.03, 0.005 at 5 %).
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.quantities import (
    CHANGE,
    CHANGE_OF_MULTITONE,
    EVEN,
    GAIN,
    GAIN_OF_MULTITONE,
    RESPONSE,
    RESPONSE_OF_MULTITONE,
    THD,
)
from distort.analysis.comparison.curves import (
    _order,
    _thd,
    _with_noise_around,
    changes,
    combined,
    gains,
    lowest_in_common,
    multitone_values,
    sweep_values,
)
from distort.analysis.comparison.regions import changed_regions
from distort.analysis.comparison.significance import Curve, compare, holm
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference
from tests.test_comparison_scatter import H2, SETTINGS, curve, difference, multitone_result, quiet, read

__all__ = ["read"]  # a fixture that is imported

THIRD, TWELFTH = 1.0 / 3.0, 1.0 / 12.0

# --- Holm -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probabilities", "kept"),
    [
        ([0.01, 0.04, 0.03, 0.005], [True, False, False, True]),
        ([0.03, 0.03], [False, False]),
        ([0.024, 0.049], [True, True]),
        ([0.024, np.nan, 0.049], [True, False, True]),
        ([0.026, 0.01, np.nan], [True, True, False]),
        ([np.nan], [False]),
        ([], []),
    ],
)
def test_which_probabilities_holm_keeps(probabilities, kept):
    """The smallest under 5 % over all that are known, the next under 5 % over one less; the first beyond ends it."""
    (found,) = holm([np.array(probabilities)], 0.05)
    assert found.tolist() == kept
    first, second = holm([np.array(probabilities[:1]), np.array(probabilities[1:])], 0.05)
    assert [*first, *second] == kept
    assert holm([], 0.05) == []


# --- one difference ---------------------------------------------------------------------------------------------------


def test_noise_that_nobody_heard_leaves_nothing_to_judge_unless_takes_scatter():
    unknown = curve(1.0, variance=np.nan)
    assert not compare([unknown], [unknown])[0].judged.any()
    takes = np.array([[0.0], [1.0]]) * np.ones(11)
    assert compare([curve(0.5, variance=np.nan, takes=takes)], [unknown])[0].judged.all()


@pytest.mark.parametrize(("quantity", "of_level"), [(RESPONSE, (0.5 / 1.959964) ** 2), (H2, 0.0), (CHANGE, 0.0)])
def test_what_a_calibration_is_uncertain_by_moves_the_response_alone(quantity, of_level):
    """Noise of 0.01 dB squared each, known exactly: a normal variable."""
    (one,) = compare([curve(0.0, quantity=quantity)], [curve(0.3, quantity=quantity)], calibration_db=0.5)
    sigma = np.sqrt(0.02 + of_level)
    np.testing.assert_allclose(one.uncertainty_db, 1.959964 * sigma, rtol=1e-6)
    np.testing.assert_allclose(one.probability, 2.0 * scipy.stats.norm.sf(0.3 / sigma), rtol=1e-6)


def test_of_one_row_all_rows_together_are_that_one():
    alone = replace(curve(), clear=np.arange(11) == 4)
    (one,) = compare([alone], [curve(1.0)])
    assert one.judged.sum() == 1
    np.testing.assert_allclose(one.together_db[4], one.uncertainty_db[4])


def test_a_side_holds_a_curve_once():
    for a, b in (([curve(), curve()], [curve()]), ([curve()], [curve(), curve()])):
        with pytest.raises(ValueError, match="twice"):
            compare(a, b)
    other_rows = replace(curve(), frequency_hz=np.geomspace(100.0, 1001.0, 11))
    with pytest.raises(ValueError, match="different rows"):
        compare([curve()], [other_rows])


def test_three_times_the_median_is_well_read_and_a_fall_excludes_as_much_as_a_rise():
    one = difference([-0.9, 0.1, 0.2], together=[0.25, 0.25, 0.75])
    assert one.well_read.tolist() == [True] * 3
    assert one.excluded_db == pytest.approx(0.9 + 0.25)


# --- regions ----------------------------------------------------------------------------------------------------------


def test_falls_are_merged_as_rises_are():
    """A fall in twelfths within a fall in thirds is its largest; a rise there is one of its own."""
    broad = difference([0.0, -0.6, -0.9, 0.0], hz=[500.0, 1000.0, 1259.0, 2000.0])
    narrow = difference([0.0, -1.2, 0.0, 0.8], hz=[900.0, 1000.0, 1100.0, 1259.0], octaves=TWELFTH)
    (alone,) = changed_regions([broad])
    assert (alone.difference_db, alone.peak_hz) == (-0.9, 1259.0)
    both = changed_regions([broad, narrow])
    assert [(one.difference_db, one.peak_hz) for one in both] == [(-1.2, 1000.0), (0.8, 1259.0)]
    assert both[0].high_hz == pytest.approx(1259.0 * 10.0**0.05)


def test_lines_nearer_than_their_bands_are_wide_make_regions_of_their_own():
    """A multitone has several lines a third octave: what did not change between two that did parts them."""
    lines = difference([0.6, 0.0, 0.9], hz=[1000.0, 1050.0, 1100.0], quantity=RESPONSE_OF_MULTITONE)
    assert [(one.difference_db, one.peak_hz) for one in changed_regions([lines])] == [(0.9, 1100.0), (0.6, 1000.0)]


# --- curves -----------------------------------------------------------------------------------------------------------


def gain(level: float, db: float, *, octaves: float = THIRD, quantity=GAIN) -> Curve:
    return replace(curve(db, quantity=quantity), level_db_spl=level, octaves=octaves)


def test_gains_are_responses_less_the_drive():
    responses = [
        replace(curve(86.0, quantity=RESPONSE), level_db_spl=86.0),
        replace(curve(95.0, quantity=RESPONSE_OF_MULTITONE), level_db_spl=96.0),
        curve(-40.0),
    ]
    found = gains(responses, {86.0: -20.0, 96.0: -10.0})
    assert [(one.quantity, float(one.value_db[0])) for one in found] == [(GAIN, 106.0), (GAIN_OF_MULTITONE, 105.0)]


def test_both_sides_refer_to_the_lowest_level_that_both_have():
    """Where they have two in common at least."""
    a = [gain(level, 0.0) for level in (76.0, 81.0, 86.0, 96.0)]
    b = [gain(level, 0.0) for level in (81.0, 86.0, 91.0)]
    assert lowest_in_common(a, b) == lowest_in_common(b, a) == {GAIN: 81.0}
    assert lowest_in_common(a, [*b[:1], *b[2:]]) == {}
    assert lowest_in_common(a[1:3], b) == {GAIN: 81.0}
    tones = [gain(level, 0.0, quantity=GAIN_OF_MULTITONE) for level in (86.0, 96.0)]
    assert lowest_in_common([*a, *tones], [*b, *tones]) == {GAIN: 81.0, GAIN_OF_MULTITONE: 86.0}


def test_compression_is_the_gain_less_that_of_the_reference():
    """In bands of each width by themselves, at every level above the reference and at none below."""
    ladder = [
        gain(level, db, octaves=octaves)
        for octaves, more in ((THIRD, 0.0), (TWELFTH, 0.25))
        for level, db in ((76.0, 5.0), (81.0, 3.0), (86.0, 2.5 + more), (91.0, 1.0 + more))
    ]
    found = changes(ladder, {GAIN: 81.0})
    assert [(one.octaves, one.level_db_spl, float(one.value_db[0])) for one in found] == [
        (THIRD, 86.0, -0.5),
        (THIRD, 91.0, -2.0),
        (TWELFTH, 86.0, -0.25),
        (TWELFTH, 91.0, -1.75),
    ]
    assert {one.quantity for one in found} == {CHANGE}
    tones = [gain(level, db, quantity=GAIN_OF_MULTITONE) for level, db in ((81.0, 3.0), (91.0, 2.0))]
    (one,) = changes(tones, {GAIN_OF_MULTITONE: 81.0})
    assert (one.quantity, float(one.value_db[0])) == (CHANGE_OF_MULTITONE, -1.0)
    np.testing.assert_allclose(one.noise_variance, 0.02)


def test_a_sum_is_clear_where_all_its_parts_are_and_may_have_one():
    one, other = (replace(curve(db), clear=np.arange(11) != row) for db, row in ((1.0, 2), (2.0, 5)))
    assert np.flatnonzero(~combined([(1.0, one), (-1.0, other)], H2, 90.0).clear).tolist() == [2, 5]
    alone = combined([(2.0, one), (0.0, other)], H2, 90.0)
    np.testing.assert_allclose(alone.value_db, 2.0)
    assert np.flatnonzero(~alone.clear).tolist() == [2]


def test_bands_are_read_as_third_octaves_and_twelfths(read):
    """IEC 61260-1 has both; of the fundamental alone there is no sum of orders."""
    found = sweep_values(quiet(read), Reference(), SETTINGS)
    assert {octaves for _, octaves in found} == {THIRD, TWELFTH}
    for count in (1, 2):
        spectra = read.separated.spectra[:count]
        fewer = replace(read, context=replace(read.context, separated=replace(read.separated, spectra=spectra)))
        found = sweep_values(quiet(fewer), Reference(), SETTINGS)
        assert ((THD, THIRD) in found) is (count == 2)


def test_a_band_of_a_multitone_without_a_value_is_not_clear():
    bands = {"even_db": np.array([np.nan, -50.0, -60.0]), "even_floor_db": np.full(3, -100.0)}
    assert multitone_values(multitone_result(bands=bands), 1.0)[EVEN, THIRD].clear.tolist() == [False, True, True]


def reading(power=1.0, noise=1e-9, leak=0.0, variance=1e-6, *, rows: int = 3) -> Reading:
    made = [np.broadcast_to(np.asarray(one, dtype=float), rows).copy() for one in (power, noise, leak, variance)]
    return Reading(power=made[0], noise=made[1], leak=made[2], variance=made[3])


def test_the_strongest_noise_within_the_windows_resolution_counts():
    """A window of 0.5 s tells 2 Hz apart. Of k times its noise the variance is k v + (k^2 - k) min(v, 2 (N / S)^2)."""
    at_hz = np.array([100.0, 101.5, 104.0, 200.0, 201.0])
    made = reading(
        power=[2.0, 0.5, 0.0, 4.0, 4.0],
        noise=[1.0, 4.0, 2.0, np.nan, 3.0],
        variance=[0.7, 0.1, 0.3, 0.2, 0.9],
        rows=5,
    )
    found = _with_noise_around(made, at_hz, 0.5)
    np.testing.assert_array_equal(found.noise, [4.0, 4.0, 2.0, np.nan, 3.0])
    expected = [4.0 * 0.7 + 12.0 * 2.0 * 0.25, 0.1, 0.3, 0.2, 0.9]
    np.testing.assert_allclose(found.variance, expected)
    weak = reading(power=[0.5, 0.5], noise=[0.1, 0.2], variance=0.4, rows=2)
    np.testing.assert_allclose(_with_noise_around(weak, at_hz[:2], 0.5).variance, [2 * 0.4 + 2 * 0.08, 0.4])
    for noise in ([0.1, 0.2], [0.2, 0.1]):  # 2.1 Hz apart
        beside = reading(power=[0.5, 0.5], noise=noise, rows=2)
        np.testing.assert_allclose(_with_noise_around(beside, np.array([100.0, 102.1]), 0.5).noise, noise)


@pytest.mark.parametrize(("margin_db", "clear"), [(10.2, True), (9.8, False)])
def test_an_order_and_a_sum_of_orders_are_clear_10_db_above_their_noise(margin_db, clear):
    """Of a fundamental that is not 1: reading and noise are both divided by its power."""
    own = reading(0.01, 0.01 * 10.0 ** (-margin_db / 10.0))
    valid, freedom = np.ones(3, dtype=bool), np.full(3, 100.0)
    for power in (100.0, 0.01):
        parts = [reading(power), own]
        assert _order(parts, 2, valid, freedom).clear.tolist() == [clear] * 3
        assert _thd(parts, valid, freedom).clear.tolist() == [clear] * 3
    assert not _order([reading(1.0), reading(np.nan)], 2, valid, freedom).clear.any()


def test_orders_that_make_nothing_have_no_sum():
    found = _thd([reading(1.0), reading(0.0, 0.0)], np.ones(3, dtype=bool), np.full(3, 100.0))
    assert np.isnan(found.value_db).all()
    assert not found.clear.any()
