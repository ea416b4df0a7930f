"""Where flat tops and held crests are told from smooth ones: each rule on waves that lie just on either side of it."""

import numpy as np
import pytest

from distort.recording.quality.clipping import clipped_samples, held_crests

N = 4000


def wave(seed: int = 1) -> np.ndarray:
    """Something that moves, far below the tops that are laid on it; its values lie anywhere."""
    return 0.05 * np.random.default_rng(seed).standard_normal(N)


def with_top(count: int, height: float = 0.5, *, at: int = 2000, samples: np.ndarray | None = None) -> np.ndarray:
    made = wave() if samples is None else samples.copy()
    made[at : at + count] = height
    return made


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_top_is_held_from_three_samples_on(side):
    assert clipped_samples(side * with_top(2)).size == 0
    np.testing.assert_array_equal(clipped_samples(side * with_top(3)), [2000, 2001, 2002])


def test_two_neighbours_at_full_scale_are_clipped_and_one_is_not():
    """The highest value of 16 bits, 1 - 2^-15; a little below it two are not enough. An offset is part of the
    height."""
    top = 1.0 - 2.0**-15
    assert clipped_samples(with_top(2, top)).tolist() == [2000, 2001]
    assert clipped_samples(with_top(1, top)).size == 0
    assert clipped_samples(with_top(2, top - 1e-4)).size == 0
    assert clipped_samples(-with_top(2, top)).tolist() == [2000, 2001]
    shifted = wave() - np.mean(wave()) + 0.2
    shifted[2000:2002] = top
    assert clipped_samples(shifted).tolist() == [2000, 2001]


@pytest.mark.parametrize(("below", "held"), [(1.8e-4, True), (2.4e-4, False)])
def test_samples_within_a_five_thousandth_of_the_extreme_are_held(below, held):
    """2e-4 of 0.5: room for the noise after the clipping. The second look adds 2e-5 of full scale."""
    samples = with_top(4)
    samples[2001] = 0.5 - below * 0.5
    found = clipped_samples(samples)
    assert (2001 in found) == held


@pytest.mark.parametrize(("drop", "clipped"), [(30.0, False), (34.0, True)])
def test_a_top_is_steep_where_the_wave_has_fallen_by_32_flatnesses_as_far_off_as_it_is_long(drop, clipped):
    """Flatness here: 2e-4 of 0.5, and the second look's 2e-5. A parabola falls by 9 times at one side, 16 at worst."""
    flatness = 2e-4 * 0.5 + 2e-5
    samples = with_top(4)
    samples[1996:2000] = 0.5 - drop * flatness
    samples[2004:2008] = 0.5 - 2.0 * drop * flatness
    # at the first look, with the flatness of 1e-4 alone, the wave is steeper still: a wave whose values are rounded
    step = 3.9e-6
    samples = np.round(samples / step) * step
    flatness_first = 2e-4 * 0.5 + step
    assert (clipped_samples(samples).size > 0) == (clipped or drop * flatness > 32.0 * flatness_first)


@pytest.mark.parametrize("count", [3, 5, 9])
def test_a_parabola_as_flat_as_that_is_no_top(count):
    """Flat within 2e-4 over n samples, as a tone's crest is; sampled anywhere. It falls by 16 times that n samples
    on."""
    for offset in np.linspace(0.0, 0.9, 10):
        place = np.arange(N) - 2000.0 - offset
        samples = 0.5 - 0.5 * 2e-4 * (place / (0.5 * count)) ** 2
        samples = np.maximum(samples, -0.5)
        samples[:3] = -0.6  # the other side has its extreme elsewhere
        assert not set(clipped_samples(samples)) & set(range(1900, 2100))


def test_steps_of_the_converter_blur_a_top():
    """Five steps of 16 bits, 1.5e-4, join the 1e-4 of a top of 0.5: noise moves held samples by a step or two."""
    step = 2.0**-15
    samples = np.round(with_top(6) / step) * step
    samples[2000:2006] += step * np.array([0, -2, 0, -1, -7, 0])
    assert clipped_samples(samples).size == 6
    samples[2004] -= 2 * step
    assert 2004 not in clipped_samples(samples)


FLATNESS = 2e-4 * 0.5
"""Of a top of 0.5 at the first look; the second adds 2e-5."""


def crowd(held: int, near: int, *, within: float = 36.0) -> np.ndarray:
    """Single samples at the extremes of both sides, `held` at one height, `near` within so many flatnesses below."""
    samples = wave()
    places = 20 + 20 * np.arange(held + near)
    height = np.full(held + near, 0.5)
    height[held:] -= np.linspace(2.0, within, near) * FLATNESS
    samples[places] = height * np.where(np.arange(held + near) % 2 == 0, 1.0, -1.0)
    return samples


@pytest.mark.parametrize(
    ("held", "near", "told"), [(8, 8, True), (8, 9, False), (7, 0, False), (30, 31, False), (31, 30, True)]
)
def test_single_samples_of_a_sweep_that_crowd_at_one_height_are_clipped(held, near, told):
    """At least eight of both sides together, and half of all that lie within 45 flatnesses."""
    assert clipped_samples(crowd(held, near), whole_sweep=True).size == (held if told else 0)
    assert clipped_samples(crowd(held, near)).size == 0  # of what repeats a period this proves nothing


