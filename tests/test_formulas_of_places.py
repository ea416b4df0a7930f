"""What orders say at one place, which dips are of one comb, and what two paths do: where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.combs import at_a_peak, path_at, path_of, same_path
from distort.analysis.findings.evidence import ChangeCurve, Evidence
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.local_changes import LocalChange
from distort.analysis.findings.order_contrasts import GapContrasts, OrderContrasts, calm_rows, nearest_row
from distort.analysis.findings.peak_findings import _of_comb
from distort.analysis.findings.places import OrderAt, Place, place_at
from distort.analysis.findings.rows import order_rows, risen
from distort.analysis.findings.two_paths import at_other_dips, two_paths
from tests.made_evidence import anomaly

HZ = grid_hz()
ROW = int(np.argmin(np.abs(HZ - 1000.0)))
AT_HZ = float(HZ[ROW])
STUDENT = scipy.stats.t(12)
SPEED_M_S = 343.2


def chance(size: float, sigma: float, places: int) -> float:
    """That a reading stands out by more than the best of so many."""
    return float((1.0 - 2.0 * STUDENT.sf(abs(size) / sigma)) ** places)


def away(octaves: float) -> float:
    return AT_HZ * 2.0**octaves


# --- orders at a place ------------------------------------------------------------------------------------------------


def contrast(number: int, here_db=(1.0, 2.0), *, ripples=(1.0, 1.2), there_db: float = 0.5, **bounds) -> OrderContrasts:
    """An order that shows just so much ripple round about: seven in ten of a normal variable lie within 1.036 of it."""
    shape = (2, HZ.size)
    product = np.full(shape, 1.036 * ripples[0])
    product[:, ROW] = here_db
    at_most, at_least = np.full(shape, np.nan), np.full(shape, np.nan)
    at_most[:, ROW] = bounds.get("at_most_db", np.nan)
    at_least[:, ROW] = bounds.get("at_least_db", np.nan)
    return OrderContrasts(
        order=number,
        levels_db_spl=(86.0, 96.0),
        product_db=product,
        there_db=np.full(HZ.size, there_db),
        error_db=np.full(shape, 0.2),
        short_db=product,
        less_way_db=np.full(shape, 1.036 * ripples[1]),
        calm=np.ones(HZ.size, dtype=np.bool_),
        at_most_db=at_most,
        at_least_db=at_least,
        level_db=product,
        relative_db=product - 50.0,
    )


def at(*orders: OrderContrasts) -> Place:
    return place_at(HZ, GapContrasts(gap_octaves=0.3, response_db=np.full(HZ.size, -4.0), orders=orders), ROW)


NONE = (np.nan, np.nan)


def test_the_ripple_of_one_order_is_bounded_by_three_times_that_of_all():
    found = at(contrast(2, ripples=(0.5, 0.6)), contrast(3), contrast(4, ripples=(6.0, 9.0)))
    ripples = {one.order: one.ripple_db for one in found.orders}
    assert ripples[2] == pytest.approx((0.5, 0.6))
    assert ripples[3] == pytest.approx((1.0, 1.2))
    assert ripples[4] == pytest.approx((3.0, 3.6))
    assert (found.frequency_hz, found.fundamental_db, found.gap_octaves) == (AT_HZ, -4.0, 0.3)
    assert found.of(3).there_db == 0.5
    assert found.of(7) is None


@pytest.mark.parametrize(
    ("at_least_db", "there_db", "levels"),
    [
        ((5.7, 6.3), 0.0, [96.0]),
        ((6.3, 5.7), 0.0, None),
        ((6.0, 6.0), -2.0, [86.0, 96.0]),
        ((6.7, 7.3), 1.0, [96.0]),
        ((7.3, 6.7), 1.0, None),
    ],
)
def test_a_lower_bound_tells_where_it_lies_6_db_above_what_the_way_gives(at_least_db, there_db, levels):
    """At the highest level at least; its ripple is a common one, of 2 dB or more."""
    loud = contrast(5, NONE, there_db=there_db, at_least_db=at_least_db)
    found = at(contrast(2, ripples=(2.5, 1.0)), loud)
    bound = found.of(5)
    assert (None if bound is None else list(bound.levels_db_spl)) == levels
    if bound is not None:
        assert bound.at_least
        assert bound.ripple_db == pytest.approx((2.5, 2.0))
        assert list(bound.product_db) == list(at_least_db)[-len(levels) :]
    readable = at(contrast(5, (1.0, np.nan), at_least_db=(9.0, 9.0)))
    assert not readable.of(5).at_least


def test_an_order_under_its_floor_is_bounded_by_the_lowest():
    found = at(contrast(2), contrast(3, NONE, at_most_db=(-2.0, -5.0), there_db=-1.5))
    (low,) = found.under
    assert (low.order, low.at_most_db, low.there_db) == (3, -5.0, -1.5)
    assert low.ripple_db == pytest.approx((1.0, 1.2))
    assert found.of(3) is None
    for bounds in ((0.0, 0.5), (0.5, 0.5), NONE):
        assert at(contrast(3, NONE, at_most_db=bounds)).under == ()
    assert len(at(contrast(3, NONE, at_most_db=(0.5, -0.05))).under) == 1
    assert at(contrast(3, (1.0, np.nan), at_most_db=(-9.0, -9.0))).under == ()


def test_a_row_counts_within_half_a_row():
    per_row = np.log2(HZ[1] / HZ[0])
    assert nearest_row(HZ, away(0.49 * per_row)) == ROW
    assert nearest_row(HZ, HZ[0] * 2.0 ** (-0.49 * per_row)) == 0
    assert nearest_row(HZ, HZ[0] * 2.0 ** (-0.51 * per_row)) is None


def test_rows_within_a_sixth_of_an_octave_of_a_place_are_not_calm():
    """Neither at f nor at n f."""
    dip = anomaly(AT_HZ, -6.0, low_hz=away(-0.2), high_hz=away(0.3))
    calm_at = {-0.38: True, -0.35: False, 0.45: False, 0.48: True, -1.38: True, -1.35: False, -0.55: False, -0.52: True}
    calm = calm_rows((dip,), np.array([away(octaves) for octaves in calm_at]), orders=(1, 2))
    assert list(calm) == list(calm_at.values())


def order(number: int = 3, product_db=(6.0, 6.0), *, there_db: float = 1.0, ripple_db=(0.8, 1.0)) -> OrderAt:
    return OrderAt(
        order=number,
        levels_db_spl=np.array([86.0, 96.0]),
        product_db=np.array(product_db),
        error_db=np.array([0.3, 0.1]),
        short_db=np.array(product_db),
        there_db=there_db,
        ripple_db=ripple_db,
        relative_db=np.array([-55.0, -40.0]),
    )


def test_rows_of_evidence_hold_what_the_order_does_at_each_level():
    here = Place(frequency_hz=AT_HZ, gap_octaves=0.3, fundamental_db=-4.0, orders=(order(2), order()))
    fit = Fit(name="x", alpha=1, log_likelihood=0.0, predicted_db={2: 1.6, 3: 4.05}, spread_db={}, source_db={})
    assert [one.quantity for one in order_rows(here, fit, ())] == ["h2", "h2", "h3", "h3"]
    low, high = order_rows(here, fit, (), only=(3,))
    assert (low.level_db_spl, high.level_db_spl) == (86.0, 96.0)
    assert (low.rise_db, low.fundamental_db, low.response_at_product_db, low.source_db) == (10.0, 4.0, 1.0, 5.0)
    assert (low.value_db, high.value_db) == (-55.0, -40.0)
    assert low.interval_db == pytest.approx(1.96 * np.hypot(1.0, 0.3), rel=1e-4)
    # the order lies 1.95 dB above what is predicted: within 1.96 x 1.044, beyond 1.96 x 0.98
    assert (low.speaks, high.speaks) == ("for", "for")
    assert order_rows(here, fit, (3,), only=(3,))[0].speaks == "against"
    off = replace(fit, predicted_db={2: 1.6, 3: 3.97})
    assert [one.speaks for one in order_rows(here, off, (), only=(3,))] == ["for", "silent"]
    for predicted_db, speaks in ((1.6, "for"), (1.4, "silent"), (-1.6, "for")):
        calm = replace(here, orders=(order(3, (predicted_db, predicted_db)),))
        told = replace(fit, predicted_db={3: predicted_db})
        assert order_rows(calm, told, ())[0].speaks == speaks
        assert order_rows(calm, replace(told, source_db={3: 1.0}), ())[0].speaks == "for"


@pytest.mark.parametrize(
    ("mean_db", "ripple_db", "rises"), [(1.05, 0.5, True), (0.95, 0.5, False), (4.0, 5.1, True), (4.0, 5.7, False)]
)
def test_what_has_risen(mean_db, ripple_db, rises):
    """By 5 dB with the dip of 4 dB, and by 1.5 spreads of ripple: 8 dB over 5.33 dB."""
    one = order(3, (mean_db, mean_db), ripple_db=(ripple_db, 0.1))
    assert risen(Place(frequency_hz=AT_HZ, gap_octaves=0.3, fundamental_db=-4.0, orders=(one,)), least_db=5.0) == (
        (3,) if rises else ()
    )


# --- combs ------------------------------------------------------------------------------------------------------------


def evidence(*anomalies, response_db=None, **more) -> Evidence:
    response = np.zeros(HZ.size) if response_db is None else response_db
    return Evidence(frequency_hz=HZ, response_db=response, lowest_valid_hz=20.0, anomalies=anomalies, **more)


PATH_M = SPEED_M_S / 1000.0
"""Dips at 500, 1500, 2500 Hz, peaks at 1000, 2000 Hz."""


def dips(*paths_m: float):
    return [anomaly(500.0 * (2 * k + 1), -6.0, number=k + 1, path_difference_m=one) for k, one in enumerate(paths_m)]


@pytest.mark.parametrize(("at_dip", "told"), [(0.114, True), (0.126, False), (-0.114, True), (-0.126, False)])
def test_a_place_within_an_eighth_of_the_distance_of_dips_is_one_of_them(at_dip, told):
    """0.12, as two dips give the path; of one alone nothing is told."""
    for number in (0, 2):
        at_hz = 1000.0 * (number + 0.5 + at_dip)
        assert path_at(evidence(*dips(PATH_M, PATH_M)), at_hz) == (PATH_M if told else None)
    assert path_at(evidence(*dips(PATH_M)), 1500.0) is None
    assert path_at(evidence(), 1500.0) is None


def test_paths_agree_within_a_twentieth():
    assert same_path(1.0475, 1.0)
    assert not same_path(1.0525, 1.0)
    assert same_path(0.9525, 1.0)
    assert not same_path(0.9475, 1.0)
    assert not same_path(None, 1.0)
    assert not same_path(1.0, None)
    known = evidence(*dips(PATH_M, 1.04 * PATH_M))
    assert path_of(known, anomaly(2500.0, -6.0)) == PATH_M
    assert path_of(known, anomaly(2500.0, 6.0)) is None
    assert path_of(known, dips(2.0)[0]) == 2.0


@pytest.mark.parametrize(
    ("place", "told"), [(1.19, True), (1.21, False), (0.81, True), (0.79, False), (2.1, True), (0.1, False)]
)
def test_a_comb_peaks_at_multiples_of_twice_its_first_dip(place, told):
    """Within a fifth of the distance between them."""
    assert at_a_peak(evidence(*dips(PATH_M)), 1000.0 * place, PATH_M) is told
    assert _of_comb(anomaly(1000.0 * place, 6.0), dips(PATH_M)[0]) is told
    assert not _of_comb(anomaly(1000.0, 6.0), anomaly(500.0, -6.0))


# --- two paths --------------------------------------------------------------------------------------------------------


def change(
    at_dip_db: float, at_other_db: float = 0.0, *, other: int = ROW + 12, noise_db: float = 0.02, excess_db=None
):
    """Of a dip, with another place half an octave above it."""
    db = np.zeros(HZ.size)
    db[ROW], db[other] = at_dip_db, at_other_db
    curve = ChangeCurve(
        quantity=CHANGE,
        level_db_spl=96.0,
        frequency_hz=HZ,
        change_db=db,
        uncertainty_db=np.full(HZ.size, 1.959964 * noise_db),
        bias_db=np.zeros(HZ.size),
    )
    return LocalChange(
        curve=curve,
        row=ROW,
        excess_db=at_dip_db if excess_db is None else excess_db,
        sigma_db=0.1,
        low_hz=away(-0.1),
        high_hz=away(0.1),
    )


SPREAD_DB = float(np.hypot(0.02, 0.02))
"""Of noise, and of two runs."""


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("share_db", "fall_db", "answer"),
    [
        (0.5, 0.2 - 2.9 * SPREAD_DB, "yes"),
        (0.5, 0.2 - 3.1 * SPREAD_DB, "no"),
        (0.5, 1.25 + 2.9 * SPREAD_DB, "yes"),
        (0.5, 1.25 + 3.1 * SPREAD_DB, "no"),
        (6.1 * SPREAD_DB, 3.1 * SPREAD_DB, "yes"),
        (6.1 * SPREAD_DB, 2.9 * SPREAD_DB, "open"),
        (5.9 * SPREAD_DB, 3.1 * SPREAD_DB, "open"),
    ],
)
def test_the_peak_falls_by_the_change_over_the_depth_of_the_dip(sign, share_db, fall_db, answer):
    """(a + b) / (a - b) is the depth from peak to dip, here 12 dB; within a factor of 2.5 and three spreads."""
    response = np.zeros(HZ.size)
    response[ROW], response[ROW + 12] = -9.0, 3.0
    moved = change(sign * share_db * 10.0**0.6, -fall_db)
    assert two_paths(evidence(response_db=response), moved) == answer


def test_the_peak_beside_a_dip_is_looked_for_within_1_3_octaves():
    rows_away = {octaves: round(octaves / np.log2(HZ[1] / HZ[0])) for octaves in (1.29, 1.37)}
    for octaves, answer in ((1.29, "yes"), (1.37, "no")):
        response = np.zeros(HZ.size)
        response[ROW], response[ROW - rows_away[octaves]] = -12.0, 6.0
        moved = change(-4.0, -4.0 * 10.0 ** (-18.0 / 20.0), other=ROW - rows_away[octaves])
        assert two_paths(evidence(response_db=response), moved) == answer
    assert two_paths(evidence(response_db=np.full(HZ.size, np.nan)), change(-4.0)) == "open"


def test_other_dips_of_a_comb_change_as_well_where_two_sources_make_it():
    """By three tenths of the change above its flanks, read to within half of that."""
    assert at_other_dips(change(-2.0, -0.63), [HZ[ROW + 12]]) == "yes"
    assert at_other_dips(change(-2.0, -0.57), [HZ[ROW + 12]]) == "no"
    # the flank of the change itself, 1 dB, is no part of it
    assert at_other_dips(change(-2.0, -1.33, excess_db=-1.0), [HZ[ROW + 12]]) == "yes"
    assert at_other_dips(change(-2.0, -1.27, excess_db=-1.0), [HZ[ROW + 12]]) == "no"
    assert at_other_dips(change(-2.0, -0.63), [HZ[ROW + 12], HZ[ROW + 20]]) == "open"
    for noise_db, answer in ((0.145, "yes"), (0.158, "open")):
        assert at_other_dips(change(-2.0, -1.0, noise_db=noise_db), [HZ[ROW + 12]]) == answer
    assert at_other_dips(change(-2.0, -1.0), []) == "open"
    assert at_other_dips(change(-2.0, -1.0), [3.0 * HZ[-1]]) == "open"
