"""Heating piece by piece: exponentials against their closed forms, and powers that are written down, not recorded."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.heating import exponentials
from distort.analysis.heating.exponentials import _decay, _Fit, _fitted, _needed, _told, _whole, course_of
from distort.analysis.heating.following import Powers, largest_change_db
from distort.analysis.heating.periods import ChunkRead, chunks_of, read_chunk, readable, third_octaves
from distort.analysis.heating.places import Place, moved, stretch_needed
from distort.analysis.heating.result import HeatingLevel, _at_times, _left_db, heating_level, not_heard
from signals import Multitone
from signals.heating import Heating
from tests.devices.multitones import heard_at

# --- exponentials -----------------------------------------------------------------------------------------------------

TIME_S = np.arange(60) + 0.5
TAUS = np.array([3.0, 20.0])


def test_the_mean_of_an_exponential_over_a_moment_and_its_slope() -> None:
    """The integral of `exp(-t / tau)` over 1 s about t, and its change with log tau by a small step of it."""
    mean, slope = _decay(TIME_S, TAUS, 1.0)
    edges = [np.exp(-(TIME_S[:, None] + side) / TAUS) for side in (-0.5, 0.5)]
    np.testing.assert_allclose(mean, TAUS * (edges[0] - edges[1]), rtol=1e-12)
    step = 1e-5
    (above, _), (below, _) = (_decay(TIME_S, TAUS * np.exp(side * step), 1.0) for side in (1.0, -1.0))
    np.testing.assert_allclose(slope, (above - below) / (2.0 * step), rtol=1e-6)


def test_the_model_and_its_slopes() -> None:
    """`y = end - sum a exp(-t / tau)` read back, with the slopes in end, both a and both log tau by small steps."""

    def model(values: np.ndarray) -> np.ndarray:
        end, a, taus = values[0], values[1:3], np.exp(values[3:])
        return end - _decay(TIME_S, taus, 1.0)[0] @ a

    values = np.array([-1.3, 0.8, -0.5, *np.log(TAUS)])
    fit = _fitted(TIME_S, model(values), 1.0, TAUS)
    np.testing.assert_allclose(fit.coefficients, values[:3], rtol=1e-9)
    np.testing.assert_allclose(fit.residual, 0.0, atol=1e-12)
    for place, one in enumerate(np.eye(5) * 1e-5):
        slope = (model(values + one) - model(values - one)) / 2e-5
        np.testing.assert_allclose(fit.slopes[:, place], slope, rtol=1e-5, atol=1e-9)


def fit_of(residual: np.ndarray, *, taus=TAUS, coefficients=(0.0, 1.0, 1.0), slopes=None) -> _Fit:
    parameters = 1 + 2 * len(taus)
    return _Fit(
        taus=np.asarray(taus),
        coefficients=np.asarray(coefficients),
        residual=residual,
        slopes=np.eye(residual.size)[:, :parameters] if slopes is None else slopes,
    )


@pytest.mark.parametrize(
    ("residual", "widened"),
    [
        # r = sum of neighbours' products over the sum of squares: 0, below it, and 3 of 5 and over
        ([1.0, 0.0, -1.0, 0.0, 1.0, 0.0, -1.0, 0.0, 1.0, 0.0], 1.0),
        ([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0], 1.0),
        ([1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0], (1.0 + 0.6) / (1.0 - 0.6)),
        ([0.0, 2.0, 2.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], (1.0 + 6.0 / 9.0) / (1.0 - 6.0 / 9.0)),
    ],
)
def test_neighbours_that_go_together_widen_the_variance(residual, widened) -> None:
    """Of ten readings and five parameters five are left; a slope of 1 and one of 2 have the variances 1 and 1/4."""
    slopes = np.eye(10)[:, :5] * np.array([1.0, 2.0, 1.0, 1.0, 1.0])
    residual = np.array(residual)
    fit = fit_of(residual, slopes=slopes)
    assert fit.misfit == pytest.approx(np.sum(residual**2))
    variance = np.sum(residual**2) / 5.0 * widened
    np.testing.assert_allclose(np.diag(fit.covariance), variance * np.array([1.0, 0.25, 1.0, 1.0, 1.0]), rtol=1e-9)


def test_readings_that_go_together_all_through_count_as_a_nineteenth() -> None:
    """r is held at 0.9, where `(1 + r) / (1 - r)` is 19: of 1000 equal ones it would be 0.999."""
    fit = fit_of(np.ones(1000))
    np.testing.assert_allclose(np.diag(fit.covariance), 1000.0 / 995.0 * 19.0, rtol=1e-9)


@pytest.mark.parametrize("moments", [12, 65])
def test_a_second_exponential_is_needed_where_the_f_test_says_so_at_one_per_cent(moments) -> None:
    """Of two and m degrees of freedom F passes f with the probability `(1 + 2 f / m)^(-m / 2)` (closed form of its
    integral), which is a hundredth at `f = m / 2 (0.01^(-2 / m) - 1)`."""
    left = moments - 5
    edge = left / 2.0 * (0.01 ** (-2.0 / left) - 1.0)
    two = fit_of(np.full(moments, 0.3))
    for times, needed in ((0.97, False), (1.03, True)):
        more = two.misfit * (1.0 + times * edge * 2.0 / left)
        one = fit_of(np.full(moments, math.sqrt(more / moments)))
        assert _needed(one, two) == needed


def told_fit(*, coefficients=(0.0, 1.0, 1.0), taus=(3.0, 20.0), a_sigma=0.1, tau_sigma=0.1) -> _Fit:
    """Of these standard deviations, the same for both terms: residuals that alternate, of r.m.s. 1 re the freedom."""
    taus = np.asarray(taus, dtype=float)
    terms = taus.size
    parameters = 1 + 2 * terms
    signs = np.where(np.arange(40) % 2, 1.0, -1.0) * math.sqrt((40 - parameters) / 40.0)
    sigmas = np.array([1.0, *[a_sigma] * terms, *[tau_sigma] * terms])
    return fit_of(signs, taus=taus, coefficients=coefficients, slopes=np.eye(40)[:, :parameters] / sigmas)


TAU_SIGMA = math.log(2.0) / 1.959964
"""At which the 95 % interval of a time constant is a factor of 2."""


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({}, True),
        ({"a_sigma": 0.97 / 1.959964}, True),  # a factor of 1 stands out of its 95 % interval
        ({"a_sigma": 1.03 / 1.959964}, False),
        ({"coefficients": (0.0, -1.0, -1.0), "a_sigma": 0.97 / 1.959964}, True),  # of either sign
        ({"coefficients": (0.0, 5.0, 1.0), "a_sigma": 1.03 / 1.959964}, False),  # every one must
        ({"coefficients": (0.0, 1.0, 5.0), "a_sigma": 1.03 / 1.959964}, False),
        ({"coefficients": (9.0, 1.0, -1.0)}, False),  # both of one sign
        ({"coefficients": (-9.0, 1.0, 1.0)}, True),  # whatever the end
        ({"tau_sigma": 0.96 * TAU_SIGMA}, True),
        ({"tau_sigma": 1.04 * TAU_SIGMA}, False),
        ({"taus": (3.0, 38.5)}, True),  # within what was heard
        ({"taus": (3.0, 41.5)}, False),
        ({"taus": (0.52, 20.0)}, True),  # half a moment
        ({"taus": (0.48, 20.0)}, False),
        ({"taus": (10.0, 15.5)}, True),  # 1.5 times apart
        ({"taus": (10.0, 14.5)}, False),
        ({"taus": (10.0,), "coefficients": (0.0, 1.0)}, True),
        ({"taus": (41.0,), "coefficients": (0.0, 1.0)}, False),
        ({"taus": (10.0, 15.0)}, False),  # more than 1.5 times
        ({"taus": (3.0, 40.0)}, False),
        ({"taus": (0.5, 20.0)}, False),
    ],
)
def test_what_must_be_so_for_time_constants_to_be_told(fields, told) -> None:
    """Of 40 s in moments of 1 s."""
    assert _told(told_fit(**fields), 40.0, 1.0) == told


def test_the_whole_change_and_its_interval() -> None:
    """`sum a (1 - exp(-T / tau))`, and by how much it moves with each a and each log tau, found by small steps."""
    fit = told_fit(coefficients=(0.4, 1.5, 0.7), a_sigma=0.2, tau_sigma=0.05)

    def change(values: np.ndarray) -> float:
        return float(values[:2] @ (1.0 - np.exp(-40.0 / np.exp(values[2:]))))

    values = np.array([1.5, 0.7, *np.log([3.0, 20.0])])
    moves = [(change(values + one) - change(values - one)) / 2e-5 for one in np.eye(4) * 1e-5]
    sigma = math.sqrt(sum((move * own) ** 2 for move, own in zip(moves, (0.2, 0.2, 0.05, 0.05), strict=True)))
    assert _whole(fit, 40.0) == (pytest.approx(change(values)), pytest.approx(1.959964 * sigma, rel=1e-5))


def test_a_terms_interval_is_a_factor_either_way() -> None:
    first, second = exponentials._terms(told_fit(coefficients=(0.4, 1.5, 0.7), tau_sigma=0.05))
    factor = math.exp(1.959964 * 0.05)
    assert (first.change_db, second.change_db) == (1.5, 0.7)
    assert (first.tau_s, first.low_s, first.high_s) == pytest.approx((3.0, 3.0 / factor, 3.0 * factor))
    assert (second.tau_s, second.low_s, second.high_s) == pytest.approx((20.0, 20.0 / factor, 20.0 * factor))


def test_seven_moments_say_something_and_gaps_are_left_out() -> None:
    """One of 2 dB with 5 s, from moments of 1 s; the whole change is counted from 0 to the end of the last."""
    mean, _ = _decay(TIME_S, np.array([5.0]), 1.0)
    level = -2.0 * (1.0 - mean[:, 0])
    gaps = level.copy()
    gaps[[3, 40]] = np.nan
    for given in (level, gaps):
        found = course_of(TIME_S, given, span_s=1.0)
        assert [term.tau_s for term in found.terms] == pytest.approx([5.0], rel=1e-4)
        assert found.change_db == pytest.approx(-2.0 * (1.0 - math.exp(-60.0 / 5.0)), abs=1e-6)
        assert found.start_db == pytest.approx(0.0, abs=1e-6)
    # a twentieth of a decibel of noise a moment: known to 1 / sqrt(2 x 57), a tenth, and to what neighbours widen it
    noise = 0.05 * np.random.default_rng(6).standard_normal(60)
    noisy = course_of(TIME_S, level + 0.7 + noise, span_s=1.0)
    assert noisy.start_db == pytest.approx(0.7, abs=0.1)
    assert noisy.scatter_db == pytest.approx(1.959964 * 0.05, rel=0.3)
    short = course_of(TIME_S[:7], level[:7], span_s=1.0)
    assert short.change_db == pytest.approx(-2.0 * (1.0 - math.exp(-7.0 / 5.0)), abs=1e-3)
    assert np.isnan(course_of(TIME_S[:7], gaps[:7], span_s=1.0).change_db)


# --- powers -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("power", "noise", "clear"),
    [(32.5, 1.0, True), (31.0, 1.0, False), (0.5, 0.0, True), (0.0, 0.0, False), (1.0, np.nan, False)],
)
def test_a_third_octave_is_read_15_db_above_its_noise(power, noise, clear) -> None:
    """`10^1.5 = 31.6`."""
    assert readable(np.array([power]), np.array([noise])).tolist() == [clear]


def read(*power: float, noise: float = 0.0) -> ChunkRead:
    """Powers of two periods, the second a fifth larger: their mean is what is given."""
    rows = np.array([np.array(power) * 10.0 / 11.0, np.array(power) * 12.0 / 11.0])
    return ChunkRead(power=rows, noise=np.full(len(power), noise), next_start=0.0, difference_ppm=0.0)


def test_what_changed_furthest_in_either_direction_is_told_with_its_band() -> None:
    """Of bands that stand clear of noise in both."""
    reference = np.array([1.0, 1.0, 1.0, 0.0])
    assert largest_change_db(reference, read(0.9, 0.5, 1.5, 9.0)) == (pytest.approx(10.0 * math.log10(0.5)), 1)
    assert largest_change_db(reference, read(0.9, 0.5, 4.0, 9.0)) == (pytest.approx(10.0 * math.log10(4.0)), 2)
    assert largest_change_db(np.array([1.0, 1.0]), read(0.1, 2.0, noise=0.01)) == (pytest.approx(3.0103, abs=1e-4), 1)
    assert largest_change_db(np.array([0.1, 1.0]), read(9.0, 2.0, noise=0.01)) == (pytest.approx(3.0103, abs=1e-4), 1)
    assert largest_change_db(np.array([0.1]), read(0.1, noise=1.0)) is None


TONE = Multitone(high_hz=2500.0, low_hz=180.0, lines_per_decade=6, period_s=0.125, sample_rate=8000, drive_dbfs=-12.0)
N = TONE.period_samples
HEATING = Heating(tone=TONE, loud_periods=12, asked_periods=16, pilots_after_s=(0.0, 2.0))
BANDS_HZ, HELD = third_octaves(TONE)


def test_what_must_have_been_recorded_before_periods_can_be_read() -> None:
    """64 samples on either side of them, and a thousandth more of their length."""
    first, end = stretch_needed(Place(start=5000.4), TONE, 5)
    assert first == 5000 - 64
    assert end == math.ceil(5000.4 + 1.001 * 5 * N) + 64
    assert stretch_needed(Place(start=5000.0), TONE, 4) == (4936, 5000 + 4004 + 64)


def test_samples_of_the_player_are_those_of_the_recorder_by_its_clock() -> None:
    known = moved(Place(start=100.0, difference_ppm=50.0), 1e6)
    assert (known.start, known.difference_ppm) == (pytest.approx(1000150.0, rel=1e-12), 50.0)
    unknown = moved(Place(start=100.0), 1e6)
    assert unknown.start == 1000100.0
    assert math.isnan(unknown.difference_ppm)


def test_third_octaves_hold_the_lines_within_their_edges() -> None:
    """Midbands 10^(k/10) Hz, their edges a twentieth of a decade to either side (IEC 61260-1)."""
    for middle, held in zip(BANDS_HZ, HELD, strict=True):
        inside = (TONE.line_hz >= middle * 10**-0.05) & (TONE.line_hz < middle * 10**0.05)
        np.testing.assert_array_equal(held, inside)
        assert held.any()
    assert HELD.sum() == TONE.line_hz.size


def test_a_chunk_by_hand() -> None:
    """From period to period each line grows by a hundredth of its first size and its noise is half the power of the
    difference; lines of amplitude a have the power a^2 / 2. By a clock 40 ppm fast, and where the next chunk begins."""
    ppm, start, periods = 40.0, 200.3, 4
    place = np.arange(math.ceil((start + periods * N) * (1.0 + 1e-6 * ppm)) + 200) / (1.0 + 1e-6 * ppm) - start
    shaped = replace(TONE, settling_periods=0, periods=periods + 1)
    samples = heard_at(shaped, np.maximum(place, 0.0)) * (1.0 + 0.01 * np.floor(place / N))
    found = read_chunk(samples, TONE, start=start * (1.0 + 1e-6 * ppm), periods=periods, difference_ppm=ppm)
    lines = 0.5 * TONE.line_amplitudes**2
    want = np.array([(1.0 + 0.01 * period) ** 2 * lines @ HELD.T for period in range(periods)])
    # amplitudes step within the 64 samples that are read beside an edge
    np.testing.assert_allclose(found.power, want, rtol=2e-3)
    np.testing.assert_allclose(found.noise, 0.5 * 0.01**2 * lines @ HELD.T, rtol=0.1)
    assert found.difference_ppm == pytest.approx(ppm, abs=1.0)
    assert found.next_start == pytest.approx((start + periods * N) * (1.0 + 1e-6 * ppm), abs=0.01)


def test_chunks_are_of_four_and_one_that_is_left_joins_the_last() -> None:
    assert [chunks_of(periods) for periods in (2, 3, 4, 5, 6, 8, 9, 11)] == [
        [2], [3], [4], [5], [4, 2], [4, 4], [4, 5], [4, 4, 3]
    ]  # fmt: skip


# --- changes ----------------------------------------------------------------------------------------------------------

STATED_S = (3.0, 7.0, 15.0, 30.0, 60.0, 120.0, 180.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1500.0, 1800.0)


def test_changes_are_means_from_half_way_to_half_way_between_the_stated_times() -> None:
    """In the logarithm of time, and as far below the first as half-way to the second lies above it. Each period's
    change is its own time, so that no other mean is the same."""
    time_s = np.arange(4000) * 0.5 + 0.25
    found, moments = _at_times(time_s, np.stack([time_s, -2.0 * time_s], axis=1))
    for index, at_s in enumerate(STATED_S):
        low = 9.0 / math.sqrt(21.0) if index == 0 else math.sqrt(STATED_S[index - 1] * at_s)
        high = math.inf if index == len(STATED_S) - 1 else math.sqrt(at_s * STATED_S[index + 1])
        inside = (time_s > low) & (time_s < high)
        mean = np.mean(time_s[inside])
        assert moments[index].tolist() == [np.count_nonzero(inside)] * 2
        np.testing.assert_allclose(found[index], [mean, -2.0 * mean], rtol=1e-12)
    assert len(found) == len(STATED_S)


def test_a_period_half_way_between_two_times_counts_to_the_later() -> None:
    time_s = np.array([0.5, 2.0, math.sqrt(3.0 * 7.0), 5.0, 20.0])
    found, moments = _at_times(time_s, np.array([[9.0], [1.0], [2.0], [4.0], [8.0]]))
    assert found[:3, 0].tolist() == [1.0, 3.0, 8.0]
    assert moments[:3, 0].tolist() == [1.0, 2.0, 1.0]
    gap, moments = _at_times(time_s, np.array([[9.0], [1.0], [np.nan], [4.0], [np.nan]]))
    assert gap[:2, 0].tolist() == [1.0, 4.0]
    assert np.isnan([gap[2, 0], moments[2, 0]]).all()


@pytest.mark.parametrize(("last_s", "stated"), [(0.98 * 60.0, True), (58.9, True), (58.6, False)])
def test_a_change_is_stated_where_what_was_heard_reaches_98_hundredths_of_its_time(last_s, stated) -> None:
    found, _ = _at_times(np.array([1.0, 25.0, 50.0, last_s]), np.array([[9.0], [1.0], [2.0], [3.0]]))
    assert np.isfinite(found[4, 0]) == stated
    assert np.isfinite(found[3, 0])
    assert np.isnan(found[0, 0])  # nothing but the first lies about 3 s


def written(loud: np.ndarray, *, noise=1e-9, cold=1.0, pilots=(0.8, 0.9)) -> Powers:
    bands = 2
    every = np.ones(bands)
    return Powers(
        cold=read(*(cold * every), noise=1e-9),
        loud=loud[:, None] * every,
        noise=noise * every,
        pilots=tuple(read(*(one * every), noise=1e-9) for one in pilots),
    )


def test_a_level_by_hand() -> None:
    """Periods of an eighth of a second; 2 dB lost by 1 s, with its closed form for the mean over each."""
    time_s = (np.arange(40) + 0.5) * 0.125
    edges = np.exp(-np.arange(41) * 0.125)
    lost = 2.0 * (1.0 - (edges[:-1] - edges[1:]) / 0.125)
    loud = 10.0 ** (-lost / 10.0)
    loud[0] = 1e-3  # the fade-in
    heating = replace(HEATING, loud_periods=40, asked_periods=48)
    found = heating_level(written(loud), heating, level_db_spl=90.0)
    assert (found.level_db_spl, found.loud_s, found.asked_s) == (90.0, 5.0, 6.0)
    assert found.ended_by_change
    assert found.left_out_s == 0.0
    drowned = loud.copy()
    drowned[4:8] = np.nan
    assert heating_level(written(drowned), heating, level_db_spl=90.0).left_out_s == 0.5
    # a settling period, then two that are read, of which the middle is told
    np.testing.assert_allclose(found.pilot_at_s, np.array([0.0, 2.0]) + 2.0 * 0.125)
    assert len(found.bands) == 2
    for band in found.bands:
        assert [term.tau_s for term in band.course.terms] == pytest.approx([1.0], rel=1e-3)
        assert band.course.change_db == pytest.approx(-2.0 * (1.0 - math.exp(-5.0)), abs=1e-4)
        np.testing.assert_allclose(band.left_db, 10.0 * np.log10([0.8, 0.9]), atol=1e-9)
        about_3 = (time_s < math.sqrt(21.0)) & (time_s > 9.0 / math.sqrt(21.0))
        assert band.change_at_db[0] == pytest.approx(np.mean(lost[1] - lost[about_3]), abs=1e-9)
        assert np.isnan(band.change_at_db[1:]).all()
        scatter = band.course.scatter_db / math.sqrt(np.count_nonzero(about_3))
        assert band.change_at_uncertainty_db[0] == pytest.approx(scatter)
    nothing = not_heard(found)
    assert nothing.left_db.shape == (2,)
    assert nothing.change_at_db.shape == (14,)


def test_a_loud_band_within_its_noise_has_no_course() -> None:
    loud = np.full(40, 1.0)
    for noise, known in ((0.03, True), (0.033, False)):  # 15 dB are 31.6
        found = heating_level(written(loud, noise=noise), HEATING, level_db_spl=90.0)
        assert np.isfinite(found.bands[0].change_at_db[0]) == known


def test_what_is_left_is_told_where_pilot_and_reference_stand_clear_of_the_mean_noise() -> None:
    """Noise of 0.01, 0.02 and 0.03 in the three pilots: 15 dB over their mean are 0.632."""
    cold, first, second = read(1.0, 0.6, 1.0), read(0.65, 1.0, 0.6), read(0.7, 1.0, 2.0)
    noise = [replace(one, noise=np.full(3, own)) for one, own in ((cold, 0.01), (first, 0.02), (second, 0.03))]
    powers = replace(written(np.ones(12)), cold=noise[0], pilots=(noise[1], noise[2]))
    found, uncertainty = _left_db(powers)
    # noise of 0.02 in two periods: `2 N / 2 (1 / P + 1 / C)` re the power, 4.343 dB a neper
    first = 1.959964 * 4.342945 * math.sqrt(0.02 * (1.0 / 0.65 + 1.0))
    assert uncertainty[0, 0] == pytest.approx(first, rel=1e-6)
    np.testing.assert_allclose(found[:, 0], 10.0 * np.log10([0.65, 0.7]), atol=1e-9)
    assert np.isnan(found[:, 1]).all()  # the reference
    assert np.isnan(found[0, 2])
    assert found[1, 2] == pytest.approx(10.0 * math.log10(2.0))


@pytest.mark.parametrize(("loud_s", "pilots", "ended"), [(5.0, 2, True), (6.0, 2, False), (5.0, 0, False)])
def test_a_heating_ended_by_change_is_shorter_than_asked_and_still_has_its_pilots(loud_s, pilots, ended) -> None:
    found = HeatingLevel(
        level_db_spl=90.0, loud_s=loud_s, asked_s=6.0, left_out_s=0.0, pilot_at_s=np.arange(pilots) + 1.0, bands=()
    )
    assert found.ended_by_change == ended
