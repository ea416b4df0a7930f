"""A curve's trend and its scatter row by row, by numpy's own weighted polynomials; and rises at coarse rows."""

import numpy as np
import pytest

from distort.analysis.anomalies import trend
from distort.analysis.anomalies.contrast import rises
from distort.analysis.anomalies.trend import blended_scatter, detrended, over_own_scatter, scatter_about_trend

PER_OCTAVE = 6
ROWS_HZ = 20.0 * 2.0 ** (np.arange(10 * PER_OCTAVE + 1) / PER_OCTAVE)
REACH = 9
"""Rows of an octave and a half."""


def curve(unread: slice = slice(30, 33)) -> np.ndarray:
    """Ripple of 1 dB on a bend, with dips and peaks that count less and less; some rows are not read."""
    level_db = np.random.default_rng(4).standard_normal(ROWS_HZ.size) - 0.01 * (np.arange(ROWS_HZ.size) - 20.0) ** 2
    level_db[[5, 17, 18, 40, 52]] += [-9.0, 3.0, 4.0, -30.0, 5.0]
    level_db[unread] = np.nan
    return np.asarray(level_db)


def scatter_by_hand(deviation_db: np.ndarray) -> np.ndarray:
    """1.4826 times the median magnitude within an octave and a half."""
    rows = range(deviation_db.size)
    around = [np.abs(deviation_db[max(row - REACH, 0) : row + REACH + 1]) for row in rows]
    return np.array([1.4826 * float(np.median(some[np.isfinite(some)])) for some in around])


def trend_by_hand(level_db: np.ndarray, reach: int) -> np.ndarray:
    """Cleveland 1979: at each row the quadratic of the rows within reach, under tricube weights; twice refitted with
    bisquare weights of four scatters."""
    known, place = np.isfinite(level_db), np.arange(level_db.size)
    trust, fitted = known.astype(float), np.zeros(level_db.size)
    for _ in range(3):
        for row in place:
            apart = place - row
            near = known & (np.abs(apart) <= reach)
            weight = (1.0 - np.abs(apart[near] / (reach + 1.0)) ** 3) ** 3 * trust[near]
            fitted[row] = np.polyfit(apart[near], level_db[near], 2, w=np.sqrt(weight))[2]
        deviation_db = np.where(known, level_db - fitted, np.nan)
        off = deviation_db / (4.0 * scatter_by_hand(deviation_db))
        trust = np.where(known, np.square(1.0 - np.square(np.clip(off, -1.0, 1.0))), 0.0)
    return fitted


@pytest.mark.parametrize("unread", [slice(30, 33), slice(0, 4), slice(55, 61), slice(0, 0)])
def test_the_trend_is_a_robust_local_quadratic(unread):
    """Of three octaves; the scatter is that about one of two octaves, nowhere below its median. A trace of flatness,
    1e-6, is the tolerance's: of deviations of 40 dB."""
    level_db = curve(unread)
    known = np.isfinite(level_db)
    found = detrended(ROWS_HZ, level_db)
    np.testing.assert_allclose(found.trend_db[known], trend_by_hand(level_db, 18)[known], atol=2e-3)
    np.testing.assert_allclose(found.deviation_db, level_db - found.trend_db)
    rough = scatter_by_hand(level_db - trend_by_hand(level_db, 12))
    rough = np.maximum(rough, np.median(rough[known]))
    np.testing.assert_allclose(found.scatter_db[known], rough[known], atol=2e-3)
    np.testing.assert_allclose(scatter_about_trend(ROWS_HZ, level_db), rough, atol=2e-3)
    assert np.isnan([found.trend_db[~known], found.deviation_db[~known], found.scatter_db[~known]]).all()


def test_what_is_over_its_own_scatter_has_the_trend_of_three_octaves():
    level_db = curve()
    deviation_db = level_db - trend_by_hand(level_db, 18)
    for least_db in (0.1, 1.5):
        expected = deviation_db / np.maximum(scatter_by_hand(deviation_db), least_db)
        np.testing.assert_allclose(over_own_scatter(ROWS_HZ, level_db, least_db=least_db), expected, atol=5e-3)


def test_a_trend_reaches_two_rows_at_least_and_is_told_where_little_is_read():
    """At two rows in ten octaves three octaves are less than a row. Where only one row is read, it is its own trend."""
    f = 20.0 * 2.0 ** (5.0 * np.arange(9))
    level_db = np.array([1.0, 2.0, 4.0, 7.0, 11.0, 16.0, 22.0, 29.0, 37.0])  # a quadratic
    np.testing.assert_allclose(detrended(f, level_db).trend_db, level_db, atol=1e-3)
    alone = np.full(9, np.nan)
    alone[4] = 3.0
    assert detrended(f, alone).trend_db[4] == pytest.approx(3.0, abs=1e-4)
    assert np.isnan(detrended(f, np.full(9, np.nan)).trend_db).all()


def test_windows_hold_the_rows_on_either_side():
    """Row numbers, tricube weights and powers of the place, by hand, for two rows either side."""
    index, weight, powers = trend._windows(3, 2)
    assert index.tolist() == [[-2, -1, 0, 1, 2], [-1, 0, 1, 2, 3], [0, 1, 2, 3, 4]]
    np.testing.assert_allclose(weight[1], [(1.0 - (abs(k) / 3.0) ** 3) ** 3 for k in (-2, -1, 0, 1, 2)])
    np.testing.assert_allclose(powers, [[1.0] * 5, [-1.0, -0.5, 0.0, 0.5, 1.0], [1.0, 0.25, 0.0, 0.25, 1.0]])


def test_scatter_is_blended_with_the_median_of_what_is_read():
    values = np.array([np.nan, np.nan, 1.0, 3.0, 9.0])
    local = 1.4826 * np.array([0.0, 1.0, 2.0, 3.0, 6.0])
    np.testing.assert_allclose(blended_scatter(values, 1), np.maximum(local, 1.4826 * 3.0))


# --- rises ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("per_octave", "core_rows"), [(3, 1), (19, 1), (21, 3), (38, 3), (42, 5)])
def test_the_core_reaches_a_twentieth_of_an_octave(per_octave, core_rows):
    """Whole rows of it: a step as wide as the core rises by all of it, and one row alone by its share."""
    f = 20.0 * 2.0 ** (np.arange(8 * per_octave + 1) / per_octave)
    middle, half = 4 * per_octave, core_rows // 2
    step = np.zeros((1, f.size))
    step[0, middle - half : middle + half + 1] = 1.0
    found = rises(f, step, gap_octaves=0.3)
    assert found.shape == (1, f.size)
    assert found[0, middle] == pytest.approx(1.0)
    step[:] = 0.0
    step[0, middle] = 1.0
    assert rises(f, step, gap_octaves=0.3)[0, middle] == pytest.approx(1.0 / core_rows)
