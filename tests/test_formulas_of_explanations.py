"""What an explanation predicts at a place and how likely a place is under it, against the densities in closed form.

The distribution is scipy's own of Student with twelve degrees of freedom; the numbers beside it are the contract:
a range of 2 to 22 dB, a part in a source with 0.3, one that jumps with 0.15, levels that differ by 0.3 and 1 dB besides
noise, 12 % and 4 % of steep places, a fifth of what follows a filter.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.findings.explanations.before_source import before_source
from distort.analysis.findings.explanations.fit import Fit, jump, log_steady, log_under, passive, spread_about
from distort.analysis.findings.explanations.local_source import grows, local_source
from distort.analysis.findings.explanations.peak_on_way import ElsewhereAt, log_odds, shares_it
from distort.analysis.findings.likelihoods import (
    joint_limit,
    log_density,
    log_density_of_source,
    log_sum,
    share_right,
    stands_out,
)
from distort.analysis.findings.peak_findings import _logs
from distort.analysis.findings.places import AtMost, OrderAt, Place
from distort.analysis.findings.weighing import BEFORE, BOTH, OWN, SHARED, SOURCE, Weighed, contradicting, weighed
from distort.analysis.findings.weighings import Weighing
from tests.made_evidence import anomaly

STUDENT = scipy.stats.t(12)


def density(off_db: float, spread_db: float) -> float:
    return float(STUDENT.logpdf(off_db / spread_db) - np.log(spread_db))


def density_of_source(off_db: float, spread_db: float) -> float:
    """The mean of the density over sources of 2 to 22 dB."""
    made = np.linspace(2.0, 22.0, 4001)
    value = np.trapezoid(STUDENT.pdf((off_db - made) / spread_db) / spread_db, made)
    return float(np.log(value / 20.0))


def order(
    number: int = 3,
    product_db: tuple[float, ...] = (1.0, 2.0, 4.0),
    error_db: tuple[float, ...] = (0.4, 0.3, 0.2),
    **more,
) -> OrderAt:
    given = {
        "levels_db_spl": np.array([86.0, 91.0, 96.0])[-len(product_db) :],
        "short_db": np.array(product_db),
        "there_db": -3.0,
        "ripple_db": (0.7, 0.9),
        "relative_db": np.array([-60.0, -50.0, -41.0])[-len(product_db) :],
    } | more
    return OrderAt(order=number, product_db=np.array(product_db), error_db=np.array(error_db), **given)


def place(
    *orders: OrderAt, fundamental_db: float = -5.0, under: tuple[AtMost, ...] = (), at_hz: float = 1000.0
) -> Place:
    return Place(frequency_hz=at_hz, gap_octaves=0.3, fundamental_db=fundamental_db, orders=orders, under=under)


# --- densities --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("off_db", "spread_db"), [(0.0, 1.0), (1.3, 0.4), (-6.0, 2.0), (9.0, 0.7)])
def test_densities_are_students(off_db, spread_db):
    assert log_density(off_db, spread_db) == pytest.approx(density(off_db, spread_db), rel=1e-9)
    assert log_density_of_source(off_db, spread_db) == pytest.approx(density_of_source(off_db, spread_db), rel=1e-4)


def test_probabilities_that_follow_from_counts():
    """Laplace's rule, Sidak's limit, the best of several readings, and the sum of probabilities."""
    assert [share_right(9, 10), share_right(0, 0)] == pytest.approx([10.0 / 12.0, 0.5])
    for count in (1, 4):
        each = 1.0 - 0.99 ** (1.0 / count)
        assert joint_limit(count) == pytest.approx(scipy.stats.norm.isf(0.5 * each), rel=1e-9)
    assert joint_limit(0) == joint_limit(1)
    assert joint_limit(3, 0.2) == pytest.approx(scipy.stats.norm.isf(0.5 * (1.0 - 0.8 ** (1.0 / 3.0))))
    assert stands_out(-3.0, 1.5, places=3) == pytest.approx((1.0 - 2.0 * STUDENT.sf(2.0)) ** 3)
    assert stands_out(3.0, 0.0, places=3) == 1.0
    assert log_sum(np.log(0.2), np.log(0.3)) == pytest.approx(np.log(0.5))


# --- one order --------------------------------------------------------------------------------------------------------


def test_an_orders_mean_weighs_each_level_by_noise_and_by_what_drive_does():
    """1 / (sigma^2 + 0.3^2) each; the mean's own part of the spread is 1 / their sum."""
    one = order()
    weight = 1.0 / np.array([0.25, 0.18, 0.13])
    assert one.mean_db == pytest.approx(np.sum(weight * [1.0, 2.0, 4.0]) / np.sum(weight))
    for alpha, ripple_db in ((0, 0.7), (1, 0.9)):
        assert one.spread_db(alpha) == pytest.approx(np.hypot(ripple_db, np.sum(weight) ** -0.5))


