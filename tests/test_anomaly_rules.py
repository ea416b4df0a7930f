"""Trends, scatters and rises of a curve, and what stands out of it: sums by hand, and each limit from both sides."""

import math

import numpy as np
import pytest

from distort.analysis.anomalies import outstanding
from distort.analysis.anomalies.contrast import gap_for, rises
from distort.analysis.anomalies.outstanding import all_outstanding, half_width, scatters
from distort.analysis.anomalies.trend import (
    Detrended,
    blended_scatter,
    detrended,
    local_scatter,
    over_own_scatter,
    rows_per_octave,
    scatter_about_trend,
)

PER_OCTAVE = 48
ROWS_HZ = 20.0 * 2.0 ** (np.arange(10 * PER_OCTAVE + 1) / PER_OCTAVE)
OCTAVE = np.arange(ROWS_HZ.size) / PER_OCTAVE


# --- the trend --------------------------------------------------------------------------------------------------------


def test_how_many_rows_an_octave_holds():
    assert rows_per_octave(ROWS_HZ) == pytest.approx(48.0)
    assert rows_per_octave(np.array([100.0, 200.0])) == pytest.approx(1.0)


@pytest.mark.parametrize("unread", [slice(0, 0), slice(40, 50), slice(0, 60), slice(400, 481)])
def test_the_trend_of_a_quadratic_is_itself(unread):
    """Also where rows are missing; 1e-6 of flatness keeps the fit regular, of up to 30 dB."""
    level_db = 3.0 + 0.5 * OCTAVE - 0.2 * OCTAVE**2
    level_db[unread] = np.nan
    found = detrended(ROWS_HZ, level_db)
    known = np.isfinite(level_db)
    np.testing.assert_allclose(found.trend_db[known], level_db[known], atol=0.02)
    np.testing.assert_allclose(found.deviation_db[known], 0.0, atol=0.02)
    for column in (found.trend_db, found.deviation_db, found.scatter_db):
        assert np.isnan(column[~known]).all()


def test_the_trend_reaches_three_octaves_under_tricube_weights():
    """One row of 1 dB in a flat curve, 0 far away: with quadratics of three octaves either side the response at each
    row is the weighted quadratic's own, from sums; it ends after three octaves."""
    reach = 3 * PER_OCTAVE
    place = np.arange(-reach, reach + 1)
    weight = (1.0 - (np.abs(place) / (reach + 1.0)) ** 3) ** 3
    m0, m2, m4 = (float(np.sum(weight * (place / reach) ** k)) for k in (0, 2, 4))
    kernel = weight * (m4 - m2 * (place / reach) ** 2) / (m0 * m4 - m2**2)
    random = np.random.default_rng(1)
    level_db = 1e-9 * random.standard_normal(ROWS_HZ.size)  # trusted alike: scatter is taken as 1e-6 dB at least
    level_db[240] += 1e-7
    trend_db = detrended(ROWS_HZ, level_db).trend_db
    inner = slice(reach, -reach)
    expected = np.convolve(level_db, kernel, mode="same")
    np.testing.assert_allclose(trend_db[inner], expected[inner], atol=2e-5 * 1e-7 * 10)


def test_a_dip_does_not_pull_the_trend():
    """Rows four scatters off count for nothing, 2 off for (1 - 1/4)^2: 30 dB over a quarter of an octave would else
    pull the trend down by over 2 dB."""
    random = np.random.default_rng(2)
    level_db = 0.5 * random.standard_normal(ROWS_HZ.size)
    dip = level_db.copy()
    dip[234:246] -= 30.0
    without = level_db.copy()
    without[234:246] = np.nan
    middle = slice(180, 234)
    np.testing.assert_allclose(
        detrended(ROWS_HZ, dip).trend_db[middle], detrended(ROWS_HZ, without).trend_db[middle], atol=0.03
    )


@pytest.mark.parametrize(("scatters_off", "counts"), [(3.8, True), (4.2, False)])
def test_rows_four_scatters_off_count_for_nothing(scatters_off, counts):
    """Scatter of plus and minus 1 dB: 1.4826 of the median magnitude. Moved a little, such a row moves the trend beside
    it only where it counts."""
    level_db = np.where(np.arange(ROWS_HZ.size) % 2 == 0, 1.0, -1.0)
    moved = []
    for more in (0.0, 0.02):
        level_db[240] = scatters_off * 1.4826 + more
        moved.append(detrended(ROWS_HZ, level_db).trend_db[240])
    assert (abs(moved[1] - moved[0]) > 1e-5) == counts


