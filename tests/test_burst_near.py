"""Which bands are so near to a limit of bursts that the next step is a small one, from both sides of each edge."""

import pytest

from distort.analysis.burst_series.judged import judged_levels
from tests.test_burst_result import LIMITS, level


@pytest.mark.parametrize(("lost_db", "near"), [(1.49, False), (1.51, True), (2.9, True), (-4.0, False)])
def test_half_of_the_compression_that_is_allowed_is_near(lost_db, near) -> None:
    """1.5 dB of the 3 dB are left; the other band has lost nothing."""
    loud = judged_levels([level(80.0), level(90.0, lost_db=(lost_db, 0.0))])[-1]
    assert loud.near(LIMITS).tolist() == [near, False]
    assert loud.faults(LIMITS) == ("", "")


@pytest.mark.parametrize(("order", "limit_db"), [(2, -10.0), (3, -15.0), (4, -20.0), (6, -30.0)])
def test_an_order_within_6_db_of_its_limit_is_near(order, limit_db) -> None:
    for more_db, near in ((-6.1, False), (-5.9, True)):
        loud = judged_levels([level(80.0), level(90.0, orders_db={order: (limit_db + more_db, -90.0)})])[-1]
        assert loud.near(LIMITS).tolist() == [near, False]


def test_a_limit_is_passed_where_it_is_met_and_that_which_is_passed_furthest_is_named() -> None:
    orders_db = {2: (-9.0, -10.01), 3: (-13.0, -90.0)}
    loud = judged_levels([level(80.0), level(90.0, lost_db=(3.5, 0.0), orders_db=orders_db)])[-1]
    assert loud.faults(LIMITS) == ("h3", "")
    assert loud.near(LIMITS).tolist() == [True, True]


def test_an_order_in_its_noise_is_not_near() -> None:
    """At 82 dB SPL noise of -15 dB re 80 is -17: an order of -11 dB stands 6 dB above it."""
    judged = judged_levels([level(80.0, noise_db=-15.0), level(82.0, orders_db={2: (-11.0, -60.0)}, noise_db=-15.0)])
    assert not judged[-1].near(LIMITS).any()