def test_growth_is_of_product_over_drive():
    """1 for a ratio that stays; the ratio rises by 19 dB in 10; less than 4 dB of drive show none."""
    assert order().growth == pytest.approx(2.9)
    assert order(levels_db_spl=np.array([91.9, 95.0, 96.0])).growth == pytest.approx(1.0 + 19.0 / 4.1)
    assert order(levels_db_spl=np.array([92.1, 95.0, 96.0])).growth is None
    assert order(levels_db_spl=np.array([92.0, 95.0, 96.0])).growth is not None


@pytest.mark.parametrize(
    ("rises_db", "told"), [((-60.0, -57.9), True), ((-60.0, -58.1), False), ((-60.0, -58.0), True)]
)
def test_a_source_grows_by_more_than_a_fifth_over_its_drive(rises_db, told):
    """1.2 dB a dB: 2 dB of ratio in 10 dB of drive; the median of its orders, and of those alone."""
    asked = order(2, levels_db_spl=np.array([86.0, 96.0]), product_db=(1.0, 1.0), error_db=(0.1, 0.1))
    asked = replace(asked, relative_db=np.array(rises_db))
    other = replace(asked, order=5, relative_db=np.array([-60.0, -90.0 if told else -30.0]))
    assert grows(place(asked, other), (2,)) is told
    assert grows(place(asked, other), (4,)) is None


def test_how_far_an_order_jumps():
    """Last less first level; noise of both and 1 dB; 4 dB of drive at least."""
    assert jump(order()) == pytest.approx((3.0, np.sqrt(0.4**2 + 0.2**2 + 1.0)))
    assert jump(order(levels_db_spl=np.array([92.1, 95.0, 96.0]))) is None
    assert jump(order(levels_db_spl=np.array([92.0, 95.0, 96.0]))) is not None
    assert log_steady(order()) == pytest.approx(density(3.0, np.sqrt(1.2)))
    assert log_steady(order(levels_db_spl=np.array([95.0, 95.5, 96.0]))) == 0.0


# --- explanations -----------------------------------------------------------------------------------------------------

SECOND = order(2, (0.2, -0.4, 0.5), (0.2, 0.2, 0.1), there_db=2.0)
THIRD = order()
HIDDEN = AtMost(order=4, at_most_db=-2.0, there_db=-1.5, ripple_db=(0.6, 0.8))
HERE = place(SECOND, THIRD, under=(HIDDEN,))


def spread(one: OrderAt, alpha: int, *, drive_db: float = 0.0) -> float:
    steep_db = 0.12 * alpha * abs(one.there_db) + 0.04 * 5.0
    return float(np.sqrt(one.spread_db(alpha) ** 2 + steep_db**2 + (0.2 * one.order * drive_db) ** 2))


def under(alpha: int, drive_db: float = 0.0) -> float:
    bound_db = -2.0 - 4 * drive_db + alpha * 1.5
    return float(STUDENT.logcdf(bound_db / (0.6, 0.8)[alpha]))


