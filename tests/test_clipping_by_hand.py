"""Flat tops, crowds and held crests on waves written down sample by sample, just on either side of each edge."""

import math

import numpy as np
import pytest

from distort.recording.quality.clipping import (
    _crowded,
    _heights,
    _held_on_top,
    _steep_tops,
    _usual_change,
    clipped_samples,
    held_crests,
)

# --- flat tops --------------------------------------------------------------------------------------------------------


def top(heights: list[float], *, at: int = 10, size: int = 40, **others: float) -> np.ndarray:
    """Zeros but for a top and what is named by its place, as in `_6=67.0`."""
    samples = np.zeros(size)
    samples[at : at + len(heights)] = heights
    for place, height in others.items():
        samples[int(place[1:])] = height
    return samples


def told(samples: np.ndarray, *, shortest: int = 3) -> list[int]:
    """With an extreme of 100 and a flatness of 1."""
    return _steep_tops(samples, 100.0, 1.0, shortest=shortest).tolist()


FOUR = [100.0, 99.0, 100.0, 100.0]


@pytest.mark.parametrize(
    ("samples", "expected"),
    [
        (top(FOUR, _6=67.9, _17=67.9), [10, 11, 12, 13]),
        (top(FOUR, _6=68.0, _17=67.9), []),  # 32 times the flatness is not more than that
        (top(FOUR, _6=67.9, _17=68.0), []),
        (top(FOUR, _5=98.0, _7=98.0, _8=98.0, _9=98.0, _14=98.0, _15=98.0, _16=98.0, _18=98.0), [10, 11, 12, 13]),
        (top([100.0, 98.9, 100.0, 100.0]), []),  # no run of three within the flatness
        (top([100.0, 99.0]), []),
        (top(FOUR, at=1, _0=67.9), [1, 2, 3, 4]),  # before the first sample the first one counts
        (top(FOUR, at=1, _0=68.1), []),
        (top(FOUR, at=35, _39=67.9), [35, 36, 37, 38]),  # and behind the last one the last
        (top(FOUR, at=35, _39=68.1), []),
        (top(FOUR, _25=100.0, _26=100.0, _27=99.5), [10, 11, 12, 13, 25, 26, 27]),
    ],
)
def test_a_top_is_told_by_what_lies_as_far_off_as_it_is_long(samples, expected):
    assert told(samples) == expected


def test_two_samples_are_enough_where_two_are_asked_for():
    assert told(top([100.0, 99.0]), shortest=2) == [10, 11]
    assert told(top([100.0]), shortest=2) == []


HIGHEST_OF_16_BITS = 1.0 - 2.0**-15
FLOOR = -0.4


def crest(drop: float, *, height: float = HIGHEST_OF_16_BITS, step: float = 0.0, floor: float = FLOOR) -> np.ndarray:
    """Two samples at one height on a parabola, which has fallen by `drop` two samples beside either of them."""
    place = np.arange(6000.0)
    beside = np.maximum(np.maximum(3000.0 - place, place - 3001.0), 0.0)
    samples = np.maximum(height - drop * (0.5 * beside) ** 2, floor)
    samples[:3] = floor - 0.1  # what lies on the floor is no top of the other side
    samples[5] += step or 1e-9  # the least difference that occurs is the step
    return samples if step == 0.0 else np.round(samples / step) * step


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("floor", [-0.4, 0.4])
@pytest.mark.parametrize(("share", "clipped"), [(0.95, False), (1.05, True)])
def test_two_samples_at_full_scale_are_told_by_a_shallow_fall(side, floor, share, clipped):
    """32 times half a step of 2^-24, the last digit of single precision, about any mean: 9.5e-7. With the flatness of
    other tops the run would be 60 samples long, beside which a parabola has fallen by 9 flatnesses."""
    found = clipped_samples(side * crest(share * 2.0**-20, floor=floor))
    assert found.tolist() == ([3000, 3001] if clipped else [])
    below = crest(share * 2.0**-20, height=HIGHEST_OF_16_BITS - 1e-7, floor=floor)
    assert clipped_samples(side * below).size == 0