# --- scatters ---------------------------------------------------------------------------------------------------------


def test_the_local_scatter_is_that_of_the_median_magnitude():
    """1.4826 times it (normal distribution: 1 / 0.6745); NaN are left out; of an even count the mean of two."""
    values = np.array([1.0, -2.0, 3.0, np.nan, 5.0, -8.0])
    assert pytest.approx(1.4826, rel=1e-4) == 1.0 / 0.67449
    expected = 1.4826 * np.array([1.5, 2.0, 2.5, 4.0, 6.5, 6.5])
    expected[3] = 1.4826 * 4.0
    np.testing.assert_allclose(local_scatter(values, 1), expected)
    np.testing.assert_allclose(local_scatter(values, 5), 1.4826 * 3.0)
    assert local_scatter(np.array([np.nan]), 1).tolist() == [0.0]


def test_calm_rows_count_as_the_median_of_all():
    values = np.array([0.1, 0.1, 0.1, 4.0, 4.0, 4.0, 4.0, np.nan])
    local = local_scatter(values, 1)
    blended = blended_scatter(values, 1)
    median = float(np.median(local[:7]))
    np.testing.assert_allclose(blended, np.maximum(local, median))
    assert blended[0] > 10.0 * local[0]
    assert blended_scatter(np.full(3, np.nan), 1).tolist() == [0.0, 0.0, 0.0]


def alternating(size: np.ndarray) -> np.ndarray:
    """Plus and minus `size` from row to row: a trend is 0 and the scatter 1.4826 of it."""
    return size * np.where(np.arange(size.size) % 2 == 0, 1.0, -1.0)


def test_the_scatter_is_that_of_an_octave_and_a_half_on_either_side():
    """1 dB up to row 300 and 2 dB from there: where more rows are of one kind than of the other, that is the median.
    It reaches 72 rows either side, so in the middle of a stretch of rows that are louder it tells when they are 73."""
    size = np.where(np.arange(ROWS_HZ.size) < 300, 1.0, 2.0)
    found = scatter_about_trend(ROWS_HZ, alternating(size)) / 1.4826
    np.testing.assert_allclose(found[60:290], 1.0, atol=0.1)
    np.testing.assert_allclose(found[310:420], 2.0, atol=0.2)
    for rows, told in ((70, False), (76, True)):  # of 145 rows 73 are the half
        one = np.ones(ROWS_HZ.size)
        one[240 - rows // 2 : 240 - rows // 2 + rows] = 2.0
        assert (scatter_about_trend(ROWS_HZ, alternating(one))[240] > 1.4826 * 1.5) == told
        over = over_own_scatter(ROWS_HZ, alternating(one), least_db=0.1)
        assert abs(over[240]) == pytest.approx(1.0 / 1.4826 if told else 2.0 / 1.4826, rel=0.1)


def test_what_is_over_its_own_scatter():
    """Signed; a scatter below the least counts as that."""
    one = alternating(np.ones(ROWS_HZ.size))
    one[240], one[300] = 10.0, np.nan
    over = over_own_scatter(ROWS_HZ, one, least_db=0.1)
    assert over[240] == pytest.approx(10.0 / 1.4826, rel=0.02)
    assert np.isnan(over[300])
    assert over_own_scatter(ROWS_HZ, one, least_db=5.0)[240] == pytest.approx(2.0, rel=0.02)


# --- rises ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "gap"), [(0.1, 0.3), (0.40, 0.3), (0.43, 0.45), (0.57, 0.45), (0.60, 0.6), (2.0, 0.6)]
)
def test_which_gap_a_width_asks_for(width, gap):
    """0.9 of it, the nearest of three: they change at 0.375 / 0.9 and 0.525 / 0.9 octaves."""
    assert gap_for(width) == gap