@pytest.mark.parametrize("alpha", [0, 1])
def test_where_nothing_is_made_products_are_as_the_way_is(alpha):
    fit = passive(HERE, name="nothing", alpha=alpha)
    assert fit.predicted_db == {2: 2.0 * alpha, 3: -3.0 * alpha}
    assert fit.spread_db == pytest.approx({one.order: spread(one, alpha) for one in (SECOND, THIRD)})
    assert spread_about(HERE, THIRD, alpha) == pytest.approx(spread(THIRD, alpha))
    expected = sum(
        density(one.mean_db - alpha * one.there_db, spread(one, alpha)) + log_steady(one) for one in (SECOND, THIRD)
    )
    assert log_under(HERE, alpha, drive_db=-0.5) == pytest.approx(under(alpha, -0.5))
    assert fit.log_likelihood == pytest.approx(expected + under(alpha))


@pytest.mark.parametrize("alpha", [0, 1])
def test_behind_a_filter_products_fall_by_their_order_times_its_dip(alpha):
    fit = before_source(HERE, alpha=alpha)
    assert fit is not None
    predicted = {2: -10.0 + 2.0 * alpha, 3: -15.0 - 3.0 * alpha}
    assert fit.predicted_db == predicted
    spreads = {one.order: float(np.hypot(one.spread_db(alpha), 0.2 * one.order * 5.0)) for one in (SECOND, THIRD)}
    assert fit.spread_db == pytest.approx(spreads)
    expected = sum(
        density(one.mean_db - predicted[one.order], spreads[one.order]) + log_steady(one) for one in (SECOND, THIRD)
    )
    assert fit.log_likelihood == pytest.approx(expected + under(alpha, -5.0))
    for depth_db, moves in ((-0.84, True), (-0.76, False), (0.84, True), (-0.8, True)):
        assert (before_source(replace(HERE, fundamental_db=depth_db), alpha=alpha) is not None) is moves


@pytest.mark.parametrize(("alpha", "drive_db"), [(0, 0.0), (1, 0.0), (1, -5.0)])
def test_a_source_takes_part_in_three_orders_of_ten_and_jumps_in_fifteen_of_a_hundred(alpha, drive_db):
    """Each order: nothing, something at every level, or something above a level alone."""
    fit = local_source(HERE, alpha=alpha, drive_db=drive_db)
    total, made = 0.0, {}
    for one in (SECOND, THIRD):
        way_db = alpha * one.there_db + one.order * drive_db
        off_db, wide = one.mean_db - way_db, spread(one, alpha, drive_db=drive_db)
        first_db, last_db = one.product_db[0], one.product_db[-1]
        changed = (last_db - first_db, float(np.sqrt(one.error_db[0] ** 2 + one.error_db[-1] ** 2 + 1.0)))
        none = np.log(0.7) + density(off_db, wide) + density(*changed)
        steady = np.log(0.3 * 0.85) + density_of_source(off_db, wide) + density(*changed)
        quiet = float(np.hypot(one.ripple_db[alpha], one.error_db[0]))
        jumps = np.log(0.3 * 0.15) + density(first_db - way_db, quiet) + density_of_source(*changed)
        total += np.log(np.exp(none) + np.exp(steady) + np.exp(jumps))
        if max(steady, jumps) > none:
            made[one.order] = off_db if steady > jumps else last_db - way_db
        assert fit.predicted_db[one.order] == pytest.approx(way_db + made.get(one.order, 0.0))
        assert fit.spread_db[one.order] == pytest.approx(wide)
    assert fit.log_likelihood == pytest.approx(total + under(alpha, drive_db), rel=1e-4)
    assert fit.source_db == pytest.approx(made)


def test_what_is_silent_at_the_lowest_level_and_loud_at_the_highest_jumps():
    """S is that of the highest level, less the way's own."""
    one = order(product_db=(-3.0, -3.0, 9.0))
    fit = local_source(place(one), alpha=1)
    assert fit.source_db == {3: pytest.approx(12.0)}
    single = order(product_db=(9.0,), error_db=(0.2,))
    assert local_source(place(single), alpha=1).source_db == {3: pytest.approx(12.0)}