@pytest.mark.parametrize(("steps", "clipped"), [(15, False), (17, True)])
def test_in_whole_numbers_half_a_step_is_the_last_digit(steps, clipped):
    """32 times half a step of 16 bits are 16 steps."""
    samples = crest(steps * 2.0**-15, step=2.0**-15)
    assert clipped_samples(samples).tolist() == ([3000, 3001] if clipped else [])


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("floor", [-0.3, 0.3])
def test_two_neighbours_of_nearly_one_height_are_told_at_full_scale_alone(side, floor):
    """They differ by 1e-4, within the flatness of 2e-4; the wave falls at once beside them."""
    for height, count in ((HIGHEST_OF_16_BITS, 2), (HIGHEST_OF_16_BITS - 1e-5, 0)):
        samples = floor + 0.01 * np.random.default_rng(1).standard_normal(4000)
        samples[2000:2002] = height, height - 1e-4
        assert clipped_samples(side * samples).size == count


@pytest.mark.parametrize(("below", "held"), [(8, True), (9, False)])
def test_five_steps_of_the_converter_are_allowed_for(below, held):
    """Beside 2e-4 of 0.55, 3.6 steps of 16 bits: 8.6 in all."""
    step = 2.0**-15
    samples = np.round(0.05 * np.random.default_rng(1).standard_normal(4000) / step)
    samples[2000:2006] = round(0.55 / step)
    samples[2003] -= below
    samples -= round(float(np.mean(samples)))  # no offset but of parts of a step
    assert (2003 in clipped_samples(samples * step)) == held


# --- crowds -----------------------------------------------------------------------------------------------------------


def crowded(high: list[float], low: list[float], *, apart: int = 2, first: int = 0, blur: float = 0.0) -> int:
    """Samples that crowd among these heights, `apart` from one another, and zeros."""
    heights = np.array([*high, *(-one for one in low)])
    samples = np.zeros(first + 2 + apart * heights.size)
    samples[first : first + apart * heights.size : apart] = heights
    return _crowded(samples, blur).size


def test_eight_crests_one_sample_apart_are_a_crowd_from_the_first_sample_on():
    assert crowded([0.5] * 4, [0.5] * 4) == 8
    assert crowded([0.5] * 4, [0.5] * 4, first=3) == 8
    assert crowded([0.5] * 4, [0.5] * 3) == 0
    assert crowded([0.5] * 4, [0.5] * 4, apart=1) == 0  # two crests: one up, one down, side by side


@pytest.mark.parametrize(("below", "counts"), [(2e-4 * 0.5, True), (1.01e-4, False)])
def test_a_crowd_lies_within_the_flatness_of_its_side(below, counts):
    """2e-4 of the higher extreme, the flatness itself included, which is 1e-4 of the lower one here."""
    for high, low in (([0.5] * 7 + [0.5 - below], [0.5] * 8), ([0.5] * 8, [0.5] * 7 + [0.5 - below])):
        assert crowded(high, low) == (16 if counts else 15)
    for side in (1, -1):
        high, low = ([0.5] * 6, [0.25] * 6 + [0.25 - 0.9e-4])[::side]
        assert crowded(high, low) == 13


def test_what_comes_after_the_clipping_widens_a_crowd():
    assert crowded([0.5] * 7 + [0.5 - 1.05e-3], [0.5] * 8, blur=1e-3) == 16
    assert crowded([0.5] * 7 + [0.5 - 1.15e-3], [0.5] * 8, blur=1e-3) == 15


