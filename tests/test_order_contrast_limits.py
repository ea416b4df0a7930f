"""Contrasts of orders against sums by hand, the rows on which they are read, and what bounds say where one is not.

Numbers beside a test are the contract. Rows of the grid are lg(10) / (80 lg 2) octaves apart, so n f lies 80 lg n rows
above f, and an eighth of an octave is 3.01 rows.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.findings.evidence import Evidence, OrderCurve
from distort.analysis.findings.order_contrasts import (
    OrderContrasts,
    _order,
    _usable_rows,
    gap_contrasts,
    nearest_row,
)

HZ = grid_hz()
ROW = int(np.argmin(np.abs(HZ - 1000.0)))
ROWS = np.arange(HZ.size)
GAP = 0.3


def core(row: int, height_db: float, *, reach: int = 1) -> np.ndarray:
    return np.where(np.abs(ROWS - row) <= reach, height_db, 0.0)


def order_curve(number: int, level: float, product_db, *, floor_db=-80.0, unsure_db=0.0, bias_db=0.0) -> OrderCurve:
    """Of a fundamental at the level; floor re the fundamental."""
    made = {"relative_db": product_db - level, "floor_db": floor_db, "uncertainty_db": unsure_db, "bias_db": bias_db}
    arrays = {name: np.broadcast_to(np.asarray(value, dtype=float), HZ.shape).copy() for name, value in made.items()}
    return OrderCurve(order=number, level_db_spl=level, fundamental_db=np.full(HZ.size, level), **arrays)


def evidence(*orders: OrderCurve, response_db=None, lowest_hz: float = 20.0) -> Evidence:
    response = np.zeros(HZ.size) if response_db is None else response_db
    return Evidence(frequency_hz=HZ, response_db=response, lowest_valid_hz=lowest_hz, orders=orders)


# --- contrasts --------------------------------------------------------------------------------------------------------


def test_contrasts_of_an_order_at_two_levels():
    """A top of 2 and of 4 dB; the response 3 dB up at 2 f and 5 dB down at f; the short sweep reads 0.5 dB more at the
    lower level, 0.25 dB less at the higher. Noise of 0.196 / 1.96 = 0.1 dB."""
    twice = ROW + round(80.0 * np.log10(2.0))
    response = core(twice, 3.0, reach=3) - core(ROW, 5.0)
    curves = [
        order_curve(2, 86.0, 40.0 + core(ROW, 2.0), unsure_db=0.196, bias_db=core(ROW, 0.5)),
        order_curve(2, 96.0, 50.0 + core(ROW, 4.0), unsure_db=0.392, bias_db=core(ROW, -0.25)),
    ]
    found = gap_contrasts(evidence(*curves, response_db=response), GAP)
    assert found.response_db[ROW] == pytest.approx(-5.0)
    (one,) = found.orders
    assert (one.order, one.levels_db_spl) == (2, (86.0, 96.0))
    assert one.there_db[ROW] == pytest.approx(3.0)
    for name, expected in (
        ("product_db", [2.0, 4.0]),
        ("short_db", [2.5, 3.75]),
        ("less_way_db", [-1.0, 1.0]),
        ("error_db", [np.hypot(0.1, 0.5), np.hypot(0.2, 0.25)]),
        ("level_db", [42.0, 54.0]),
        ("relative_db", [-44.0, -42.0]),
    ):
        np.testing.assert_allclose(getattr(one, name)[:, ROW], expected, rtol=1e-4, err_msg=name)
    assert np.isnan(one.at_most_db).all()
    assert np.isnan(one.at_least_db[:, ROW]).all()


def test_an_order_that_is_readable_nowhere_is_none():
    """Neither under its floor, nor beyond the end of the response alone."""
    under = order_curve(3, 96.0, 20.0, floor_db=-80.0)
    end = float(HZ[-1]) / 3.0
    beyond = order_curve(3, 96.0, np.where(end < HZ, 50.0, 20.0))
    over = order_curve(3, 96.0, 50.0)
    assert _order(evidence(under), [under], GAP) is None
    assert _order(evidence(beyond), [beyond], GAP) is None
    found = _order(evidence(under, over), [replace(under, level_db_spl=86.0), over], GAP)
    assert found.levels_db_spl == (96.0,)
    assert np.isnan(found.level_db[0, end * 1.01 < HZ]).all()
    assert np.isfinite(found.level_db[0, ROW])


# --- which rows -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("number", "rows_below"), [(1, 4), (2, 28), (5, 59)])
def test_an_order_is_read_to_an_eighth_of_an_octave_below_the_end(number, rows_below):
    """80 lg n + 3.01 rows below the last row of the response: 3.01, 27.09, 58.93."""
    response = np.where(ROWS <= 220, 0.0, np.nan)
    usable = _usable_rows(evidence(response_db=response, lowest_hz=float(HZ[10])), number)
    assert np.flatnonzero(usable).tolist() == list(range(10, 220 - rows_below + 1))


def test_one_row_of_a_response_is_an_end_and_none_is_nothing():
    alone = np.where(ROWS == 100, 0.0, np.nan)
    assert np.flatnonzero(_usable_rows(evidence(response_db=alone), 1)).tolist() == list(range(1, 97))
    assert not _usable_rows(evidence(response_db=np.full(HZ.size, np.nan)), 1).any()


def test_every_frequency_between_two_rows_has_a_nearest_row():
    """Half of the way is near enough to either, whatever the last digit rounds to."""
    halves = np.sqrt(HZ[:-1] * HZ[1:])
    assert all(nearest_row(HZ, float(hz)) is not None for hz in halves)


# --- bounds -----------------------------------------------------------------------------------------------------------


def test_an_order_under_its_floor_is_at_most_its_floor():
    """At one place the floor is 60 dB down and 10 dB to clear, so 46 dB; both flanks are at 50 dB."""
    there = order_curve(3, 96.0, 50.0 - core(ROW, 12.0), floor_db=-80.0 + core(ROW, 20.0))
    found = _order(evidence(there), [there], GAP)
    assert found.at_most_db[0, ROW] == pytest.approx(46.0 - 50.0)
    known = np.flatnonzero(np.isfinite(found.at_most_db[0]))
    assert known.tolist() == [ROW - 1, ROW, ROW + 1]
    assert np.isnan(found.product_db[0, ROW])


def rising(level: float, bias_db: float = 0.0) -> OrderCurve:
    """Above the floor of 26 dB, with 10 dB to clear, at one place alone."""
    return order_curve(3, level, np.where(np.abs(ROWS - ROW) <= 1, 50.0, 20.0), floor_db=26.0 - level, bias_db=bias_db)


@pytest.mark.parametrize(
    ("bias_db", "told"), [(2.85, True), (-2.85, True), (3.0, True), (3.15, False), (-3.15, False), (np.nan, False)]
)
def test_what_stands_above_its_floor_at_one_place_is_at_least_so_much(bias_db, told):
    """50 - 36 dB, where the short sweep reads the same within 3 dB."""
    found = _order(evidence(rising(96.0)), [rising(96.0, bias_db)], GAP)
    bound = found.at_least_db[0, ROW]
    assert bound == pytest.approx(14.0) if told else np.isnan(bound)
    assert np.flatnonzero(np.isfinite(found.at_least_db[0])).tolist() == ([ROW - 1, ROW, ROW + 1] if told else [])


def test_only_what_is_there_at_the_highest_level_is_bounded():
    """The order must be read at the highest level of all, whichever orders it has."""
    low, high = rising(86.0), rising(96.0)
    other = order_curve(2, 101.0, 50.0)
    both = _order(evidence(low, high), [low, high], GAP)
    assert np.isfinite(both.at_least_db[:, ROW]).tolist() == [True, True]
    assert np.isnan(_order(evidence(low, high, other), [low, high], GAP).at_least_db).all()
    assert np.isnan(_order(evidence(low, high), [low], GAP).at_least_db).all()


def test_beside_the_end_of_the_response_there_is_no_bound():
    """One flank lies under its floor, of the other nothing is known."""
    end = np.flatnonzero(_usable_rows(evidence(), 3))[-1]
    made = order_curve(3, 96.0, np.where(np.abs(ROWS - (end - 1)) <= 1, 50.0, 20.0), floor_db=-70.0)
    found = _order(evidence(made), [made], GAP)
    assert np.isnan(found.at_least_db).all()
    assert np.isnan(found.at_most_db[0, end + 1 :]).all()


# --- ripple -----------------------------------------------------------------------------------------------------------

SHARE = 1.036
"""Seven in ten of a normal variable lie within so many of its standard deviations."""


def at_two_levels(known_rows: int) -> OrderContrasts:
    """Ripple of 1 dB over 200 rows at one level, of 3 dB over fewer at the other; less the way half of it."""
    product = np.full((2, HZ.size), np.nan)
    product[0, 20:220] = SHARE
    product[1, ROW - 60 : ROW - 60 + known_rows] = 3.0 * SHARE
    nothing = np.full((2, HZ.size), np.nan)
    return OrderContrasts(
        order=3,
        levels_db_spl=(86.0, 96.0),
        product_db=product,
        there_db=np.zeros(HZ.size),
        error_db=np.zeros((2, HZ.size)),
        short_db=nothing,
        less_way_db=0.5 * product,
        calm=np.ones(HZ.size, dtype=np.bool_),
        at_most_db=nothing,
        at_least_db=nothing,
        level_db=product,
        relative_db=product,
    )


@pytest.mark.parametrize(("known_rows", "ripple_db"), [(134, 1.0), (139, 1.0), (140, 2.0), (146, 2.0)])
def test_levels_that_are_read_over_seven_tenths_of_the_widest_show_the_ripple(known_rows, ripple_db):
    """Of 200 rows; the median of both is half way between them."""
    one = at_two_levels(known_rows)
    assert one.ripple_at(HZ, ROW) == pytest.approx((ripple_db, 0.5 * ripple_db))
    own, shared = one.ripples(HZ)
    np.testing.assert_allclose(own, ripple_db)
    np.testing.assert_allclose(shared, 0.5 * ripple_db)
