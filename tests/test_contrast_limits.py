"""Flanks, their medians, the ripple of a curve and the slopes of the way out: just on either side of where each turns.

Numbers beside a test are the contract. Rows of the grid are 0.04152 octaves apart: 15 of them are 0.623 octaves, 48 are
1.993.
"""

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.findings.contrasts import Flanks, flanks, ripple_at, ripple_db
from distort.analysis.findings.way_out import OWN_WAY, UNKNOWN_WAY, way_out
from tests.test_formulas_of_ways import reference_slopes

HZ = grid_hz()
ROW = int(np.argmin(np.abs(HZ - 1000.0)))
SHARE = 1.036
"""Seven in ten of a normal variable lie within so many of its standard deviations (tables of the normal integral)."""


def beside(offsets, values_db) -> np.ndarray:
    """Contrasts that are known at some rows beside 1 kHz alone."""
    known = np.full(HZ.size, np.nan)
    known[ROW + np.asarray(offsets)] = values_db
    return known


ALL = np.ones(HZ.size, dtype=np.bool_)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("first", "last", "told"), [(15, 24, True), (16, 24, False), (5, 14, False), (39, 48, True), (40, 49, False)]
)
def test_ten_rows_from_0_6_to_2_octaves_away_tell_the_ripple(side, first, last, told):
    """On one side alone they count 1.3 times; fewer tell nothing."""
    contrast = beside(side * np.arange(first, last + 1), 1.0)
    found = ripple_at(HZ, contrast, ROW, calm=ALL)
    assert found == pytest.approx(1.3 / SHARE) if told else np.isinf(found)


def test_rows_that_are_too_near_or_too_far_do_not_count():
    """Of ten rows the seventh from the least: int(0.7 x 9) = 6."""
    own = beside(np.arange(15, 25), np.arange(1.0, 11.0))
    own[[ROW + 14, ROW + 49]] = 100.0
    assert ripple_at(HZ, own, ROW, calm=ALL) == pytest.approx(1.3 * 7.0 / SHARE)
    own[ROW - 24 : ROW - 14] = 28.0
    own[[ROW - 14, ROW - 49]] = 100.0
    assert ripple_at(HZ, own, ROW, calm=ALL) == pytest.approx(14.0 / SHARE)


@pytest.mark.parametrize(("calm_rows", "ripple"), [(10, 1.0), (9, 50.0)])
def test_calm_rows_tell_the_ripple_where_there_are_ten(calm_rows, ripple):
    """Of fewer all rows count, most of which are tops of 50 dB here."""
    calm = np.zeros(HZ.size, dtype=np.bool_)
    offsets = np.arange(15, 15 + calm_rows)
    calm[ROW + offsets] = True
    contrast = beside(np.arange(15, 45), 50.0)
    contrast[ROW + offsets] = 1.0
    assert ripple_at(HZ, contrast, ROW, calm=calm) == pytest.approx(1.3 * ripple / SHARE)
    far, calm_far = contrast.copy(), calm.copy()
    far[ROW + 60 : ROW + 80], calm_far[ROW + 60 : ROW + 80] = 50.0, True  # calm, and too far
    assert ripple_at(HZ, far, ROW, calm=calm_far) == pytest.approx(1.3 * ripple / SHARE)
    assert ripple_db(HZ, contrast, calm=calm, least_db=0.1) == pytest.approx(ripple / SHARE)
    calm[ROW - 20 : ROW] = True  # calm, and not known
    assert ripple_db(HZ, contrast, calm=calm, least_db=0.1) == pytest.approx(ripple / SHARE)


def test_a_straight_line_has_no_contrast_where_one_flank_is_shorter():
    """The line goes through the mean places of the readings that there are: five above, thirteen below."""
    line = 3.0 * np.log2(HZ / 1000.0)
    short = np.where(np.arange(HZ.size) > ROW + 8, np.nan, line)
    found = flanks(HZ, short[None, :], gap_octaves=0.15)
    assert found.contrast_db[0, ROW] == pytest.approx(0.0, abs=1e-9)
    assert found.right_db[0, ROW] > found.left_db[0, ROW] + 1.0
    shorter = np.where(np.arange(HZ.size) > ROW + 7, np.nan, line)
    assert np.isnan(flanks(HZ, shorter[None, :], gap_octaves=0.15).contrast_db[0, ROW])