@pytest.mark.parametrize(("below", "told"), [(45.0 * (2e-4 * 0.5), False), (45.1e-4, True)])
def test_half_of_all_within_45_flatnesses_crowd(below, told):
    """The 45th itself included. Eight beside eight that come near are half of all; one more, on either side, is not."""
    for side in (1, -1):
        high, low = ([0.5] * 4 + [0.5 - 2e-3] * 8 + [0.5 - below], [0.5] * 4)[::side]
        assert crowded(high, low) == (8 if told else 0)


def test_a_wave_of_one_side_does_not_crowd():
    """Nor does one of which no sample is on the other side."""
    assert crowded([0.5] * 20, []) == 0
    assert crowded([], [0.5] * 20) == 0
    above = np.where(np.arange(40) % 2 == 0, 0.5, 0.25)
    assert _crowded(above, 0.0).size == _crowded(-above, 0.0).size == 0


# --- crests that repeat -----------------------------------------------------------------------------------------------

PERIOD, PERIODS = 50, 20
STARTS = np.arange(PERIODS) * PERIOD
ALTERNATING = np.where(np.arange(PERIODS) % 2 == 0, 0.5, -0.5)[:, np.newaxis]
"""A change of d from period to period has an r.m.s. over the square root of 2 of d / sqrt(2)."""


def periods(change: float, *, free: int = 9, tops: tuple[float, ...] = (0.4,), step: float = 0.0) -> np.ndarray:
    """Twenty periods of crests three samples apart: `free` ones of 0.2, which change by `change`, and `tops`."""
    one = np.zeros(PERIOD)
    one[1 : 1 + 3 * free : 3] = 0.2
    one[1 + 3 * free : 1 + 3 * (free + len(tops)) : 3] = tops
    moving = (one == 0.2).astype(float)
    samples = (one + change * ALTERNATING * moving).ravel()
    samples = np.append(samples, np.zeros(5))
    samples[-2] = step or 1e-12  # the least difference that occurs is the step
    return samples


def count(samples: np.ndarray) -> int:
    return _held_on_top(samples, STARTS, PERIOD).size


def test_heights_that_do_not_change_while_others_do_are_held():
    assert count(periods(0.01)) == PERIODS
    assert count(periods(0.01, free=7)) == 0  # eight free crests are asked for
    assert count(periods(0.01, free=8)) == PERIODS
    louder = periods(0.01)
    louder[-1] = 0.5  # behind the periods something else was recorded
    assert count(louder) == PERIODS


@pytest.mark.parametrize(("share", "expected"), [(0.096, 2 * PERIODS), (0.104, PERIODS)])
def test_they_lie_within_a_tenth_of_the_usual_change(share, expected):
    below = share * 0.01 / math.sqrt(2.0)
    assert count(periods(0.01, tops=(0.4, 0.4 - below))) == expected


@pytest.mark.parametrize(("times", "expected"), [(0.96, 0), (1.04, PERIODS)])
def test_a_usual_change_is_a_ten_millionth_of_the_height_at_least(times, expected):
    assert count(periods(times * math.sqrt(2.0) * 1e-7 * 0.4)) == expected


@pytest.mark.parametrize(("steps", "expected"), [(2, 0), (3, PERIODS)])
def test_a_usual_change_is_two_steps_of_the_converter_at_least(steps, expected):
    """A change of two steps is one of 1.41 steps by its r.m.s. over the square root of 2, one of three 2.12."""
    step = 2.0**-10
    assert count(periods(steps * step, step=step)) == expected


def test_of_crests_that_are_not_held_the_sixty_highest_are_asked():
    """Thirty change by 1 and thirty by 2, all of more height than those below them, which change by 2 and 5; the median
    of the sixty is 1.5. In thousandths, over the square root of 2."""
    base = np.array([0.30] * 30 + [0.29] * 30 + [0.28] + [0.2] * 100)
    change = 1e-3 * np.array([1.0] * 30 + [2.0] * 30 + [2.0] + [5.0] * 100)
    heights = np.column_stack([base + change * ALTERNATING, np.full(PERIODS, 0.4)])
    assert _usual_change(heights) == pytest.approx(1.5e-3 / math.sqrt(2.0))