def test_a_rise_is_the_core_over_the_line_through_its_flanks():
    """Of a straight line it is 0; of a step of the core its height: 5 rows at 48 an octave (1/20 octave is 2.4 rows).
    Flanks from 0.3 octave (14 rows) to an octave."""
    line = 1.0 + 2.0 * OCTAVE
    core = np.zeros(ROWS_HZ.size)
    core[238:243] = 3.0
    both = np.array([line, line + core])
    found = rises(ROWS_HZ, both, gap_octaves=0.3)
    np.testing.assert_allclose(found[:, 240], [0.0, 3.0], atol=1e-9)
    assert found[1, 241] == pytest.approx(3.0 * 4.0 / 5.0)
    for row, moves in ((240 - 13, False), (240 - 14, True), (240 + 48, True), (240 + 49, False)):
        beside = np.zeros((1, ROWS_HZ.size))
        beside[0, row] = 1.0
        rise = rises(ROWS_HZ, beside, gap_octaves=0.3)[0, 240]
        assert rise == (pytest.approx(-1.0 / 70.0) if moves else 0.0)  # two flanks of 35 rows


def test_a_lopsided_flank_still_follows_a_line():
    curves = np.array([1.0 + 2.0 * OCTAVE])
    curves[0, 200:220] = np.nan
    found = rises(ROWS_HZ, curves, gap_octaves=0.3)
    assert np.isnan(found[0, 200:220]).all()
    known = np.isfinite(found[0])
    np.testing.assert_allclose(found[0, known], 0.0, atol=1e-9)
    assert known[190]


def test_three_rows_of_either_flank_are_needed():
    """The first row with three rows of the flank before it is the 17th, with 14 rows of gap; likewise at the end."""
    found = rises(ROWS_HZ, np.zeros((1, ROWS_HZ.size)), gap_octaves=0.3)
    known = np.flatnonzero(np.isfinite(found[0]))
    assert (known[0], known[-1]) == (16, ROWS_HZ.size - 1 - 16)


def test_coarse_rows_keep_a_gap_of_two_and_flanks_of_three():
    """At three rows an octave: gap 2 rows, flanks of 2 to 5."""
    f = 20.0 * 2.0 ** (np.arange(31) / 3.0)
    for row, moves in ((16, False), (17, True), (20, True), (21, False)):
        one = np.zeros((1, 31))
        one[0, row] = 1.0
        assert (rises(f, one, gap_octaves=0.3)[0, 15] != 0.0) == moves


def test_a_row_counts_where_every_curve_has_a_reading():
    two = np.zeros((2, ROWS_HZ.size))
    two[0, 238:243] = [1.0, 1.0, 1.0, 1.0, 6.0]
    two[1, 242] = np.nan
    assert rises(ROWS_HZ, two, gap_octaves=0.3)[0, 240] == pytest.approx(1.0)


# --- what stands out --------------------------------------------------------------------------------------------------


def against(deviation_db: np.ndarray, scatter_db: float | np.ndarray = 1.0) -> Detrended:
    return Detrended(
        frequency_hz=ROWS_HZ,
        deviation_db=deviation_db,
        trend_db=np.zeros_like(deviation_db),
        scatter_db=np.broadcast_to(np.asarray(scatter_db, dtype=float), deviation_db.shape),
    )


def bump(height_db: float, row: int = 240, half_rows: float = 8.0) -> np.ndarray:
    """A triangle in log frequency: half of it is left `half_rows / 2` rows away."""
    return height_db * np.maximum(1.0 - np.abs(np.arange(ROWS_HZ.size) - row) / half_rows, 0.0)


@pytest.mark.parametrize(
    ("scatter_db", "expected"), [(0.1, 2.0 / 3.6), (0.5, 2.0 / 3.6), (0.6, 0.6), (1.4, 1.4), (1.6, 1.5), (9.0, 1.5)]
)
def test_the_scatter_that_counts_lies_between_two_limits(scatter_db, expected):
    """A dip of 2 dB must stand out of calm; what is 3.6 times 1.5 dB deep is one in any company."""
    assert scatters(against(bump(-3.0), scatter_db))[240] == pytest.approx(-3.0 / expected)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("times", "listed"), [(0.95, False), (1.05, True)])