@pytest.mark.parametrize(("per_octave", "contrast_db"), [(19.0, 5.0), (21.0, 0.0)])
def test_the_core_holds_three_rows_where_the_gap_holds_three(per_octave, contrast_db):
    """0.15 octaves are 2.85 or 3.15 rows: one row that stands out alone is the core, or no median of three."""
    rows = np.arange(61) - 30.0
    level = np.where(rows == 0.0, 5.0, 0.0)
    found = flanks(1000.0 * 2.0 ** (rows / per_octave), level[None, :], gap_octaves=0.15)
    assert found.contrast_db[0, 30] == pytest.approx(contrast_db)


def test_half_a_decibel_beyond_both_flanks_is_half_a_decibel():
    """Half a decibel within them is nothing, and of what was not read nothing is known."""
    made = {"left_db": np.full((1, 5), 1.0), "right_db": np.full((1, 5), 4.0), "line_db": np.full((1, 5), 2.5)}
    found = Flanks(centre_db=np.array([[4.5, 0.5, 1.5, 3.5, np.nan]]), **made)
    np.testing.assert_allclose(found.beyond_both_db, [[0.5, -0.5, 0.0, 0.0, np.nan]])


# --- the way out ------------------------------------------------------------------------------------------------------


def told_way(monkeypatch, curves: np.ndarray):
    monkeypatch.setattr("distort.analysis.findings.way_out.rises", lambda *_, **__: curves)
    return way_out(3, HZ[: curves.shape[1]], curves)


@pytest.mark.parametrize(("before", "alpha"), [(0.9, 0.8), (-0.9, 0.9), (3.9, 0.8), (1.8, -0.3)])
def test_the_expected_slope_is_1_less_the_share_before_within_0_and_1(monkeypatch, before, alpha):
    """Scatter of 4 dB keeps the odds well within their limits; the share is a third of the slope on the fundamental."""
    random = np.random.default_rng(3)
    rises = random.standard_normal((2, 240))
    curves = np.array([*rises, before * rises[0] + alpha * rises[1] + 2.5 * random.standard_normal(240)])
    slopes, deviation = reference_slopes(curves[:2], curves[2])
    after = np.clip(1.0 - slopes[0] / 3.0, 0.0, 1.0)
    squared_width = (1.5 * deviation) ** 2 + 0.2**2
    expected = 0.5 * (slopes[1] ** 2 - (slopes[1] - after) ** 2) / squared_width
    assert abs(expected) < 3.9
    assert told_way(monkeypatch, curves).odds == pytest.approx(expected, rel=1e-5)


def test_sixteen_rises_tell_a_way_and_flanks_are_half_an_octave(monkeypatch):
    """Four rows say one thing, and four such things are needed."""
    random = np.random.default_rng(4)
    curves = random.standard_normal((3, 16))
    assert told_way(monkeypatch, curves).found is not None
    assert told_way(monkeypatch, curves[:, :15]) == UNKNOWN_WAY
    asked = {}
    monkeypatch.setattr(
        "distort.analysis.findings.way_out.rises",
        lambda *_, **options: asked.update(options) or np.full((3, 1), np.nan),
    )
    way_out(3, HZ, np.ones((3, HZ.size)))
    assert asked == {"gap_octaves": 0.15, "flank_octaves": 0.5}


def test_a_way_of_its_own_is_never_shared_and_an_unknown_one_as_often_as_not():
    assert OWN_WAY.shared_probability == 0.0
    assert OWN_WAY.together(5.0) == OWN_WAY
    assert UNKNOWN_WAY.shared_probability == 0.5