@pytest.mark.parametrize(("highest", "free"), [(0.978, True), (0.982, False)])
def test_a_crest_that_never_comes_within_two_per_cent_of_the_highest_is_not_held(highest, free):
    """Nine change by 1e-3, ten by 3e-3: these make the median where they are free. It is the highest they ever reach
    that counts; the least, and the mean, are lower."""
    change = np.array([1e-3] * 9 + [3e-3] * 10)
    base = np.array([0.2] * 9 + [0.4 * highest - 1.5e-3] * 10)
    heights = np.column_stack([base + change * ALTERNATING, np.full(PERIODS, 0.4)])
    assert _usual_change(heights) == pytest.approx((3e-3 if free else 1e-3) / math.sqrt(2.0))


def test_without_eight_free_crests_no_change_is_known():
    heights = np.column_stack([0.2 + 1e-3 * ALTERNATING * np.ones(7), np.full((PERIODS, 9), 0.4)])
    assert _usual_change(heights) == 0.0


def test_a_crest_has_its_height_within_a_sample_of_its_place():
    """0.5 a sample early in one period and late in another; two samples off it is another crest's."""
    one = np.zeros(20)
    one[[5, 12]] = 1.0, 0.4
    samples = np.tile(one, 9)
    samples[20 * 2 + 4], samples[20 * 3 + 6] = 1.2, 1.3
    samples[20 * 4 + 3], samples[20 * 5 + 7] = 1.4, 1.5
    found = _heights(samples, np.arange(9) * 20, 20)
    np.testing.assert_array_equal(found[:, 0], [1.0, 1.0, 1.2, 1.3, 1.0, 1.0, 1.0, 1.0, 1.0])
    np.testing.assert_array_equal(found[:, 1], np.full(9, 0.4))


@pytest.mark.parametrize(("in_periods", "crests"), [((1, 2, 3), 2), ((3, 4, 5), 2), ((0, 1, 2), 1), ((4, 5, 6), 1)])
def test_crests_are_those_of_the_median_of_the_second_to_the_sixth_period(in_periods, crests):
    """Of five periods three decide; half of a height of 0.5 would be too low."""
    samples = np.tile(np.where(np.arange(20) == 12, 1.0, 0.0), 9)
    samples[[20 * one + 5 for one in in_periods]] = 0.5
    assert _heights(samples, np.arange(9) * 20, 20).shape == (9, crests)


@pytest.mark.parametrize(("height", "crests"), [(0.29, 1), (0.31, 2)])
def test_a_crest_is_three_tenths_of_the_highest_or_more(height, crests):
    one = np.full(20, -1.0)
    one[[5, 12]] = 1.0, height
    assert _heights(np.tile(one, 9), np.arange(9) * 20, 20).shape[1] == crests


def test_the_first_and_the_last_sample_of_a_period_are_no_crests():
    """They have a neighbour on one side alone."""
    one = np.zeros(20)
    one[[0, 10, 19]] = 0.9, 1.0, 0.95
    assert _heights(np.tile(one, 9), np.arange(9) * 20, 20).shape[1] == 1


@pytest.mark.parametrize(("period", "enough"), [(50.0, 302), (50.5, 305)])
def test_of_the_sixth_period_all_and_one_sample_on_either_side_are_needed(period, enough):
    """It begins at sample 250, or 252, ends after 50 or a begun 51, and one more is looked at."""
    samples = np.zeros(450)
    for number in range(8):
        first = round(number * period)
        samples[first + 1 : first + 20 : 2] = 0.2 + 0.005 * (-1) ** number
        samples[[first + 24, first + 30, first + 36, first + 42]] = 0.4
    samples[49] = 1e-12  # the least difference that occurs is the step
    for size, found in ((enough - 1, False), (enough, True)):
        given = {"first": 0.0, "period": period, "periods": 8}
        assert (held_crests(samples[:size], **given).size > 0) == found
