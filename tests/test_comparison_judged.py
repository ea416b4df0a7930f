"""What two sides' curves are judged by: weighted sums, the scatter of takes, and what is excluded, by hand."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE, RESPONSE, THD, harmonic
from distort.analysis.comparison.curves import at_output, combined
from distort.analysis.comparison.regions import changed_regions, judged_range_hz, largest
from distort.analysis.comparison.significance import NARROW_OCTAVES, compare, least_named_db, pooled_freedom
from tests.test_comparison_scatter import H2, curve, difference


def test_freedom_of_a_sum_by_welch_and_satterthwaite():
    """`(v1 + v2)^2 / (v1^2 / n1 + v2^2 / n2)`: 0.3^2 / (0.01 / 4 + 0.04 / 8) = 12."""
    parts = [(np.array([0.1]), np.array([4.0])), (np.array([0.2]), np.array([8.0]))]
    assert pooled_freedom(np.array([0.3]), parts)[0] == pytest.approx(12.0)
    assert np.isinf(pooled_freedom(np.array([0.3]), [(np.array([0.3]), np.array([np.inf]))])[0])
    assert pooled_freedom(np.array([0.1]), [*parts[:1], (np.array([np.nan]), np.array([3.0]))])[0] == pytest.approx(4.0)


def test_a_weighted_sum_of_curves():
    """0.25 and 0.75 of two: values straight, variances by squared weights, freedom of the sum; an empty weight drops
    out."""
    one, other = curve(-40.0, variance=0.16, freedom=4.0), curve(-20.0, variance=0.04, freedom=9.0)
    found = combined([(0.25, one), (0.75, other), (0.0, curve(np.nan))], H2, 90.0)
    np.testing.assert_allclose(found.value_db, -25.0)
    np.testing.assert_allclose(found.noise_variance, 0.01 + 0.0225)
    np.testing.assert_allclose(found.noise_freedom, 0.0325**2 / (0.01**2 / 4 + 0.0225**2 / 9))
    takes = np.array([[0.0], [1.0]]) * np.ones(11)
    both = combined([(1.0, curve(takes=takes)), (-1.0, curve(takes=3.0 * takes))], H2, 90.0)
    np.testing.assert_allclose(both.replicates_db, -2.0 * takes)
    unlike = combined([(1.0, curve(takes=takes)), (1.0, curve(takes=np.vstack([takes, takes])))], H2, 90.0)
    assert unlike.replicates_db is None


def test_between_three_rungs_the_nearest_two_count():
    ladder = [(100.0, curve(-30.0)), (80.0, curve(-60.0)), (90.0, curve(-50.0))]
    found = [at_output(ladder, db, 86.0) for db in (80.0, 82.5, 90.0, 97.5, 100.0)]
    assert [float(one.value_db[0]) for one in found] == pytest.approx([-60.0, -57.5, -50.0, -35.0, -30.0])


def test_takes_that_scatter_widen_a_difference_by_their_number():
    """Two takes against three that scatter by s^2 beyond noise: `s^2 (1/2 + 1/3)` joins the noise of both sides."""
    random = np.random.default_rng(2)
    a, b = random.standard_normal((2, 1)) * np.ones(11), random.standard_normal((3, 1)) * np.ones(11)
    noise_variance = 0.001
    (one,) = compare(
        [curve(float(a.mean()), takes=a, variance=noise_variance)],
        [curve(float(b.mean()), takes=b, variance=noise_variance)],
    )
    # of one take: the noise of a mean of n is a n-th of that of one
    pooled = (np.var(a[:, 0], ddof=1) + 2.0 * np.var(b[:, 0], ddof=1)) / 3.0
    excess = pooled - (2 * noise_variance + 2.0 * 3 * noise_variance) / 3.0
    between = excess * (1 / 2 + 1 / 3)
    total = 2 * noise_variance + between
    freedom = total**2 / (between**2 / 3)
    ratio = abs(b.mean() - a.mean()) / np.sqrt(total)
    np.testing.assert_allclose(one.probability, 2.0 * scipy.stats.t.sf(ratio, freedom), rtol=1e-9)
    np.testing.assert_allclose(one.uncertainty_db, scipy.stats.t.isf(0.025, freedom) * np.sqrt(total), rtol=1e-9)
    # wide enough for all eleven rows together (Bonferroni)
    np.testing.assert_allclose(one.together_db, scipy.stats.t.isf(0.025 / 11, freedom) * np.sqrt(total), rtol=1e-9)


def test_two_takes_of_one_side_alone_say_little():
    """One degree of freedom: 95 % of Student's t lie within 12.706 (tables). 1 dB apart: a variance of 0.5, means of
    two takes and of one."""
    takes = np.array([[0.0], [1.0]]) * np.ones(11)
    (one,) = compare([curve(0.5, takes=takes, variance=0.0)], [curve(1.0, variance=0.0)])
    np.testing.assert_allclose(one.uncertainty_db, 12.7062 * np.sqrt(0.5 * 1.5), rtol=1e-5)


def test_noise_that_nobody_heard_is_in_the_scatter_of_takes():
    takes = np.array([[0.0], [1.0], [2.0]]) * np.ones(11)
    (one,) = compare([curve(1.0, takes=takes, variance=np.nan)], [curve(1.5, takes=takes + 0.5, variance=np.nan)])
    assert one.judged.all()
    expected = scipy.stats.t.isf(0.025, 4) * np.sqrt(1.0 * 2 / 3)
    np.testing.assert_allclose(one.uncertainty_db, expected, rtol=1e-9)


def test_no_difference_without_any_noise_is_none():
    (same,) = compare([curve(1.0, variance=0.0)], [curve(1.0, variance=0.0)])
    np.testing.assert_array_equal(same.probability, 1.0)
    (other,) = compare([curve(1.0, variance=0.0)], [curve(2.0, variance=0.0)])
    np.testing.assert_array_equal(other.probability, 0.0)
    assert other.significant.all()


@pytest.mark.parametrize(
    ("quantity", "least_db"), [(RESPONSE, 0.1), (CHANGE, 0.1), (CHANGE_OF_MULTITONE, 0.1), (H2, 0.5), (THD, 0.5)]
)
def test_a_change_is_named_from_its_least_on(quantity, least_db):
    """A tenth of a decibel of level, half a one of distortion (common practice); however sure it is."""
    assert least_named_db(quantity) == least_db
    for change_db, named in ((0.98 * least_db, False), (1.02 * least_db, True), (-1.02 * least_db, True)):
        (one,) = compare(
            [curve(0.0, quantity=quantity, variance=1e-9)], [curve(change_db, quantity=quantity, variance=1e-9)]
        )
        assert one.significant.all() == named
        np.testing.assert_array_equal(one.least_named_db, least_db)


def test_repeats_show_what_noise_does_not_explain():
    """0.4 dB apart with a noise of 0.03 dB squared each: a variance of 0.08, less 0.03, so a difference of two scatters
    by sqrt(0.1) dB, and three times that is the least change of the response that is named; of orders nothing is
    said."""
    repeats = [(curve(80.0, quantity=RESPONSE, variance=0.03), curve(80.4, quantity=RESPONSE, variance=0.03))]
    expected = 3.0 * np.sqrt(2.0 * (0.08 - 0.03))
    for quantity, least_db in ((RESPONSE, expected), (CHANGE, expected), (H2, 0.5), (CHANGE_OF_MULTITONE, 0.1)):
        (one,) = compare([curve(quantity=quantity)], [curve(quantity=quantity)], repeats=repeats)
        np.testing.assert_allclose(one.least_named_db, least_db, rtol=1e-9)
    twice = [*repeats, (curve(80.0, variance=0.0), curve(80.0, variance=0.0))]
    (one,) = compare([curve(quantity=RESPONSE)], [curve(quantity=RESPONSE)], repeats=twice)
    np.testing.assert_allclose(one.least_named_db, 3.0 * np.sqrt(2.0 * 0.05 / 2.0), rtol=1e-9)  # two degrees of freedom
    unread = [(replace(repeats[0][0], clear=np.zeros(11, dtype=bool)), repeats[0][1])]
    (one,) = compare([curve(quantity=RESPONSE)], [curve(quantity=RESPONSE)], repeats=unread)
    np.testing.assert_array_equal(one.least_named_db, 0.1)


def test_what_is_excluded_is_said_of_rows_that_are_well_read():
    """Three times the median interval, 0.2 dB, is 0.6 dB; the row at 0.61 dB does not hide what the others exclude."""
    together = [0.2, 0.2, 0.61, 0.2, 0.2, 0.59]
    one = difference([0.1, -0.3, 5.0, np.nan, 0.0, 0.2], together=together, significant=[False] * 6)
    assert one.well_read.tolist() == [True, True, False, False, True, True]
    assert one.excluded_db == pytest.approx(0.79)  # 0.2 + 0.59
    assert largest(one) == 1
    assert judged_range_hz(one) == pytest.approx((1000.0, 1000.0 * 2.0 ** (5 / 3)))
    nothing = difference([np.nan, np.nan])
    assert largest(nothing) is None
    assert judged_range_hz(nothing) is None
    assert np.isnan(nothing.excluded_db)


def test_regions_reach_from_edge_to_edge_of_their_bands_and_end_where_the_sign_turns():
    regions = changed_regions([difference([0.6, 0.9, -0.7, 0.0, 2.0])])
    half = 10.0**0.05
    assert [one.difference_db for one in regions] == [2.0, 0.9, -0.7]  # the largest first
    last, first, middle = regions
    assert (first.low_hz, first.high_hz) == pytest.approx((1000.0 / half, 1000.0 * 2 ** (1 / 3) * half))
    assert first.peak_hz == pytest.approx(1000.0 * 2 ** (1 / 3))
    assert (middle.low_hz, middle.high_hz) == pytest.approx(
        (1000.0 * 2 ** (2 / 3) / half, 1000.0 * 2 ** (2 / 3) * half)
    )
    assert last.high_hz == pytest.approx(1000.0 * 2 ** (4 / 3) * half)
    assert last.uncertainty_db == 0.1


def test_twelfths_count_where_no_third_octave_of_their_sign_covers_them():
    """Of the three narrow changes one lies in the broad one and is larger, one has the other sign, one lies apart."""
    broad = difference([0.0, 0.6, 0.0, 0.0], hz=[500.0, 1000.0, 2000.0, 4000.0])
    narrow = difference(
        [0.0, 0.9, 0.0, -0.8, 0.0, 0.7, 0.0],
        hz=[800.0, 1000.0, 1050.0, 1100.0, 2900.0, 3000.0, 3100.0],
        octaves=NARROW_OCTAVES,
    )
    regions = changed_regions([broad, narrow, difference([3.0], octaves=NARROW_OCTAVES, quantity=harmonic(3))])
    assert [(one.difference_db, round(one.peak_hz)) for one in regions] == [(0.9, 1000), (-0.8, 1100), (0.7, 3000)]
    half, twelfth = 10.0**0.05, 10.0**0.0125
    assert (regions[0].low_hz, regions[0].high_hz) == pytest.approx((1000.0 / half, 1000.0 * half))
    assert (regions[2].low_hz, regions[2].high_hz) == pytest.approx((3000.0 / twelfth, 3000.0 * twelfth))
    wide = difference([0.6, 0.6, 0.6], hz=[1080.0, 1120.0, 1160.0], octaves=NARROW_OCTAVES)
    merged = changed_regions([broad, wide])[0]  # it begins inside and goes on beyond
    assert (merged.low_hz, merged.high_hz) == pytest.approx((1000.0 / half, 1160.0 * twelfth))