def test_a_peak_on_the_way_makes_every_order_rise_alike():
    """By a quarter of the rise and 1 dB about it, against nothing at all."""
    fit = Fit(name="s", alpha=1, log_likelihood=0.0, predicted_db={}, spread_db={}, source_db={3: 8.0})
    there = [ElsewhereAt(frequency_hz=1500.0, order=SECOND), ElsewhereAt(frequency_hz=750.0, order=THIRD)]
    expected = 0.0
    for one in (SECOND, THIRD):
        found_db, wide = one.mean_db - one.there_db, one.spread_db(1)
        expected += density(found_db - 8.0, np.sqrt(wide**2 + 2.0**2 + 1.0)) - density(found_db, wide)
    assert log_odds(fit, 3, there) == pytest.approx(expected)
    found_db, wide = THIRD.mean_db, THIRD.spread_db(0)
    own = density(found_db - 8.0, np.sqrt(wide**2 + 2.0**2 + 1.0)) - density(found_db, wide)
    assert log_odds(replace(fit, alpha=0), 3, there[1:]) == pytest.approx(own)
    for found_db, shares in ((4.2, True), (3.8, False)):
        risen = replace(THIRD, product_db=np.full(3, found_db - 3.0))
        assert shares_it(fit, 3, ElsewhereAt(frequency_hz=750.0, order=risen)) is shares
    flat = replace(THIRD, product_db=np.array([4.0]), error_db=np.array([0.0]), there_db=0.0)
    assert shares_it(fit, 3, ElsewhereAt(frequency_hz=750.0, order=flat))


def test_whether_an_order_follows_a_peak_of_the_response():
    """Nine orders in ten do; one in twenty has a source of its own just there."""
    follows, own, source = _logs(THIRD)
    assert follows == pytest.approx(np.log(0.9) + density(THIRD.mean_db + 3.0, THIRD.spread_db(1)))
    assert own == pytest.approx(np.log(0.1) + density(THIRD.mean_db, THIRD.spread_db(0)))
    assert source == pytest.approx(np.log(0.05) + density_of_source(THIRD.mean_db, THIRD.spread_db(0)), rel=1e-4)


# --- all explanations together ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("way_odds", "counted"), [(0.8, 0.8), (9.0, 3.0), (-9.0, -3.0)])
def test_explanations_are_weighed_by_their_priors(way_odds, counted):
    """Of the way, e^3 to one at most; of source and filter as given. Nothing is contradicted here."""
    calm = place(
        order(2, (-3.5, -3.5, -3.0), (0.5, 0.5, 0.5), there_db=1.0, ripple_db=(4.0, 4.0)),
        order(3, (-2.0, -2.5, -2.0), (0.5, 0.5, 0.5), there_db=-1.0, ripple_db=(4.0, 4.0)),
        fundamental_db=-1.0,
    )
    found = weighed(calm, way_odds=way_odds, source_prior=0.3, before_prior=0.2)
    shared = 1.0 / (1.0 + np.exp(-counted))
    mass = dict.fromkeys((SHARED, OWN, SOURCE, BEFORE, BOTH), 0.0)
    for alpha, share, name in ((1, shared, SHARED), (0, 1.0 - shared, OWN)):
        both = local_source(calm, alpha=alpha, drive_db=-1.0)
        before = before_source(calm, alpha=alpha)
        assert before is not None
        mass[name] += share * 0.7 * 0.8 * np.exp(passive(calm, name=name, alpha=alpha).log_likelihood)
        mass[SOURCE] += share * 0.3 * 0.8 * np.exp(local_source(calm, alpha=alpha).log_likelihood)
        mass[BEFORE] += share * 0.7 * 0.2 * np.exp(before.log_likelihood)
        mass[BOTH] += share * 0.3 * 0.2 * np.exp(both.log_likelihood)
    whole = sum(mass.values())
    assert found.probability == pytest.approx({name: value / whole for name, value in mass.items()}, rel=1e-6)
    assert found.against == ()


