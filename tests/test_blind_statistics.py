"""What a blind test's answers say, held against scipy's own test and interval, and against enumeration."""

from itertools import product

import pytest
from scipy import stats

from distort.analysis.hearing.blind import Tally, bootstrap_interval, by_guessing, detected, exact_interval, judged


@pytest.mark.parametrize("trials", [1, 16, 48])
def test_guessing_and_interval_are_scipys(trials) -> None:
    """scipy.stats.binomtest: `greater` against one half, and its exact interval; 1e-9 is its root finder's."""
    for right in range(trials + 1):
        tally = Tally(right=right, trials=trials)
        expected = stats.binomtest(right, trials, 0.5, alternative="greater")
        assert by_guessing(tally) == pytest.approx(expected.pvalue, rel=1e-9)
        exact = stats.binomtest(right, trials, 0.5).proportion_ci(method="exact")
        assert exact_interval(tally) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_all_guess_together_as_counted_by_hand() -> None:
    """Three listeners of 2, 3 and 1 trials: of all 64 courses of events those count in which 5 or more are right."""
    courses = [sum(course) for course in product((0, 1), repeat=6)]
    (heard,) = judged([[Tally(right=2, trials=2), Tally(right=2, trials=3), Tally(right=1, trials=1)]])
    assert heard.by_guessing == pytest.approx(sum(right >= 5 for right in courses) / 64)
    assert heard.together == Tally(right=5, trials=6)
    assert not heard.over_listeners


def test_the_bootstrap_as_a_binomial() -> None:
    """Three listeners always right, three in half: of six drawn J are of the first kind, and J is binomial (6, 1/2).

    P(J = 0) = 1/64 < 2.5 % < P(J <= 1) = 7/64, so the interval goes from J = 1 to J = 5, of shares (1 + J/6) / 2.
    """
    listeners = [Tally(right=16, trials=16)] * 3 + [Tally(right=8, trials=16)] * 3
    assert bootstrap_interval(listeners) == pytest.approx((7.0 / 12.0, 11.0 / 12.0), abs=1e-12)
    with pytest.raises(ValueError, match="4 listeners are fewer than 5"):
        bootstrap_interval(listeners[:4])


def test_listeners_who_are_all_alike_do_not_make_an_interval_of_nothing() -> None:
    (heard,) = judged([[Tally(right=8, trials=16)] * 5])
    assert heard.over_listeners
    assert (heard.low, heard.high) == exact_interval(Tally(right=40, trials=80))


def test_listeners_who_differ_widen_the_interval() -> None:
    listeners = [Tally(right=16, trials=16), Tally(right=16, trials=16), *[Tally(right=8, trials=16)] * 4]
    (heard,) = judged([listeners])
    low, high = exact_interval(heard.together)
    assert heard.low < low
    assert heard.high > high


def test_every_pair_that_was_offered_counts() -> None:
    """13 of 16 have the chance 697 / 65536 (sum of C(16, k), k >= 13): under 5 % over 4 pairs, above it over 5."""
    tried = [Tally(right=13, trials=16)]
    assert judged([tried])[0].by_guessing == pytest.approx(697 / 65536)
    assert judged([tried, [], [], []])[0].shown
    assert not judged([tried, [], [], [], []])[0].shown
    assert judged([tried, []])[1].by_guessing == 1.0
    assert (judged([tried, []])[1].low, judged([tried, []])[1].high) == (0.0, 1.0)


def test_detection_is_what_is_left_of_the_share_without_guessing() -> None:
    """p = (1 + d) / 2: always right is always heard, half right or less never."""
    assert [detected(share) for share in (1.0, 0.75, 0.5, 0.2)] == [1.0, 0.5, 0.0, 0.0]