@pytest.mark.parametrize(("away", "told"), [(44.0, False), (46.0, True)])
def test_a_crowd_is_held_against_what_lies_within_45_flatnesses(away, told):
    samples = crowd(10, 0)
    places = 20 + 20 * (10 + np.arange(12))
    samples[places] = (0.5 - away * FLATNESS) * np.where(np.arange(12) % 2 == 0, 1.0, -1.0)
    assert (clipped_samples(samples, whole_sweep=True).size == 10) == told


def test_a_crest_of_two_samples_counts_once():
    """Fourteen samples in seven crests are no crowd of eight."""
    samples = wave()
    for number in range(7):
        samples[20 + 20 * number : 22 + 20 * number] = 0.5 * (-1) ** number
    assert clipped_samples(samples, whole_sweep=True).size == 0


def test_what_never_moves_or_has_one_side_is_not_clipped():
    assert clipped_samples(np.full(100, 0.3)).size == 0
    assert clipped_samples(np.array([])).size == 0
    assert clipped_samples(np.full(50, np.nan)).size == 0


# --- crests that repeat -----------------------------------------------------------------------------------------------

PERIOD, PERIODS = 400, 18
STEP = 2.0**-23


def repeated(*, noise: float = 1e-4, seed: int = 1) -> np.ndarray:
    """Eighteen periods of many crests of different heights, in noise."""
    place = np.arange(PERIOD) / PERIOD
    one = 0.3 * np.sin(2 * np.pi * 3 * place) + 0.12 * np.sin(2 * np.pi * 31 * place + 1.0)
    samples = np.tile(one, PERIODS + 1)
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)


def rounded(samples: np.ndarray) -> np.ndarray:
    return np.round(samples / STEP) * STEP


def held(samples: np.ndarray, **how) -> int:
    given = {"first": 0.0, "period": float(PERIOD), "periods": PERIODS} | how
    return held_crests(samples, **given).size


def test_held_crests_are_counted_and_free_ones_are_not():
    samples = repeated()
    ceiling = 0.97 * np.max(samples)
    clipped = rounded(np.minimum(samples, ceiling))
    assert held(rounded(samples)) == 0
    assert held(clipped) == np.count_nonzero(samples > ceiling)
    assert held(-clipped) == np.count_nonzero(samples > ceiling)


def test_six_periods_are_needed():
    clipped = rounded(np.clip(repeated(), -0.36, 0.36))
    assert held(clipped, periods=6) > 0
    assert held(clipped, periods=5) == 0
    assert held(clipped[: 6 * PERIOD], periods=18) == 0  # of the sixth, one sample more must be there
    assert held(clipped[: 6 * PERIOD + 2], periods=18) > 0
    assert held(clipped, first=-float(PERIOD), periods=7) > 0  # the one that begins before the recording is left out
    assert held(clipped, first=-float(PERIOD), periods=6) == 0


def one_crest_held(times: int) -> np.ndarray:
    """The highest crest held at one height in the first `times` periods, and lower than that in the others."""
    samples = repeated()
    ceiling = 1.02 * np.max(samples)
    top = int(np.argmax(np.mean(samples[: PERIODS * PERIOD].reshape(PERIODS, PERIOD), axis=0)))
    for number in range(times):
        samples[number * PERIOD + top] = ceiling
    return rounded(samples)


@pytest.mark.parametrize(("times", "told"), [(15, False), (16, True), (18, True)])
def test_sixteen_held_heights_are_asked_for(times, told):
    assert (held(one_crest_held(times)) == times) == told


@pytest.mark.parametrize(("each", "crests", "told"), [(4, 4, True), (3, 6, False)])
def test_a_crest_counts_from_four_held_heights_on(each, crests, told):
    """Six crests that come to one height three times each: so it is by chance where periods do not lie where they
    should."""
    samples = repeated()
    ceiling = 1.02 * np.max(samples)
    mean = np.mean(samples[: PERIODS * PERIOD].reshape(PERIODS, PERIOD), axis=0)
    tops = [
        place
        for place in np.argsort(-mean)
        if mean[place] >= mean[place - 1] and mean[place] > mean[(place + 1) % PERIOD]
    ]
    for place in tops[:crests]:
        for number in range(each):
            samples[(number + 3) * PERIOD + place] = ceiling
    assert (held(rounded(samples)) == each * crests) == told


@pytest.mark.parametrize(("share", "told"), [(0.085, True), (0.13, False)])
def test_held_heights_lie_within_a_tenth_of_the_usual_change(share, told):
    """Two rows of heights: half of the held ones lie so far, in standard deviations of the room's noise, below the
    others. The highest of three samples changes by 0.75 to 1 of one's deviation."""
    samples = repeated()
    ceiling = 1.02 * np.max(samples)
    top = int(np.argmax(np.mean(samples[: PERIODS * PERIOD].reshape(PERIODS, PERIOD), axis=0)))
    for number in range(PERIODS):
        samples[number * PERIOD + top] = ceiling - (number % 2) * share * 1e-4
    assert (held(rounded(samples)) == PERIODS) == told


def test_without_a_change_from_period_to_period_nothing_tells():
    """Noise under two steps of the converter, or of 1e-7 of the crest, is what rounding makes."""
    coarse = 1e-3
    for noise, told in ((1.2e-3, False), (4e-3, True)):
        samples = np.minimum(repeated(noise=noise), 0.37)
        assert (held(np.round(samples / coarse) * coarse) > 0) == told
    exact = np.minimum(repeated(noise=0.0), 0.36)
    assert held(exact) == 0