def test_what_no_order_may_contradict():
    """Beyond Sidak's limit at 1 % over all orders; two of them: 2.806 standard deviations."""
    limit = float(scipy.stats.norm.isf(0.5 * (1.0 - 0.99**0.5)))
    one, other = order(2, (0.0, 0.0, 0.0)), order(3, (0.0, 0.0, 0.0))
    for share, against in ((0.95, ()), (1.05, (3,))):
        predicted = {2: 0.0, 3: -share * limit * 0.5}
        fit = Fit(name="x", alpha=0, log_likelihood=0.0, predicted_db=predicted, spread_db={2: 0.5, 3: 0.5})
        assert contradicting(place(one, other), fit) == against
        assert contradicting(place(one, other), replace(fit, source_db={3: 1.0})) == ()


@pytest.mark.parametrize(("share", "left_out"), [(0.21, True), (0.19, False)])
def test_what_an_order_contradicts_is_out_where_the_others_are_a_fifth(share, left_out):
    """An order four of its spreads up: a source explains it, nothing else does. The prior is the one with which the
    likelihoods of this place give the source that share."""
    one = order(3, (3.9, 3.9, 3.9), (0.1, 0.1, 0.1), there_db=0.0, ripple_db=(1.0, 1.0))
    here = place(one, fundamental_db=0.0)
    nothing = np.exp(passive(here, name=SHARED, alpha=1).log_likelihood)
    something = np.exp(local_source(here, alpha=1).log_likelihood)
    prior = share * nothing / (share * nothing + (1.0 - share) * something)
    found = weighed(here, way_odds=0.0, source_prior=float(prior), before_prior=0.0)
    assert (found.probability[SOURCE] > 0.999) is left_out
    if not left_out:
        assert found.probability[SOURCE] == pytest.approx(share, rel=1e-3)


def made(sizes: dict[int, float], *, spread_db: float = 0.5, at_hz: float = 1000.0, rises_db: float = 19.0) -> Weighing:
    fit = Fit(
        name="s",
        alpha=0,
        log_likelihood=0.0,
        predicted_db={},
        spread_db=dict.fromkeys((2, 3), spread_db),
        source_db=sizes,
    )
    grown = order(3, relative_db=np.array([-60.0, -50.0, -60.0 + rises_db]))
    found = Weighed(probability={SOURCE: 0.6, BOTH: 0.3, SHARED: 0.1}, source=fit, best=fit, against=())
    return Weighing(place=place(grown, at_hz=at_hz), anomaly=None, found=found)


@pytest.mark.parametrize(
    ("one", "probability"),
    [
        (made({3: 3.15}, spread_db=0.3), 0.9),
        (made({3: 3.0}, spread_db=0.3), 0.9),
        (made({3: 2.85}, spread_db=0.3), 0.0),
        (made({3: 6.0, 2: 1.0}, spread_db=1.62), 0.9),
        (made({3: 6.0, 2: 1.0}, spread_db=1.78), 0.0),
        (made({3: 6.0}, at_hz=101.0), 0.9),
        (made({3: 6.0}, at_hz=100.0), 0.9),
        (made({3: 6.0}, at_hz=96.0), 0.0),
        (made({3: 6.0}, rises_db=1.5), 0.0),
    ],
)
def test_what_counts_as_a_source(one, probability):
    """3 dB, 1.8 intervals of 1.96 standard deviations (1.7 dB for 6 dB), above 100 Hz, growing with drive."""
    assert one.has_source == pytest.approx(probability)
    assert one.source_db == max(one.found.source.source_db.values())


def test_a_place_without_a_dip_reaches_a_sixth_of_an_octave():
    wide = made({3: 6.0}).as_place
    assert (wide.low_hz, wide.high_hz) == pytest.approx((1000.0 * 2 ** (-1 / 6), 1000.0 * 2 ** (1 / 6)))
    dip = replace(made({3: 6.0}), anomaly=anomaly(1010.0, -6.0)).as_place
    assert dip.frequency_hz == 1010.0