def test_dips_and_peaks_stand_out_by_3_6_scatters(sign, times, listed):
    found = outstanding._outstanding(against(bump(sign * 3.6 * times)))
    assert [(one.dip, one.centre_hz) for one in found] == ([(sign < 0, ROWS_HZ[240])] if listed else [])


@pytest.mark.parametrize(("valley", "count"), [(0.55, 1), (0.65, 2)])
def test_a_second_top_stands_out_of_the_saddle_by_six_tenths_of_that(valley, count):
    """Two tops, of 6 and 5 dB: 0.6 x 3.6 dB between the lower and the saddle."""
    two = np.maximum(bump(6.0, 240), bump(5.0, 270))
    saddle = 5.0 - valley * 3.6
    two[240:271] = np.maximum(two[240:271], saddle)
    assert len(outstanding._outstanding(against(two))) == count


@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize(("rows", "listed"), [(7, False), (9, True)])
def test_nothing_is_called_a_dip_within_a_sixth_of_an_octave_of_the_ends(end, rows, listed):
    """Eight rows, of what can be read."""
    deviation_db = bump(-6.0, 50 + rows if end == 0 else 430 - rows, half_rows=4.0)
    deviation_db[:50] = deviation_db[431:] = np.nan
    assert bool(outstanding._outstanding(against(deviation_db))) == listed


def test_two_rows_hold_nothing():
    few = np.full(ROWS_HZ.size, np.nan)
    few[[100, 101]] = 9.0
    assert outstanding._outstanding(against(few)) == []


def test_half_of_the_depth_is_left_where_the_straight_lines_cross_it():
    """In log frequency, on either side of its own."""
    deviation_db = bump(-6.0, 240, half_rows=9.0)
    deviation_db[241:] = np.where(np.arange(241, 481) < 244, -6.0, 0.0)  # falls from row 243 to 244
    low_hz, high_hz = half_width(against(deviation_db), 240)
    assert math.log2(low_hz / 20.0) * PER_OCTAVE == pytest.approx(240 - 4.5)
    assert math.log2(high_hz / 20.0) * PER_OCTAVE == pytest.approx(243.5)


def test_a_width_ends_with_the_rows():
    """Where half is never reached, within a row of the ends, a forty-eighth of an octave."""
    low_hz, high_hz = half_width(against(np.full(ROWS_HZ.size, -3.0)), 240)
    assert abs(math.log2(low_hz / ROWS_HZ[0])) < 1.001 / 48.0
    assert abs(math.log2(high_hz / ROWS_HZ[-1])) < 1.001 / 48.0
    assert abs(math.log2(half_width(against(bump(-3.0, 0)), 0)[0] / ROWS_HZ[0])) < 1.001 / 48.0


@pytest.mark.parametrize(("depth_db", "count"), [(3.8, 1), (4.2, 2)])
def test_what_only_a_trend_without_the_others_shows_is_4_decibels_at_least(depth_db, count, monkeypatch):
    """The trend without the others is given; 1.5 dB of scatter there would hide less than 5.4 dB, so it is calm."""
    beside = bump(-depth_db, 320, half_rows=6.0)
    monkeypatch.setattr(outstanding, "detrended", lambda f, level_db: against(beside, 0.5))
    found = all_outstanding(against(bump(-9.0)), np.zeros(ROWS_HZ.size))
    assert [one.centre_hz for one in found] == list(ROWS_HZ[[240, 320]][:count])


@pytest.mark.parametrize(("rows", "count"), [(12, 1), (17, 2)])
def test_what_lies_on_the_slope_of_another_is_none_of_its_own(rows, count, monkeypatch):
    """The first is 8 rows wide at half height, so 8 rows on either side are its own; a top half of which begins 3 rows
    before it must leave two rows more (a twenty-fourth of an octave)."""
    given = []

    def without(f, level_db):
        given.append(level_db)
        return against(bump(-9.0, 240 + rows, half_rows=6.0), 0.5)

    monkeypatch.setattr(outstanding, "detrended", without)
    found = all_outstanding(against(bump(-9.0)), np.zeros(ROWS_HZ.size))
    assert len(found) == count
    left_out = np.flatnonzero(np.isnan(given[0]))
    assert (left_out[0], left_out[-1]) in ((232, 248), (233, 247))  # the eighth row lies on the edge
